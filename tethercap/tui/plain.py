"""The roll as lines of text: one a state change, no full screen. For screen readers, logs and slow lines."""

import sys
import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from queue import SimpleQueue
from typing import Literal, TextIO

from tethercap.session import events
from tethercap.session.events import Mode, SessionEvent
from tethercap.session.states import RunState
from tethercap.tui.actions import ACTIONS, Where, key_name
from tethercap.tui.capture_view import CaptureView
from tethercap.tui.hints import AS_THE_PICTURE_SHOWS, hint_of
from tethercap.tui.runner_port import RunnerMaker, RunnerPort
from tethercap.watch.directions import Directions
from tethercap.watch.limits import Limits

_SAY_AGAIN_S = 3.0
"""A frame that is still held is spoken of again after this long, if the way has changed."""
_QUIET_STATES = frozenset({RunState.SETTLING, RunState.PULLING, RunState.CHECKING, RunState.FILED, RunState.EXPOSING})


@dataclass(slots=True)
class PlainTeller:
    """Turns session events into sentences, each a line; says nothing twice."""

    view: CaptureView = field(default_factory=CaptureView)
    limits: Limits = field(default_factory=Limits)
    directions: Directions = AS_THE_PICTURE_SHOWS
    _said: str = ""
    _said_at_s: float = 0.0
    _said_state: RunState | None = None

    def lines(self, event: SessionEvent) -> list[str]:
        """What to print for an event; mostly nothing."""
        noted = len(self.view.log)
        last_before = self.view.log[-1] if noted else None
        self.view.apply(event)
        match event:
            case events.Watched():
                return self._changed(event.sighting.taken_at_s)
            case events.StateChanged():
                return []  # said with the next live picture, when its reasons are known
            case events.ModeChanged():
                return [f"mode: {event.mode.value}"]
            case events.PositiveMade():
                return [f"frame {event.frame_id}: positive made, {event.positive.name}"]
            case events.NextFrameSet():
                return [f"next frame: {event.frame_id}"]
            case events.RunEnded():
                return [f"ended: {event.frames_filed} frames filed, {event.why}"]
            case events.CannotWatch():
                return [f"cannot watch: {event.why}"]
            case events.CameraTroubled() | events.StorageTroubled():
                return [f"trouble: {event.error}"]
            case events.FrameHeld():
                # Said now; the next live picture must not say it once more.
                self._said, self._said_state = f"hold: {' '.join(self.view.held)}", RunState.HELD
        newest = self.view.log[-1] if self.view.log else None
        return [newest.text] if newest is not None and newest is not last_before else []

    def _changed(self, at_s: float) -> list[str]:
        state = self.view.state
        if state in _QUIET_STATES:
            return []
        limits = self.limits
        hint = hint_of(
            self.view,
            centring_mm=limits.centring_mm,
            tilt_deg=limits.tilt_deg,
            directions=self.directions,
            fire_key="Enter",
        )
        sentence = "the film moves" if state is RunState.MOVING else hint.sentence
        told = f"{hint.word.lower()}: {' '.join(sentence.split())}"
        waited = at_s - self._said_at_s >= _SAY_AGAIN_S
        if told == self._said or (state is self._said_state and not waited):
            return []
        self._said, self._said_at_s, self._said_state = told, at_s, state
        return [told]


def commands_help() -> list[str]:
    """What can be typed, made from the registry."""
    named = [action for action in ACTIONS if action.id in _TYPED]
    lines = [f"{key_name(action.key)} or {action.id}{_MORE.get(action.id, '')}: {action.tooltip}" for action in named]
    return ["enter: fire", *lines]


def _toggled(runner: RunnerPort, mode: Mode) -> None:
    runner.set_mode(Mode.BY_KEY if runner.snapshot().mode is mode else mode)


def _strip(runner: RunnerPort, how: str) -> None:
    """Lay the strip in the holder as named: "fall" or "rise", "mirrored" or "straight", or both."""
    said = how.split()
    run: Literal[1, -1] | None = -1 if "fall" in said else (1 if "rise" in said else None)
    side = True if "mirrored" in said else (False if "straight" in said else None)
    runner.start_strip(numbers_run=run, mirrored=side)


_TYPED: dict[str, Callable[[RunnerPort, str], None]] = {
    "fire": lambda runner, _: runner.fire(),
    "force": lambda runner, _: runner.force(),
    "hands_free": lambda runner, _: _toggled(runner, Mode.HANDS_FREE),
    "pause": lambda runner, _: _toggled(runner, Mode.PAUSED),
    "skip": lambda runner, why: runner.skip(why or "left out"),
    "blank": lambda runner, _: runner.mark_blank(),
    "go_to": lambda runner, frame: runner.go_to(frame),
    "retake": lambda runner, frame: runner.retake(frame),
    "put_back": lambda runner, _: runner.put_back(),
    "strip": lambda runner, how: _strip(runner, how),
    "pull_again": lambda runner, _: runner.pull_again(),
    "leave": lambda runner, _: runner.stop(),
}
_NEEDS_FRAME = frozenset({"go_to", "retake"})
_MORE = {
    "go_to": " 14",
    "retake": " 14",
    "skip": " WHY",
    "strip": " fall, rise, mirrored, straight",
}
"""What is typed after the word."""


def obey(runner: RunnerPort, typed: str) -> str:
    """Do what one typed line asks; give back what to say about it, mostly nothing.

    An empty line fires: a pedal that sends Enter works.
    """
    word, _, rest = typed.strip().partition(" ")
    if not word:
        runner.fire()
        return ""
    by_key = {key_name(a.key): a.id for a in ACTIONS if a.where in (Where.CAPTURE, Where.EVERYWHERE)}
    action_id = by_key.get(word, word.replace("-", "_"))
    if action_id not in _TYPED:
        return "\n".join(commands_help())
    if action_id in _NEEDS_FRAME and not rest:
        return f"say which frame: {word} 14"
    if action_id == "strip" and not set(rest.split()) & {"fall", "rise", "mirrored", "straight"}:
        return f"say how the strip lies: {word}{_MORE['strip']}"
    _TYPED[action_id](runner, rest.strip())
    return ""


class _PlainRun:
    """A runner in its thread, and what it and the keyboard have to say, in order; None says that the run is over."""

    def __init__(self, make_runner: RunnerMaker, directions: Directions) -> None:
        self.said: SimpleQueue[str | None] = SimpleQueue()
        self.error: Exception | None = None
        self._teller = PlainTeller(directions=directions)
        self.runner = make_runner(self._take)
        self._teller.view.catch_up(self.runner.snapshot())

    def _take(self, event: SessionEvent) -> None:
        for text in self._teller.lines(event):
            self.said.put(text)

    def run(self) -> None:
        """Run the roll."""
        try:
            self.runner.run()
        except Exception as error:
            self.error = error
        finally:
            self.said.put(None)

    def listen(self, typed: Iterable[str]) -> None:
        """Obey typed lines until they end."""
        for line in typed:
            answer = obey(self.runner, line)
            if answer:
                self.said.put(answer)


def run_plain(
    make_runner: RunnerMaker,
    *,
    roll_name: str,
    typed: Iterable[str] | None = None,
    out: TextIO | None = None,
    directions: Directions = AS_THE_PICTURE_SHOWS,
) -> int:
    """Run a roll with one printed line a state change; lines typed at the keyboard are obeyed.

    Parameters
    ----------
    make_runner : callable
        As for the capture screen.
    roll_name : str
        Said first.
    typed : iterable of str, optional
        Lines as they are typed; the standard input if not given. Its end does not end the run.
    out : file, optional
        The standard output if not given.
    directions : Directions
        Words for the ways, as the person at the holder sees them.

    Returns
    -------
    int
        0, or 1 where the run ended with an error, which is said.
    """
    write = out if out is not None else sys.stdout
    plain = _PlainRun(make_runner, directions)
    worker = threading.Thread(target=plain.run, name="roll runner")
    print(f"roll {roll_name}. Enter fires, q leaves, anything unknown lists what can be typed.", file=write, flush=True)
    worker.start()
    lines = typed if typed is not None else sys.stdin
    threading.Thread(target=plain.listen, args=(lines,), name="typed lines", daemon=True).start()
    try:
        while (text := plain.said.get()) is not None:
            print(text, file=write, flush=True)
    except KeyboardInterrupt:
        print("finishing the shot under way, then leaving", file=write, flush=True)
    finally:
        plain.runner.stop()
        worker.join()
    if plain.error is not None:
        print(f"the run ended: {plain.error}", file=write, flush=True)
    return 1 if plain.error is not None else 0
