"""A run that goes on after one that was cut off: what lies in the holder is not taken twice, nor misnumbered."""

from pathlib import Path

import pytest

from tests.unit.session.stage import Stage, set_stage, verdicts
from tethercap.camera.fake import FakeFile
from tethercap.check import registry
from tethercap.session import events
from tethercap.session.events import Mode
from tethercap.session.states import RunState

TAKEN_AND_LEFT_THERE = [(0.5, "none"), (1.0, "moving"), (3.0, "seated")]
STILL_THERE_THEN_THE_NEXT = [(2.0, "seated"), (2.5, "moving"), (4.0, "seated")]


def stage_of(folder: Path, phases: list[tuple[float, str]], in_view: bytes, mode: Mode = Mode.HANDS_FREE) -> Stage:
    stage = set_stage(folder, phases, mode=mode, expose=lambda n: (FakeFile(b"%d of " % n + repr(phases).encode()),))
    stage.film.in_view = in_view
    if stage.roll.last_view:
        stage.film.recall_shot(stage.roll.last_view)
    return stage


def run(stage: Stage) -> list[str]:
    with stage.roll:
        stage.runner.run()
    return [event.frame_id for event in stage.told(events.FrameFiled)]


def test_a_frame_that_was_filed_and_lies_there_still_is_not_taken_again(tmp_path: Path) -> None:
    assert run(stage_of(tmp_path / "r", TAKEN_AND_LEFT_THERE, b"the first")) == ["1"]
    again = stage_of(tmp_path / "r", STILL_THERE_THEN_THE_NEXT, b"the first")
    again.clock.at(1.0, again.runner.fire)
    assert run(again) == ["2"]
    assert "move the film on" in again.told(events.FireRefused)[0].reasons[0].text
    assert again.told(events.StateChanged)[0].after is RunState.FILED
    fired = again.told(events.ShotFired)
    assert [shot.fired_at_s > 2.4 for shot in fired] == [True]


def test_another_frame_in_the_holder_is_taken_at_once(tmp_path: Path) -> None:
    run(stage_of(tmp_path / "r", TAKEN_AND_LEFT_THERE, b"the first"))
    again = stage_of(tmp_path / "r", [(2.0, "seated")], b"the second")
    assert run(again) == ["2"]


@pytest.mark.parametrize("request_of", ["skip", "mark_blank"])
def test_a_frame_passed_over_is_known_again_too(tmp_path: Path, request_of: str) -> None:
    first = stage_of(tmp_path / "r", TAKEN_AND_LEFT_THERE, b"the first", Mode.BY_KEY)
    first.clock.at(2.0, getattr(first.runner, request_of))
    assert run(first) == []
    assert run(stage_of(tmp_path / "r", STILL_THERE_THEN_THE_NEXT, b"the first")) == ["2"]


def test_a_frame_left_open_keeps_its_number_over_a_crash(tmp_path: Path) -> None:
    phases = [(0.5, "none"), (1.0, "moving"), (3.0, "seated"), (3.5, "moving"), (3.9, "crooked")]
    first = set_stage(
        tmp_path / "r", phases, mode=Mode.HANDS_FREE, judge=verdicts(registry.MOTION_BLUR, registry.MOTION_BLUR)
    )
    assert run(first) == ["1", "1"]
    again = set_stage(tmp_path / "r", [(1.0, "crooked")])
    assert again.runner.snapshot().next_frame_id == "2"


def test_a_frame_mistaken_for_the_last_one_is_taken_by_key_once_its_number_is_said(tmp_path: Path) -> None:
    assert run(stage_of(tmp_path / "r", TAKEN_AND_LEFT_THERE, b"a grey wall")) == ["1"]
    again = stage_of(tmp_path / "r", [(4.0, "seated")], b"a grey wall")
    again.clock.at(1.0, lambda: again.runner.go_to("2"))
    again.clock.at(3.0, again.runner.fire)
    assert run(again) == ["2"]
    assert [shot.fired_at_s > 2.9 for shot in again.told(events.ShotFired)] == [True], "and not by itself"
