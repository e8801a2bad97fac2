"""What happens while the camera is away, and when it comes back otherwise than it went."""

from pathlib import Path

from tests.unit.session.stage import Stage, set_stage
from tethercap.camera.fake import FakeFile
from tethercap.errors import CameraGoneError, CameraRefusedError
from tethercap.session import events
from tethercap.session.options import RunnerOptions

AT_REST = [(0.5, "none"), (1.0, "moving"), (9.0, "seated"), (9.5, "none")]
GONE = CameraRefusedError("The camera no longer has that file.", todo="Perhaps the card was changed.")


def run(stage: Stage) -> Stage:
    with stage.roll:
        stage.runner.run()
    return stage


def test_a_key_that_was_pressed_while_the_camera_was_away_does_not_fire_when_it_is_back(tmp_path: Path) -> None:
    stage = set_stage(tmp_path / "roll-a", AT_REST)
    for _ in range(3):
        stage.camera.fail_next("reopen", CameraGoneError("It does not answer."))
    stage.clock.at(1.5, stage.camera.lose)
    stage.clock.at(2.5, stage.runner.fire)
    stage.clock.at(2.6, stage.runner.force)
    run(stage)
    assert stage.told(events.CameraCameBack)
    assert stage.told(events.ShotFired) == []
    assert ["press it again" in event.reasons[0].text for event in stage.told(events.FireRefused)] == [True, True]


def test_a_key_that_is_pressed_after_the_camera_came_back_fires(tmp_path: Path) -> None:
    stage = set_stage(tmp_path / "roll-a", AT_REST)
    stage.clock.at(1.5, stage.camera.lose)
    stage.clock.at(4.0, stage.runner.fire)
    run(stage)
    assert [event.frame_id for event in stage.told(events.FrameFiled)] == ["1"]


def test_a_picture_that_is_not_on_the_card_any_more_is_given_up_and_the_run_goes_on(tmp_path: Path) -> None:
    stage = set_stage(tmp_path / "roll-a", AT_REST)
    for _ in range(3):
        stage.camera.fail_next("pull", GONE)
    stage.clock.at(1.5, stage.runner.fire)
    stage.clock.at(6.0, stage.runner.force)
    run(stage)
    (held,) = [event for event in stage.told(events.FrameHeld) if event.frame_id == "1"]
    assert str(GONE) in held.sentences[0] and "Take frame 1 again" in held.sentences[0]
    assert [(event.frame_id, event.accepted) for event in stage.told(events.FrameFiled)] == [("1", True)]


def test_the_raw_is_filed_where_only_its_jpeg_is_not_on_the_card_any_more(tmp_path: Path) -> None:
    options = RunnerOptions(expected_files=2)
    both = (FakeFile(b"raw"), FakeFile(b"jpeg", ".JPG"))
    stage = set_stage(tmp_path / "roll-a", AT_REST, expose=lambda _: both, options=options)
    pull, asked = stage.camera.pull, []

    def pull_raw_only(file):  # type: ignore[no-untyped-def]
        asked.append(file.name)
        if file.name.endswith(".JPG"):
            raise GONE
        return pull(file)

    stage.camera.pull = pull_raw_only  # type: ignore[method-assign]
    stage.clock.at(1.5, stage.runner.fire)
    run(stage)
    assert [event.path.name for event in stage.told(events.FrameFiled)] == ["roll-a_01.dng"]
    assert len(asked) == 4, "the RAW once, its JPEG three times"
