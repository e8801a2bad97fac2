"""What the capture screen knows, folded from session events: a value anyone can print, no widgets."""

from collections import deque
from dataclasses import dataclass, field

from tethercap.errors import TethercapError
from tethercap.exposure.settings import Setting, SettingState
from tethercap.session import events
from tethercap.session.events import FiredBy, Mode, SessionEvent
from tethercap.session.snapshot import FrameMark, Snapshot
from tethercap.session.states import RunState
from tethercap.watch.sighting import Reason, Sighting

_LOG_LINES = 60


@dataclass(slots=True)
class LastShot:
    """The shot fired last, and how far it has come."""

    frame_id: str
    take: int
    fired_by: FiredBy
    done_bytes: int = 0
    total_bytes: int = 0
    findings: tuple[str, ...] = ()
    """Sentences of the findings, worst first."""
    passed: bool | None = None
    """None until it was checked."""
    filed: events.FrameFiled | None = None
    positive: events.PositiveMade | None = None
    conversion_failed: bool = False


@dataclass(slots=True)
class LogEntry:
    """One thing that happened, for the eye."""

    text: str
    good: bool | None = None
    """None for what is neither good nor bad."""


@dataclass(slots=True)
class CaptureView:
    """The state of the capture screen."""

    roll_id: str = ""
    state: RunState = RunState.NO_FILM
    mode: Mode = Mode.BY_KEY
    next_frame_id: str = ""
    strip: int = 0
    numbers_fall: bool = False
    """The strip in the holder lies so that numbers fall from frame to frame."""
    mirrored: bool = False
    """It lies with its other side up."""
    marks: dict[str, FrameMark] = field(default_factory=dict)
    frames_expected: int | None = 36
    """None where nobody said how many the film holds."""
    frames_per_minute: float | None = None
    settings: dict[Setting, SettingState] = field(default_factory=dict)
    sighting: Sighting | None = None
    last: LastShot | None = None
    refused: tuple[Reason, ...] = ()
    """Why the last key press gave no shot; cleared when the state changes."""
    held: tuple[str, ...] = ()
    """What to do about the frame that is held."""
    trouble: TethercapError | None = None
    recovering: bool = False
    pull_again_offered: bool = False
    cannot_watch: str = ""
    live_per_s: float | None = None
    ended: str = ""
    log: deque[LogEntry] = field(default_factory=lambda: deque(maxlen=_LOG_LINES))
    _watched_at_s: deque[float] = field(default_factory=lambda: deque(maxlen=31))

    @classmethod
    def from_snapshot(cls, snapshot: Snapshot) -> "CaptureView":
        """Begin where a roll stands."""
        view = cls()
        view.catch_up(snapshot)
        return view

    @property
    def strip_lies(self) -> str:
        """How the strip lies, in words; nothing where it lies plainly."""
        parts = (("numbers fall", self.numbers_fall), ("mirrored", self.mirrored))
        return ", ".join(text for text, holds in parts if holds)

    @property
    def busy(self) -> bool:
        """A shot is under way; leaving now waits for it."""
        return self.state in (RunState.EXPOSING, RunState.PULLING, RunState.CHECKING)

    @property
    def frames_done(self) -> int:
        """Frames that need no more work."""
        return sum(mark is not FrameMark.HELD for mark in self.marks.values())

    @property
    def frames_left(self) -> int | None:
        """Frames still to come by what the roll should hold; None where that is not known."""
        return None if self.frames_expected is None else max(0, self.frames_expected - self.frames_done)

    @property
    def is_whole(self) -> bool:
        """Nothing is left to take of what the roll should hold, nor to take again."""
        again = any(mark is FrameMark.HELD for mark in self.marks.values())
        return self.frames_left == 0 and not again

    @property
    def frame_in_view(self) -> str:
        """Number of the frame that lies in the holder: the one just filed as long as the film has not gone on."""
        stays = self.last is not None and (self.busy or self.state is RunState.FILED)
        return self.last.frame_id if self.last is not None and stays else self.next_frame_id

    @property
    def time_left_s(self) -> float | None:
        """Time to the end of the roll at the present pace; None before there is a pace."""
        left = self.frames_left
        return 60 * left / self.frames_per_minute if left is not None and self.frames_per_minute else None

    def catch_up(self, snapshot: Snapshot) -> None:
        """Take over everything a snapshot says; events then keep it up to date."""
        self.roll_id, self.strip = snapshot.roll_id, snapshot.strip
        self.take_counts(snapshot)
        self.next_frame_id = snapshot.next_frame_id or self.next_frame_id
        self.mode = snapshot.mode
        self.settings = dict(snapshot.settings) or self.settings

    def take_counts(self, snapshot: Snapshot) -> None:
        """Take over what no event tells: marks set elsewhere, how many frames, pace."""
        self.marks = dict(snapshot.frames)
        self.numbers_fall, self.mirrored = snapshot.numbers_run < 0, snapshot.mirrored
        self.frames_expected, self.frames_per_minute = snapshot.frames_expected, snapshot.frames_per_minute

    def apply(self, event: SessionEvent) -> None:
        """Take in one event."""
        match event:
            case events.Watched():
                self._watched(event.sighting)
            case events.StateChanged():
                self._state_changed(event.after)
            case events.ModeChanged():
                self.mode = event.mode
            case events.FireRefused():
                self.refused = event.reasons
                self._note(f"no shot of {event.frame_id}: {'; '.join(r.text for r in event.reasons)}", good=False)
            case events.NextFrameSet():
                self.next_frame_id = event.frame_id
            case events.SettingsRead():
                self.settings = dict(event.settings)
            case _:
                self._apply_shot(event)

    def _apply_shot(self, event: SessionEvent) -> None:
        match event:
            case events.ShotFired():
                self.last = LastShot(event.frame_id, event.take, event.fired_by)
                self.refused, self.held = (), ()
                self._note(f"frame {event.frame_id} fired, {event.fired_by.value}")
            case events.PullProgressed() if self.last is not None:
                self.last.done_bytes, self.last.total_bytes = event.done_bytes, event.total_bytes
            case events.ShotChecked() if self.last is not None:
                ranked = sorted(
                    event.findings.findings, key=lambda f: ("failure", "warning", "note").index(f.kind.severity)
                )
                self.last.findings = tuple(finding.kind.sentence for finding in ranked)
                self.last.passed = event.findings.passed
            case events.FrameFiled():
                self._filed(event)
            case events.FrameHeld():
                self.held = event.sentences or tuple(reason.text for reason in event.reasons)
                self._note(f"frame {event.frame_id or '?'} held: {' '.join(self.held)}", good=False)
            case events.PositiveMade() | events.ConversionFailed():
                self._converted(event)
            case _:
                self._apply_rest(event)

    def _apply_rest(self, event: SessionEvent) -> None:
        match event:
            case events.FrameSkipped():
                self.marks.setdefault(event.frame_id, FrameMark.SKIPPED)
                self._note(f"frame {event.frame_id} left out: {event.why}")
            case events.StripStarted():
                self.strip = event.strip
                self.numbers_fall, self.mirrored = event.numbers_run < 0, event.mirrored
                self._note(f"strip {event.strip} in the holder{', ' * bool(self.strip_lies)}{self.strip_lies}")
            case events.StripEnded():
                self._note(f"strip {event.strip} done, {event.frames_filed} frames filed", good=True)
            case events.SettingChanged():
                change = event.change
                state = self.settings.get(change.setting)
                if state is not None:
                    self.settings[change.setting] = SettingState(
                        state.setting, change.got, state.choices, state.settable, state.note
                    )
                taken = "" if change.taken else f" (asked for {change.asked.text})"
                self._note(f"{change.setting.value} is {change.got.text}{taken}", good=None if change.taken else False)
            case events.CannotWatch():
                self.cannot_watch = event.why
            case _:
                self._apply_trouble(event)

    def _apply_trouble(self, event: SessionEvent) -> None:
        match event:
            case events.CameraTroubled():
                self.trouble, self.recovering = event.error, event.recovering
                self._note(event.error.what, good=False)
            case events.StorageTroubled():
                self.trouble, self.recovering, self.pull_again_offered = event.error, False, True
                self._note(event.error.what, good=False)
            case events.Advised():
                self._note(event.sentence, good=False)
            case events.CameraCameBack():
                self.trouble, self.recovering = None, False
                self._note(f"the camera is back after {event.after_s:.0f} s", good=True)
            case events.RunEnded():
                self.ended = event.why

    def _watched(self, sighting: Sighting) -> None:
        self.sighting = sighting
        self._watched_at_s.append(sighting.taken_at_s)
        span_s = self._watched_at_s[-1] - self._watched_at_s[0]
        self.live_per_s = (len(self._watched_at_s) - 1) / span_s if span_s > 0 else None

    def _state_changed(self, after: RunState) -> None:
        self.state = after
        self.refused = ()
        if after in (RunState.MOVING, RunState.NO_FILM):
            self.held = ()

    def _filed(self, event: events.FrameFiled) -> None:
        mark = FrameMark.FORCED if event.forced else FrameMark.TAKEN
        self.marks[event.frame_id] = mark if event.accepted else FrameMark.HELD
        self.trouble, self.pull_again_offered = None, False
        if self.last is not None and self.last.frame_id == event.frame_id:
            self.last.filed = event
        kept = "filed" if event.accepted else "kept, not good enough"
        self._note(f"frame {event.frame_id} {kept}: {event.path.name}", good=event.accepted)

    def _converted(self, event: events.PositiveMade | events.ConversionFailed) -> None:
        if self.last is not None and (self.last.frame_id, self.last.take) == (event.frame_id, event.take):
            if isinstance(event, events.PositiveMade):
                self.last.positive = event
            else:
                self.last.conversion_failed = True
        if isinstance(event, events.ConversionFailed):
            self._note(f"frame {event.frame_id} was not converted: {event.error.what}", good=False)

    def _note(self, text: str, *, good: bool | None = None) -> None:
        self.log.append(LogEntry(text, good))
