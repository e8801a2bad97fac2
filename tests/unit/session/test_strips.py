"""Strips: told apart by the empty holder, put in backwards or with the other side up, and remembered over a crash."""

from itertools import count
from pathlib import Path

import pytest

from tests.unit.session.stage import Stage, set_stage
from tethercap.camera.fake import FakeFile
from tethercap.roll.names import FrameId
from tethercap.session import events
from tethercap.session.events import Mode
from tethercap.session.options import RunnerOptions


def strip_of(frames: int, begin_s: float, *, empty_s: float = 1.0) -> list[tuple[float, str]]:
    """An empty holder, frames seated one after the other for two seconds each, and the empty holder again."""
    phases, now_s = [(begin_s, "none")], begin_s
    for _ in range(frames):
        phases += [(now_s + 0.5, "moving"), (now_s + 2.5, "seated")]
        now_s += 2.5
    return [*phases, (now_s + empty_s, "none")]


def stage_of(folder: Path, phases: list[tuple[float, str]], *, fire_at_s: tuple[float, ...] = ()) -> Stage:
    numbers = count()
    stage = set_stage(
        folder,
        phases,
        options=RunnerOptions(mode=Mode.BY_KEY if fire_at_s else Mode.HANDS_FREE),
        expose=lambda _: (FakeFile(b"picture %d of " % next(numbers) + folder.name.encode() + bytes([len(phases)])),),
    )
    for at_s in fire_at_s:
        stage.clock.at(at_s, stage.runner.fire)
    return stage


def run(stage: Stage) -> list[str]:
    with stage.roll:
        stage.runner.run()
    return [event.frame_id for event in stage.told(events.FrameFiled)]


def test_a_strip_put_in_backwards_runs_down_from_its_far_end_and_the_next_goes_on_above(tmp_path: Path) -> None:
    phases = [*strip_of(2, 1.0), *strip_of(2, 8.0)]
    stage = stage_of(tmp_path / "r", phases)
    stage.clock.at(0.5, lambda: stage.runner.start_strip(numbers_run=-1, mirrored=True))
    assert run(stage) == ["6", "5", "7", "8"]
    with set_stage(tmp_path / "r", [(0.1, "none")]).roll as roll:
        lies = {str(number): take.filed for number in roll.frames for take in roll.frames[number].takes}
    assert [(lies[number].strip, lies[number].mirrored) for number in "6578"] == [
        (1, True), (1, True), (2, False), (2, False),
    ]  # fmt: skip
    assert [(event.strip, event.numbers_run) for event in stage.told(events.StripStarted)] == [(1, -1), (2, 1)]


def test_the_way_it_lies_may_be_said_when_it_is_in_and_does_not_make_it_another_strip(tmp_path: Path) -> None:
    stage = stage_of(tmp_path / "r", strip_of(2, 1.0), fire_at_s=(3.0, 5.0))
    stage.clock.at(2.0, lambda: stage.runner.start_strip(numbers_run=-1, first="12"))
    filed = run(stage)
    assert filed == ["12", "11"]
    assert {event.strip for event in stage.told(events.StripStarted)} == {1}
    assert stage.told(events.NextFrameSet)[-1].frame_id == "13"


def test_turned_twice_it_is_as_before(tmp_path: Path) -> None:
    stage = stage_of(tmp_path / "r", strip_of(2, 1.0), fire_at_s=(3.0, 5.0))
    stage.clock.at(2.0, lambda: stage.runner.start_strip(numbers_run=-1))
    stage.clock.at(2.2, lambda: stage.runner.start_strip(numbers_run=1))
    assert run(stage) == ["1", "2"]


def test_a_number_that_is_none_is_said_and_changes_nothing(tmp_path: Path) -> None:
    stage = stage_of(tmp_path / "r", strip_of(1, 1.0))
    stage.clock.at(0.5, lambda: stage.runner.start_strip(first="seven", numbers_run=-1))
    assert run(stage) == ["1"]
    assert any("seven" in sentence for event in stage.told(events.FrameHeld) for sentence in event.sentences)


def test_a_run_that_is_cut_off_goes_on_with_the_strip_as_it_lies(tmp_path: Path) -> None:
    first = stage_of(tmp_path / "r", strip_of(2, 1.0)[:-1])
    first.clock.at(0.5, lambda: first.runner.start_strip(numbers_run=-1, mirrored=True))
    assert run(first) == ["6", "5"]
    again = stage_of(tmp_path / "r", [(0.5, "moving"), (2.5, "seated"), (3.5, "none")])
    before = again.runner.snapshot()
    assert (before.strip, before.numbers_run, before.mirrored, before.next_frame_id) == (1, -1, True, "4")
    assert run(again) == ["4"]
    after = again.runner.snapshot()
    assert (after.numbers_run, after.mirrored, after.next_frame_id) == (1, False, "7")


@pytest.mark.parametrize("halves", [False, True])
def test_the_far_end_of_half_frames_counts_halves(tmp_path: Path, halves: bool) -> None:
    stage = stage_of(tmp_path / "r", strip_of(1, 1.0))
    stage.runner._desk.roll._core.state.setup = type(stage.roll.setup)(
        id="roll-a", film_kind=stage.roll.setup.film_kind, film_format="135-36x24", count_halves=halves
    )
    stage.clock.at(0.5, lambda: stage.runner.start_strip(numbers_run=-1))
    assert run(stage) == [str(FrameId.parse("1").next(5, by_halves=halves))]
