"""Every error tethercap raises.

The tree::

    TethercapError                 base: what happened, what is safe, what to do
    ├── CameraError                trouble with the camera or the way to it
    │   ├── NoCameraError          none found, or not the one asked for
    │   ├── CameraInUseError       another program or another tethercap holds it
    │   ├── CameraPermissionError  the system does not let this user open it
    │   ├── CameraGoneError        unplugged, switched off, or the link dropped
    │   ├── CameraSilentError      it does not answer within the deadline
    │   ├── CameraBusyError        busy; the same call may work in a moment
    │   ├── CameraRefusedError     it answered, and said no (the reason is its own)
    │   ├── CameraFullError        no room for the next picture
    │   ├── NotSupportedError      this body cannot do it
    │   └── DriverDiedError        the process that holds the driver ended
    ├── PictureError               a picture that cannot be used
    │   ├── UnreadablePictureError damaged, cut short, or not a picture
    │   └── UnsupportedPictureError a kind of picture that is not read here
    ├── ProfileError               a profile, recipe or roll.toml with a mistake in it
    ├── RollError                  trouble with a roll on disk
    │   ├── RollNameError          an id or name that may not be used
    │   ├── RollExistsError        something is there already; nothing is overwritten
    │   ├── RollInUseError         another process writes to this roll
    │   └── StorageError           the disk refused: full, read-only, gone
    └── ConversionError            a picture that was read but could not be converted

``HOLD`` verdicts and failed checks are values, never errors.
"""


class TethercapError(Exception):
    """Base of all errors meant for the person at the table.

    Parameters
    ----------
    what : str
        One sentence: what happened.
    safe : str
        What is safe ("the picture is still on the card"); empty when nothing was at stake.
    todo : str
        What to do now; empty when there is nothing to do.
    """

    def __init__(self, what: str, *, safe: str = "", todo: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.safe = safe
        self.todo = todo

    def __str__(self) -> str:
        return " ".join(part for part in (self.what, self.safe, self.todo) if part)

    def __reduce__(self) -> tuple[object, ...]:
        # Errors cross the pipe from the camera process and from converters; keyword parts must survive pickling.
        return _rebuild, (type(self), self.what, self.safe, self.todo)


def _rebuild(kind: type[TethercapError], what: str, safe: str, todo: str) -> TethercapError:
    return kind(what, safe=safe, todo=todo)


class CameraError(TethercapError):
    """Trouble with the camera or the way to it."""


class NoCameraError(CameraError):
    """No camera was found, or not the one asked for."""


class CameraInUseError(CameraError):
    """Another program, or another tethercap, holds the camera."""


class CameraPermissionError(CameraError):
    """The system does not let this user open the camera."""


class CameraGoneError(CameraError):
    """Unplugged, switched off, or the link dropped."""


class CameraSilentError(CameraError):
    """The camera does not answer within the deadline."""


class CameraBusyError(CameraError):
    """Busy; the same call may work in a moment."""


class CameraRefusedError(CameraError):
    """The camera answered, and said no."""


class CameraFullError(CameraError):
    """The camera has no room for the next picture."""


class NotSupportedError(CameraError):
    """What was asked is beyond this body."""


class DriverDiedError(CameraError):
    """The process that holds the driver ended."""


class PictureError(TethercapError):
    """A picture that cannot be used."""


class UnreadablePictureError(PictureError):
    """Damaged, cut short, or not a picture at all."""


class UnsupportedPictureError(PictureError):
    """A kind of picture that is not read here."""


class ProfileError(TethercapError):
    """A profile, recipe or roll.toml with a mistake in it: file, key, and the nearest known name."""


class RollError(TethercapError):
    """Trouble with a roll on disk."""


class RollNameError(RollError):
    """An id or a name that may not be used."""


class RollExistsError(RollError):
    """Something is there already; nothing is overwritten."""


class RollInUseError(RollError):
    """Another process writes to this roll."""


class StorageError(RollError):
    """The disk refused: full, read-only, or gone."""


class ConversionError(TethercapError):
    """A picture that was read but could not be converted."""
