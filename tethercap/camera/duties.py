"""What the camera process does by itself between commands: live pictures and events.

Each duty says when it wants its next turn and takes one short turn at a time, so that a command waits for one driver
call at most. None of them knows the pipes: results go out through the callables they are given.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

from tethercap.camera.base import CameraEvent, CameraFile, CaptureFinished, FileAppeared
from tethercap.camera.gphoto import DriverEvent, DriverEventKind, GPhotoCamera
from tethercap.camera.live_board import LiveBoard
from tethercap.errors import (
    CameraBusyError,
    CameraError,
    CameraGoneError,
    CameraRefusedError,
    CameraSilentError,
)

NEVER = float("inf")
LIVE_PERIOD_S = 1 / 30
"""Pictures are asked for no faster; bodies make 15 to 30 a second."""
SLOWEST_LIVE_PERIOD_S = 1 / 10
"""Nor slower while a file is pulled: the film must still be watched."""
LIVE_SHARE = 0.05
"""The part of the time that live view may take from a file being pulled, as long as enough pictures come."""
AFTER_SHOT_S = 3.0
"""For so long after a release live view may fail without meaning anything: bodies restart it."""
EVENT_PERIOD_S = 0.05
EVENT_PERIOD_AFTER_SHOT_S = 0.008
IDLE_EVENT_PERIOD_S = 0.1
"""Also keeps the body awake: the driver pings it while it waits for events."""
QUIET_S = 0.3
"""So long after its last file a shot is over if the body says nothing."""
WITHOUT_FILE_S = 12.0
"""So long after twice the exposure a shot without any file is given up; noise reduction doubles an exposure."""
COMPLETE_WITHOUT_FILE_S = 6.0
"""So long after the body called it complete a shot without any file is given up."""
PATIENCE_AFTER_VAIN = 2.0
"""Once a shot was given up, so many times longer is waited for each later one: the body may be slow, and not empty."""
STORE_FULL = "PTP Event 400a"
"""How the driver passes on the standard's StoreFull event (ISO 15740, 12.5)."""
CARD_RAN_FULL = "The card ran full during the shot; the picture is lost. Put in an empty card and take the frame again."
DEAF_AFTER = 5
"""So many refusals in a row when asked for events mean that the link is broken, whatever the driver calls it."""
SAME_FILE_S = 5.0
"""The same file told again within this time is one file."""


class LiveDuty:
    """Fetches live pictures and puts them on the board.

    Parameters
    ----------
    board : LiveBoard
    ring : callable
        Tells the program that there is a new picture.
    first_sequence : int
        Number of the first picture.
    """

    def __init__(self, board: LiveBoard, ring: Callable[[], None], first_sequence: int = 0) -> None:
        self._board = board
        self._ring = ring
        self._sequence = first_sequence
        self._wait_s = LIVE_PERIOD_S
        self.next_at_s = NEVER
        self.failing_since_s: float | None = None
        self.sparing = False
        """Whether a file is being pulled over the same link."""
        self.last_error: CameraError | None = None
        """Why the last turn brought no picture; None if it did."""
        self.excused_until_s = 0.0
        """Errors before this time are expected."""

    @property
    def wanted(self) -> bool:
        """Whether live view is on."""
        return self.next_at_s != NEVER

    def begin(self, now_s: float) -> None:
        """Turn live view on."""
        self.next_at_s, self._wait_s, self.failing_since_s = now_s, LIVE_PERIOD_S, None

    def end(self) -> None:
        """Turn it off."""
        self.next_at_s = NEVER

    def turn(self, camera: GPhotoCamera, now_s: Callable[[], float], patience_s: float = AFTER_SHOT_S) -> bool:
        """Fetch one picture; return whether a good one came. A busy camera is borne with for `patience_s`.

        Raises
        ------
        CameraError
            If live view failed and that is not to be expected now.
        """
        started_s, before = now_s(), self._sequence
        try:
            camera.preview(lambda jpeg: self._publish(jpeg, now_s()))
            # From the beginning of this one: a body that is asked sooner keeps us waiting for its next picture.
            ended_s = now_s()
            period_s = LIVE_PERIOD_S
            if self.sparing:
                period_s = min(max(period_s, (ended_s - started_s) / LIVE_SHARE), SLOWEST_LIVE_PERIOD_S)
            self.next_at_s = max(started_s + period_s, ended_s)
            self._wait_s, self.failing_since_s, self.last_error = LIVE_PERIOD_S, None, None
        except CameraError as error:
            self.last_error = error
            self._wait_s = min(0.5, max(0.05, self._wait_s * 1.5))
            self.next_at_s = now_s() + self._wait_s
            if self.failing_since_s is None:
                self.failing_since_s = started_s
            if isinstance(error, CameraBusyError) and started_s - self.failing_since_s < patience_s:
                return False
            if started_s >= self.excused_until_s or isinstance(error, CameraGoneError):
                raise
        return self._sequence > before

    def _publish(self, jpeg: memoryview, at_s: float) -> None:
        picture = bytes(jpeg)
        if picture[:2] != b"\xff\xd8" or picture.rfind(b"\xff\xd9") < 0:
            # A busy body sends an empty or cut picture, and the driver calls it good.
            raise CameraBusyError(
                f"The camera sent a live picture that is none ({len(picture)} bytes).",
                todo="It is tried again; restart the camera if it stays.",
            )
        self._board.publish(self._sequence, at_s, picture)
        self._sequence += 1
        self._ring()


@dataclass(slots=True)
class ShotUnderWay:
    """A release whose files are awaited."""

    fired_at_s: float
    exposure_s: float
    expected_files: int
    files: int = 0
    complete: bool = False
    refused: bool = False
    """The body said that its card ran full."""
    last_at_s: float = 0.0
    patience: float = 1.0
    """So many times the usual time is waited for its first file."""

    def is_over(self, now_s: float) -> bool:
        """Whether nothing more is to be expected of it."""
        if self.refused or self.files >= self.expected_files or (self.complete and self.files):
            return True
        if self.files:
            return now_s - self.last_at_s > QUIET_S
        if self.complete and now_s - self.last_at_s > self.patience * COMPLETE_WITHOUT_FILE_S:
            return True
        return now_s - self.fired_at_s > 2 * self.exposure_s + self.patience * WITHOUT_FILE_S


@dataclass(slots=True)
class EventDuty:
    """Listens to the body: new files, ends of shots, turned dials.

    Parameters
    ----------
    tell : callable
        Gets each `CameraEvent`.
    secure : callable
        Gets each new file at once and returns it, completed: the driver keeps only a few that are not on a card.
    """

    tell: Callable[[CameraEvent], None]
    secure: Callable[[CameraFile], CameraFile]
    next_at_s: float = NEVER
    shot: ShotUnderWay | None = None
    settings_stirred: bool = False
    """The body said that a setting changed."""
    in_vain: bool = False
    """A shot was given up without a file."""
    _patience: float = 1.0
    _refusals: int = 0
    _recent: dict[tuple[str, str, int], float] = field(default_factory=dict)

    def expect(self, shot: ShotUnderWay) -> None:
        """Wait for the files of a shot."""
        self.shot = shot
        shot.patience = self._patience
        self.next_at_s = shot.fired_at_s

    def turn(self, camera: GPhotoCamera, now_s: Callable[[], float], *, live: bool) -> None:
        """Take what is in the driver's queue.

        Raises
        ------
        CameraError
        """
        for _ in range(8):
            event = self._next_event(camera)
            if event.kind is DriverEventKind.NOTHING:
                break
            if event.kind is DriverEventKind.FILE_ADDED:
                self._file(camera, event.folder, event.name, now_s())
            elif event.kind is DriverEventKind.COMPLETE and self.shot is not None:
                self.shot.complete, self.shot.last_at_s = True, now_s()
            elif event.text.startswith(STORE_FULL) and self.shot is not None:
                self.shot.refused = True
            elif "changed" in event.text:
                self.settings_stirred = True
        at_s = now_s()
        if self.shot is not None and self.shot.is_over(at_s):
            over, self.shot = self.shot, None
            if over.files:
                self.tell(CaptureFinished(at_s, over.files))
            elif over.refused:
                self.tell(CaptureFinished(at_s, 0, CARD_RAN_FULL))
            else:
                self.in_vain = True
                self._patience = PATIENCE_AFTER_VAIN
        pause_s = (
            EVENT_PERIOD_AFTER_SHOT_S if self.shot is not None else EVENT_PERIOD_S if live else IDLE_EVENT_PERIOD_S
        )
        self.next_at_s = at_s + pause_s

    def _next_event(self, camera: GPhotoCamera) -> DriverEvent:
        try:
            event = camera.next_event()
        except CameraRefusedError as error:
            self._refusals += 1
            if self._refusals < DEAF_AFTER:
                return DriverEvent(DriverEventKind.NOTHING)
            self._refusals = 0
            raise CameraGoneError(
                f"The camera no longer tells what happens. {error.what}", safe=error.safe, todo="Reopen it."
            ) from None
        self._refusals = 0
        return event

    def _file(self, camera: GPhotoCamera, folder: str, name: str, at_s: float) -> None:
        file = describe(camera, folder, name)
        key = (folder, name, file.size_bytes)
        told_at_s = self._recent.get(key)
        self._recent[key] = at_s
        if told_at_s is not None and at_s - told_at_s < SAME_FILE_S:
            return
        self.announce(file, at_s)

    def announce(self, file: CameraFile, at_s: float) -> None:
        """Tell of a file that appeared."""
        file = self.secure(file)
        if self.shot is not None:
            self.shot.files += 1
            self.shot.last_at_s = at_s
        self.tell(FileAppeared(file, at_s))

    def forget_shot(self) -> None:
        """Wait for nothing any more."""
        self.shot, self.in_vain = None, False


def describe(camera: GPhotoCamera, folder: str, name: str) -> CameraFile:
    """Return what is known about a file; a body that refuses to say leaves the size unknown (0)."""
    try:
        return camera.describe_file(folder, name)
    except (CameraGoneError, CameraSilentError):
        raise
    except CameraError:
        return CameraFile(folder, name, 0)
