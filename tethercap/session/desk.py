"""What the parts of a run share. Touched by the runner's thread only, but for the snapshot, which is replaced whole."""

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from tethercap.camera.base import Camera
from tethercap.clock import Clock
from tethercap.errors import StorageError
from tethercap.exposure.settings import Setting, SettingChange, SettingState, Value
from tethercap.geometry import SizePx
from tethercap.roll.folder import Roll
from tethercap.session import events
from tethercap.session.book import Book
from tethercap.session.events import Mode, SessionEvent, Signal
from tethercap.session.options import RunnerOptions
from tethercap.session.settings_guard import drift, drift_sentence, guarded_values
from tethercap.session.snapshot import Snapshot
from tethercap.session.states import RunState, move
from tethercap.session.watching import FilmWatcher
from tethercap.watch.sighting import Reason, Sighting


@dataclass(slots=True)
class Desk:
    """Camera, film, roll and where things stand."""

    camera: Camera
    watcher: FilmWatcher
    roll: Roll
    clock: Clock
    emit: Callable[[SessionEvent], None]
    options: RunnerOptions
    book: Book
    mode: Mode
    state: RunState = RunState.NO_FILM
    sighting: Sighting | None = None
    """The newest one."""
    view_size: SizePx | None = None
    """Of the live view."""
    view_width_mm: float | None = None
    """Width of the live view on the film, as last measured, mm."""
    settings: dict[Setting, SettingState] = field(default_factory=dict)
    wanted: dict[Setting, Value] = field(default_factory=dict)
    """Where the settings that the roll's frames share are meant to stand."""
    drifted: dict[Setting, SettingChange] = field(default_factory=dict)
    """Those that somebody turned on the body."""
    taken_here: bool = False
    """The frame in view is filed, and the film has not gone on since."""
    number_said: bool = False
    """A person said, since the film lay down here, which number the next picture gets: whatever lies there is that."""
    conversions_waiting: int = 0
    snapshot: Snapshot = field(default_factory=Snapshot)

    def go(self, after: RunState) -> None:
        """Move to another state and tell."""
        before, self.state = self.state, move(self.state, after)
        if before is not after:
            self.emit(events.StateChanged(before, after, self.clock.now_s()))
            self.refresh()

    def hold(self, *sentences: str) -> None:
        """Keep the frame open and say why."""
        reasons = self.sighting.verdict.reasons if self.sighting is not None else ()
        self.go(RunState.HELD)
        self.say(*sentences, reasons=reasons)

    def say(self, *sentences: str, reasons: tuple[Reason, ...] = ()) -> None:
        """Tell the person what to do, whatever the state."""
        self.emit(events.FrameHeld(self.book.frame_id, reasons, sentences))
        self.emit(events.Signalled(Signal.HELD))

    @property
    def frame_in_view(self) -> str:
        """Frame that a picture taken now is of: the one taken last while it lies there still, else the next one."""
        last, is_watched = self.roll.last_taken, self.mode is not Mode.PAUSED and self.camera.abilities.live_view
        lies_there = self.taken_here and not self.number_said and is_watched
        return str(last) if lies_there and last is not None else self.book.frame_id

    def number_moved(self) -> None:
        """Tell the number that comes next."""
        self.emit(events.NextFrameSet(self.book.frame_id))
        self.refresh()

    def leave_open(self) -> None:
        """Go on to the next number although the frame in hand has no good take; remembered over a crash."""
        left = self.book.leave_open()
        self.say(f"Frame {left} was not good and the film has moved on: it stays open. Take it again later.")
        self.number_moved()
        with self.bearing_storage():
            self.roll.go_to(self.book.frame_id)

    @contextlib.contextmanager
    def bearing_storage(self) -> Iterator[None]:
        """Say that the disk refused a note beside the pictures, and go on: this run knows it all the same."""
        try:
            yield
        except StorageError as error:
            self.say(str(error))

    def read_settings(self) -> None:
        """Ask the camera for its settings; tell the watcher the shutter time, and the person what was turned."""
        self.settings = self.camera.settings()
        if (shutter_s := self.shutter_s) is not None:
            self.watcher.shutter_s = shutter_s
        self.emit(events.SettingsRead(dict(self.settings)))
        self.wanted = self.wanted or guarded_values(self.settings)
        drifted, self.drifted = self.drifted, drift(self.wanted, self.settings)
        if self.drifted and self.drifted != drifted:
            self.emit(events.Advised(drift_sentence(self.drifted)))
            self.emit(events.Signalled(Signal.HELD))
        self.refresh()

    def want(self, setting: Setting, value: Value) -> None:
        """Take note that a setting is meant to stand there from now on."""
        if setting in self.wanted:
            self.wanted[setting] = value

    @property
    def shutter_s(self) -> float | None:
        """Exposure time set on the camera, s; None where it is not known."""
        shutter = self.settings.get(Setting.SHUTTER)
        return shutter.value.number or None if shutter else None

    def refresh(self) -> None:
        """Make a new snapshot."""
        book = self.book
        self.snapshot = Snapshot(
            state=self.state,
            mode=self.mode,
            roll_id=self.roll.setup.id,
            next_frame_id=book.frame_id,
            strip=book.strip,
            numbers_run=book.numbering.numbers_run,
            mirrored=self.roll.mirrored,
            frames=dict(book.marks),
            frames_expected=self.roll.setup.frames_expected,
            frames_per_minute=book.frames_per_minute,
            settings=dict(self.settings),
            last_filed=book.last_filed,
            conversions_waiting=self.conversions_waiting,
            can_watch=self.camera.abilities.live_view,
        )
