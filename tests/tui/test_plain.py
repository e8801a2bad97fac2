"""The roll as lines of text."""

import io
import threading
from collections.abc import Callable, Iterator

import pytest

from tests.tui.drawn_film import live_frame, sighting_at
from tests.tui.scripted_runner import ScriptedRunner, held, seated, shot
from tethercap.errors import CameraGoneError
from tethercap.session import events
from tethercap.session.events import Mode, SessionEvent
from tethercap.session.states import RunState
from tethercap.tui.plain import PlainTeller, obey, run_plain


def _told(*steps: object) -> list[str]:
    teller = PlainTeller()
    return [text for step in steps for text in teller.lines(step)]  # type: ignore[arg-type]


def test_a_frame_that_is_still_held_is_not_told_thirty_times_a_second() -> None:
    state = events.StateChanged(RunState.MOVING, RunState.HELD, 0.0)
    pictures = [held(1.24 + 0.05 * n, sequence=n)[1] for n in range(60)]
    told = _told(state, *pictures)
    assert len(told) == 1
    assert told[0].startswith("hold: Move the film 1.2 mm to the left")


def test_a_frame_held_for_long_is_told_again_when_the_way_has_changed() -> None:
    state = events.StateChanged(RunState.MOVING, RunState.HELD, 0.0)
    told = _told(state, held(1.24, 0.0, sequence=0)[1], held(2.24, 0.0, sequence=120)[1])
    assert told == ["hold: Move the film 1.2 mm to the left.", "hold: Move the film 2.2 mm to the left."]


def test_why_a_frame_is_held_is_told_once() -> None:
    state = events.StateChanged(RunState.CHECKING, RunState.HELD, 0.0)
    picture = events.Watched(live_frame(1, 0.0), sighting_at(1, 0.0))
    told = _told(state, events.FrameHeld("14", (), ("The film slipped. Take the frame again.",)), picture)
    assert told == ["frame 14 held: The film slipped. Take the frame again."]


def test_a_shot_is_told_from_shutter_to_positive() -> None:
    told = _told(*seated(), *shot())
    assert "frame 14 fired, key" in told
    ready = events.StateChanged(RunState.SETTLING, RunState.SEATED, 0.0)
    assert "press Enter" in _told(ready, seated()[2])[0]
    assert "frame 14 filed: invented-07_14.dng" in told


def test_trouble_is_told_with_what_is_safe() -> None:
    error = CameraGoneError("The cable came out.", safe="Nothing is lost.")
    assert _told(events.CameraTroubled(error, True)) == ["trouble: The cable came out. Nothing is lost."]


@pytest.mark.parametrize(
    ("typed", "asked"),
    [
        ("", ("fire",)),
        ("space", ("fire",)),
        ("fire", ("fire",)),
        ("x", ("force",)),
        ("h", ("set_mode", Mode.HANDS_FREE)),
        ("hands-free", ("set_mode", Mode.HANDS_FREE)),
        ("p", ("set_mode", Mode.PAUSED)),
        ("s scratched", ("skip", "scratched")),
        ("b", ("mark_blank",)),
        ("g 22", ("go_to", "22")),
        ("retake 3", ("retake", "3")),
        ("u", ("pull_again",)),
        ("c", ("put_back",)),
        ("q", ("stop",)),
    ],
)
def test_typed_lines_do_what_keys_do(typed: str, asked: tuple[object, ...]) -> None:
    runner = ScriptedRunner(lambda event: None)
    assert obey(runner, typed + "\n") == ""
    assert runner.asked == [asked]


@pytest.mark.parametrize(("typed", "answer"), [("dance", "enter: fire"), ("g", "say which frame")])
def test_what_is_not_understood_is_answered_and_does_nothing(typed: str, answer: str) -> None:
    runner = ScriptedRunner(lambda event: None)
    assert answer in obey(runner, typed)
    assert runner.asked == []


def _maker(
    runners: list[ScriptedRunner], error: Exception | None = None
) -> Callable[[Callable[[SessionEvent], None]], ScriptedRunner]:
    def make(on_event: Callable[[SessionEvent], None]) -> ScriptedRunner:
        runners.append(ScriptedRunner(on_event, [*seated(), *shot()], fails_with=error))
        return runners[-1]

    return make


def test_a_whole_run_ends_when_q_is_typed() -> None:
    runners: list[ScriptedRunner] = []

    def typing() -> Iterator[str]:
        runners[0].played.wait(5)
        yield "q\n"

    out = io.StringIO()
    assert run_plain(_maker(runners), roll_name="invented-07", typed=typing(), out=out) == 0
    lines = out.getvalue().splitlines()
    assert lines[0].startswith("roll invented-07")
    assert "frame 14 filed: invented-07_14.dng" in lines


def test_a_run_that_breaks_says_why_and_returns_1() -> None:
    silent = threading.Event()
    silent.set()
    out = io.StringIO()
    code = run_plain(_maker([], CameraGoneError("The cable came out.")), roll_name="r", typed=[], out=out)
    assert code == 1
    assert out.getvalue().splitlines()[-1] == "the run ended: The cable came out."
