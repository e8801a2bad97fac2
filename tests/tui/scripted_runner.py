"""A runner that plays a script of real session events and writes down what was asked of it."""

import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal

from tests.tui.drawn_film import live_frame, sighting_at
from tethercap.check.findings import RawFindings
from tethercap.exposure.settings import Setting, SettingState, Value, ValueKind
from tethercap.session import events
from tethercap.session.events import FiredBy, Mode, SessionEvent, Signal, Signalled
from tethercap.session.snapshot import FrameMark, Snapshot
from tethercap.session.states import RunState


@dataclass(frozen=True)
class Wait:
    """Let time pass in the script."""

    seconds: float


@dataclass(frozen=True, eq=False)
class Gate:
    """The script goes on when it is opened."""

    open: threading.Event = field(default_factory=threading.Event)


Step = SessionEvent | Wait | Gate | Snapshot


def _number(setting: Setting, text: str, number: float, choices: tuple[tuple[str, float], ...] = ()) -> SettingState:
    values = tuple(Value(ValueKind.NUMBER, t, n) for t, n in choices)
    return SettingState(setting, Value(ValueKind.NUMBER, text, number), values, bool(values))


SETTINGS: Mapping[Setting, SettingState] = {
    Setting.SHUTTER: _number(Setting.SHUTTER, "1/60", 1 / 60, (("1/30", 1 / 30), ("1/60", 1 / 60), ("1/125", 1 / 125))),
    Setting.APERTURE: _number(Setting.APERTURE, "8", 8, (("5.6", 5.6), ("8", 8), ("11", 11))),
    Setting.ISO: _number(Setting.ISO, "100", 100),
    Setting.BATTERY: _number(Setting.BATTERY, "74%", 74),
    Setting.SHOTS_LEFT: _number(Setting.SHOTS_LEFT, "212", 212),
}

STANDING = Snapshot(
    state=RunState.SEATED,
    mode=Mode.BY_KEY,
    roll_id="invented-07",
    next_frame_id="14",
    strip=3,
    frames={str(n): FrameMark.TAKEN for n in range(1, 14)}
    | {"4": FrameMark.FORCED, "9": FrameMark.BLANK, "11": FrameMark.HELD},
    frames_expected=36,
    frames_per_minute=9.4,
    settings=SETTINGS,
)
"""A roll in its third strip."""


@dataclass
class ScriptedRunner:
    """Stands where the real runner stands. `run` plays the script, then waits for `stop`."""

    on_event: Callable[[SessionEvent], None]
    script: Iterable[Step] = ()
    standing: Snapshot = STANDING
    asked: list[tuple[object, ...]] = field(default_factory=list)
    played: threading.Event = field(default_factory=threading.Event)
    fails_with: Exception | None = None
    _stopping: threading.Event = field(default_factory=threading.Event)

    def run(self) -> None:
        for step in self.script:
            if self._stopping.is_set():
                break
            match step:
                case Gate():
                    while not step.open.wait(0.05):
                        if self._stopping.is_set():
                            return
                case Wait():
                    self._stopping.wait(step.seconds)
                case Snapshot():
                    self.standing = step
                case _:
                    self.on_event(step)
        self.played.set()
        if self.fails_with is not None:
            raise self.fails_with
        self._stopping.wait()

    def stop(self) -> None:
        self.asked.append(("stop",))
        self._stopping.set()

    def fire(self) -> None:
        self.asked.append(("fire",))

    def force(self) -> None:
        self.asked.append(("force",))

    def set_mode(self, mode: Mode) -> None:
        self.asked.append(("set_mode", mode))
        self.standing = replace(self.standing, mode=mode)
        self.on_event(events.ModeChanged(mode))

    def skip(self, why: str = "left out") -> None:
        self.asked.append(("skip", why))

    def mark_blank(self) -> None:
        self.asked.append(("mark_blank",))

    def go_to(self, frame_id: str) -> None:
        self.asked.append(("go_to", frame_id))

    def retake(self, frame_id: str) -> None:
        self.asked.append(("retake", frame_id))

    def change(self, setting: Setting, value: Value | float | str) -> None:
        self.asked.append(("change", setting, value))

    def start_strip(
        self, *, numbers_run: Literal[1, -1] | None = None, mirrored: bool | None = None, first: str | None = None
    ) -> None:
        self.asked.append(("start_strip", numbers_run, mirrored, first))

    def put_back(self) -> None:
        self.asked.append(("put_back",))

    def pull_again(self) -> None:
        self.asked.append(("pull_again",))

    def snapshot(self) -> Snapshot:
        return self.standing


def seated(frame_id: str = "14", sequence: int = 100) -> list[Step]:
    """The frame lies right."""
    return [
        events.SettingsRead(dict(SETTINGS)),
        events.NextFrameSet(frame_id),
        events.Watched(live_frame(sequence, 0.08, 2, tilt_deg=-0.05), sighting_at(sequence, 0.08, tilt_deg=-0.05)),
        events.StateChanged(RunState.SETTLING, RunState.SEATED, 0.0),
        Signalled(Signal.SEATED),
    ]


def held(offset_mm: float = 1.24, tilt_deg: float = 0.8, sequence: int = 100) -> list[Step]:
    """The frame lies too far to the right, and turned."""
    return [
        events.SettingsRead(dict(SETTINGS)),
        events.Watched(
            live_frame(sequence, offset_mm, 2, tilt_deg=tilt_deg), sighting_at(sequence, offset_mm, tilt_deg=tilt_deg)
        ),
        events.StateChanged(RunState.SETTLING, RunState.HELD, 0.0),
    ]


def shot(frame_id: str = "14", *, accepted: bool = True, findings: RawFindings | None = None) -> list[Step]:
    """From the shutter to the roll."""
    found = findings or RawFindings((), None, None)
    path = Path(f"raw/invented-07_{frame_id}.dng")
    return [
        events.ShotFired(frame_id, 1, FiredBy.KEY, 1.0),
        events.StateChanged(RunState.SEATED, RunState.EXPOSING, 1.0),
        events.StateChanged(RunState.EXPOSING, RunState.PULLING, 1.2),
        events.PullProgressed(frame_id, 12_000_000, 48_000_000),
        events.PullProgressed(frame_id, 48_000_000, 48_000_000),
        events.StateChanged(RunState.PULLING, RunState.CHECKING, 2.6),
        events.ShotChecked(frame_id, 1, found),
        events.FrameFiled(frame_id, 1, path, "0" * 64, 48_000_000, accepted, False, 1.4),
        events.StateChanged(RunState.CHECKING, RunState.FILED if accepted else RunState.HELD, 2.9),
        Signalled(Signal.FILED if accepted else Signal.HELD),
    ]


def hand(seconds_between: float = 1 / 30, first: int = 14, frames: int = 6) -> Iterator[Step]:
    """A hand pulling the strip through in real time: for looking at the screen, and for the bench."""
    sequence, standing = 0, STANDING
    yield events.SettingsRead(dict(SETTINGS))
    for turn in range(frames):
        number = first + turn
        yield from (events.NextFrameSet(str(number)), events.StateChanged(RunState.SEATED, RunState.MOVING, 0.0))
        approach = [38.0 * (1 - s / 24) ** 2 for s in range(25)] + [-0.9, -0.9, -0.9, -0.6, -0.3] + [0.04] * 14
        for index, offset in enumerate(approach):
            sequence += 1
            speed = (offset - approach[index - 1]) * 30 if index else -40.0
            shown, frame = (offset - 38.0, turn % 6) if offset > 19 and turn % 6 else (offset, turn % 6 + 1)
            still = abs(speed) < 0.5
            state = RunState.MOVING if abs(speed) > 3 else RunState.SETTLING
            if still:
                state = RunState.SEATED if abs(offset) < 0.3 else RunState.HELD
            yield events.StateChanged(RunState.MOVING, state, 0.0)
            yield events.Watched(
                live_frame(sequence, shown, max(1, frame), tilt_deg=0.2),
                sighting_at(sequence, shown, tilt_deg=0.2, speed_mm_s=0 if still else speed),
            )
            yield Wait(seconds_between)
        for step in shot(str(number)):
            yield step
            if not isinstance(step, Signalled | events.FrameFiled):
                yield Wait(4 * seconds_between)
        standing = replace(
            standing, frames={**standing.frames, str(number): FrameMark.TAKEN}, next_frame_id=str(number + 1)
        )
        yield standing
