"""The camera contract: what the rest of the program may ask of any camera.

Implementations: `tethercap.camera.child.ChildCamera` (the driver in a process of its own) and
`tethercap.camera.fake.FakeCamera` (in memory, for tests of what stands above). One contract suite runs over all.

A camera is used by one thread at a time. Live view, events and pulling go on side by side inside the implementation.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Protocol

from tethercap.exposure.settings import Setting, SettingChange, SettingState, Value
from tethercap.pictures import LiveJpeg


@dataclass(frozen=True, slots=True)
class CameraIdentity:
    """Who a camera is. The serial number is what it is known by; ports change with every replug."""

    port: str
    make: str = ""
    model: str = ""
    serial: str = ""
    firmware: str = ""


@dataclass(frozen=True, slots=True)
class CameraAbilities:
    """What a camera can do, found out when it was opened."""

    live_view: bool
    trigger: bool
    partial_read: bool
    """Files can be pulled in pieces, live view going on."""
    notes: tuple[str, ...] = ()
    """Sentences for the person: what is missing and which dial, menu or cable to change."""
    shortest_gap_s: float = 0.0
    """Shortest time between two shots, learned from a body that called itself busy; 0 as long as none did."""


@dataclass(frozen=True, slots=True)
class CameraFile:
    """A file on the camera. Its name is shown, never used as a path or as a key."""

    folder: str
    name: str
    size_bytes: int
    mime_type: str = ""
    taken_at_s: float | None = None
    """Camera's own time stamp, s since the epoch, when it gives one."""


@dataclass(frozen=True, slots=True)
class Fired:
    """The shutter command was accepted."""

    fired_at_s: float
    """Monotonic time just before the command went out, s."""
    accepted_at_s: float
    """Monotonic time at which the camera had answered, s."""


@dataclass(frozen=True, slots=True)
class FileAppeared:
    """The camera has a new picture, whether we fired or its own button was pressed."""

    file: CameraFile
    seen_at_s: float


NO_PICTURE = "The camera took the command and delivered no picture. Take the frame again."
"""Note of a shot that came to nothing without a reason."""


@dataclass(frozen=True, slots=True)
class CaptureFinished:
    """The camera says that nothing more comes of this shot, or it was given up waiting for."""

    seen_at_s: float
    files: int = 1
    """How many files came of it; 0 if the shot was in vain."""
    note: str = ""
    """Why no file came, fit to be shown; empty if one did."""


@dataclass(frozen=True, slots=True)
class SettingMoved:
    """A setting was changed on the body."""

    name: str
    seen_at_s: float


@dataclass(frozen=True, slots=True)
class CameraLost:
    """The link or the driver went down; `why` is fit to be shown. Further calls raise until `reopen`."""

    why: str
    seen_at_s: float


@dataclass(frozen=True, slots=True)
class LiveViewTroubled:
    """Live pictures have stopped coming although the camera answers; `why` is fit to be shown. It is tried again."""

    why: str
    seen_at_s: float


@dataclass(frozen=True, slots=True)
class SuppliesSeen:
    """Battery and card, looked at now and then while the camera had nothing else to do."""

    states: Mapping[Setting, SettingState]
    """Battery and pictures left, as far as the camera tells."""
    card_free_bytes: int | None
    """Of the card with most room; None where the camera does not tell."""
    seen_at_s: float


CameraEvent = FileAppeared | CaptureFinished | SettingMoved | SuppliesSeen | LiveViewTroubled | CameraLost


class Camera(Protocol):
    """A camera that is open."""

    @property
    def identity(self) -> CameraIdentity:
        """Who it is."""
        ...

    @property
    def abilities(self) -> CameraAbilities:
        """What it can do."""
        ...

    def settings(self) -> dict[Setting, SettingState]:
        """Read every setting that this camera has.

        Raises
        ------
        CameraError
        """
        ...

    def change(self, setting: Setting, value: Value | float | str) -> SettingChange:
        """Set the nearest value the camera offers and read it back.

        Parameters
        ----------
        value : Value, float or str
            A value from `choices`, a number in the setting's unit, or one of our words ("raw", "card").

        Raises
        ------
        NotSupportedError
            If the camera lacks the setting or it cannot be set now.
        CameraError
        """
        ...

    def start_live_view(self) -> None:
        """Begin to receive live pictures; does nothing where `abilities.live_view` is false."""
        ...

    def stop_live_view(self) -> None:
        """End live view."""
        ...

    def latest_live(self, after_sequence: int = -1, timeout_s: float = 0.0) -> LiveJpeg | None:
        """Newest live picture with a sequence above `after_sequence`; None if none comes within `timeout_s`."""
        ...

    def fire(self) -> Fired:
        """Release the shutter; returns as soon as the camera has accepted. Files arrive as events.

        Raises
        ------
        CameraError
        """
        ...

    def events(self) -> list[CameraEvent]:
        """Everything that happened since the last call, oldest first; never waits."""
        ...

    def pull(self, file: CameraFile) -> Iterator[bytes]:
        """Yield the file's bytes in pieces of about 1 MiB, live view going on between them.

        The file stays on the camera.

        Raises
        ------
        CameraError
            At the piece that could not be had.
        """
        ...

    def ping(self) -> None:
        """Do a real transaction.

        Raises
        ------
        CameraError
            If the camera does not answer.
        """
        ...

    def reopen(self) -> None:
        """Climb the ladder of recovery until the same body (by serial) answers again.

        Raises
        ------
        CameraError
        """
        ...

    def close(self) -> None:
        """End live view, close the session, end the process; safe to call twice."""
        ...
