"""The runner: what is fired, filed, held and numbered, as a table of stories."""

from collections.abc import Callable
from concurrent.futures import Future
from pathlib import Path

import pytest

from tests.unit.session.stage import Stage, set_stage, verdicts
from tethercap.camera.fake import FakeFile
from tethercap.check import registry
from tethercap.check.findings import RawFindings
from tethercap.errors import CameraError, CameraGoneError, CameraRefusedError, DriverDiedError, StorageError
from tethercap.exposure.settings import Setting
from tethercap.film.kinds import FilmKind
from tethercap.geometry import SizePx
from tethercap.pictures import ShotData
from tethercap.roll.setup import RollSetup
from tethercap.session import events
from tethercap.session.check_job import CheckedFile
from tethercap.session.events import FiredBy, Mode, Signal
from tethercap.session.options import RunnerOptions
from tethercap.session.snapshot import FrameMark
from tethercap.session.states import MOVES, RunState

ONE_FRAME = [(0.5, "none"), (1.0, "moving"), (3.0, "seated"), (3.5, "none")]


def three_frames() -> list[tuple[float, str]]:
    phases = [(0.5, "none")]
    for number in range(3):
        phases += [(1.0 + 2 * number, "moving"), (2.5 + 2 * number, "seated")]
    return [*phases, (7.0, "moving"), (8.0, "none")]


def filed_names(stage: Stage) -> list[str]:
    return sorted(path.name for path in (stage.roll.path / "raw").iterdir() if path.suffix != ".xmp")


def run(stage: Stage) -> Stage:
    with stage.roll:
        stage.runner.run()
    return stage


def test_hands_free_takes_every_frame_once_and_numbers_it(tmp_path: Path) -> None:
    stage = run(set_stage(tmp_path / "roll-a", three_frames(), mode=Mode.HANDS_FREE))
    assert [event.frame_id for event in stage.told(events.FrameFiled)] == ["1", "2", "3"]
    assert filed_names(stage) == ["roll-a_01.dng", "roll-a_02.dng", "roll-a_03.dng"]
    assert all(event.fired_by is FiredBy.HANDS_FREE for event in stage.told(events.ShotFired))
    assert stage.runner.snapshot().frames == {"1": FrameMark.TAKEN, "2": FrameMark.TAKEN, "3": FrameMark.TAKEN}
    assert stage.told(events.RunEnded)[0].frames_filed == 3


def test_states_go_by_the_table_and_are_told_in_order(tmp_path: Path) -> None:
    stage = run(set_stage(tmp_path / "roll-a", ONE_FRAME, mode=Mode.HANDS_FREE))
    moves = [(event.before, event.after) for event in stage.told(events.StateChanged)]
    assert [after for _, after in moves] == [
        RunState.MOVING, RunState.SEATED, RunState.EXPOSING, RunState.PULLING, RunState.CHECKING, RunState.FILED,
        RunState.NO_FILM,
    ]  # fmt: skip
    assert all(after in MOVES[before] for before, after in moves)
    assert [signal.signal for signal in stage.told(events.Signalled)] == [
        Signal.SEATED,
        Signal.FILED,
        Signal.STRIP_DONE,
    ]


def test_by_key_nothing_is_fired_without_one(tmp_path: Path) -> None:
    stage = run(set_stage(tmp_path / "roll-a", ONE_FRAME))
    assert stage.told(events.ShotFired) == []


@pytest.mark.parametrize(("at_s", "why"), [(0.8, "not still"), (0.2, "off centre"), (2.9, "is filed")])
def test_a_key_on_a_hold_says_why_and_does_not_fire(tmp_path: Path, at_s: float, why: str) -> None:
    stage = set_stage(tmp_path / "roll-a", ONE_FRAME)
    stage.clock.at(1.5, stage.runner.fire)
    stage.clock.at(at_s, stage.runner.fire)
    run(stage)
    assert [event.fired_by for event in stage.told(events.ShotFired)] == [FiredBy.KEY]
    assert why in stage.told(events.FireRefused)[0].reasons[0].text


def test_the_other_key_forces_the_shot_and_the_record_says_so(tmp_path: Path) -> None:
    stage = set_stage(tmp_path / "roll-a", [(0.5, "moving"), (3.0, "crooked")])
    stage.clock.at(1.0, stage.runner.fire)
    stage.clock.at(1.5, stage.runner.force)
    run(stage)
    assert [event.forced for event in stage.told(events.FrameFiled)] == [True]
    assert stage.checks[0].forced
    assert stage.runner.snapshot().frames == {"1": FrameMark.FORCED}
    assert '"forced":true' in (stage.roll.path / "record.jsonl").read_text()


def test_a_failed_check_keeps_the_file_and_the_frame_is_taken_again(tmp_path: Path) -> None:
    stage = run(set_stage(tmp_path / "roll-a", ONE_FRAME, mode=Mode.HANDS_FREE, judge=verdicts(registry.OFF_CENTRE)))
    assert [(event.frame_id, event.take, event.accepted) for event in stage.told(events.FrameFiled)] == [
        ("1", 1, False),
        ("1", 2, True),
    ]
    assert filed_names(stage) == ["roll-a_01.dng", "roll-a_01_t2.dng"]
    assert "slipped" in stage.told(events.FrameHeld)[0].sentences[0]


def test_a_frame_that_keeps_failing_is_not_taken_for_ever(tmp_path: Path) -> None:
    failing = verdicts(*[registry.CLIPPED] * 9)
    stage = run(set_stage(tmp_path / "roll-a", [(0.5, "moving"), (9.0, "seated")], mode=Mode.HANDS_FREE, judge=failing))
    assert len(stage.told(events.FrameFiled)) == 2
    assert "press fire" in stage.told(events.FrameHeld)[-1].sentences[-1]


def test_a_frame_pulled_on_after_a_failed_check_stays_open_and_numbers_stay_right(tmp_path: Path) -> None:
    phases = [(0.5, "none"), (1.0, "moving"), (1.2, "seated"), (2.0, "moving"), (3.5, "seated"), (4.0, "none")]
    stage = run(set_stage(tmp_path / "roll-a", phases, mode=Mode.HANDS_FREE, judge=verdicts(registry.MOTION_BLUR)))
    assert [(event.frame_id, event.accepted) for event in stage.told(events.FrameFiled)] == [("1", False), ("2", True)]
    assert stage.runner.snapshot().frames == {"1": FrameMark.HELD, "2": FrameMark.TAKEN}
    assert any("stays open" in sentence for event in stage.told(events.FrameHeld) for sentence in event.sentences)


def test_a_retake_comes_back_to_where_the_roll_stands(tmp_path: Path) -> None:
    stage = set_stage(tmp_path / "roll-a", [(0.5, "moving"), (9.0, "seated")])
    stage.clock.at(1.0, stage.runner.fire)
    stage.clock.at(2.0, lambda: stage.runner.retake("1"))
    stage.clock.at(2.5, stage.runner.fire)
    run(stage)
    assert [(event.frame_id, event.take) for event in stage.told(events.FrameFiled)] == [("1", 1), ("1", 2)]
    assert stage.runner.snapshot().next_frame_id == "2"


def test_skipping_and_blank_frames_move_the_number_on(tmp_path: Path) -> None:
    stage = set_stage(tmp_path / "roll-a", [(0.5, "moving"), (5.0, "seated")])
    stage.clock.at(1.0, lambda: stage.runner.skip("fogged"))
    stage.clock.at(1.5, stage.runner.mark_blank)
    stage.clock.at(2.0, lambda: stage.runner.go_to("11"))
    run(stage)
    assert [(event.frame_id, event.why) for event in stage.told(events.FrameSkipped)] == [
        ("1", "fogged"),
        ("2", "blank"),
    ]
    assert stage.runner.snapshot().next_frame_id == "11"


def test_blank_frames_are_noted_by_themselves_only_if_asked(tmp_path: Path) -> None:
    phases = [(0.5, "moving"), (2.0, "blank"), (2.5, "moving"), (4.0, "seated"), (5.0, "none")]
    asked = RunnerOptions(mode=Mode.HANDS_FREE, skip_blank=True)
    stage = run(set_stage(tmp_path / "a", phases, options=asked))
    assert [event.frame_id for event in stage.told(events.FrameFiled)] == ["2"]
    assert stage.runner.snapshot().frames["1"] is FrameMark.BLANK
    stage = run(set_stage(tmp_path / "b", phases, mode=Mode.HANDS_FREE))
    assert [event.frame_id for event in stage.told(events.FrameFiled)] == ["1"]


def test_the_bodys_own_button_is_filed_too(tmp_path: Path) -> None:
    stage = set_stage(tmp_path / "roll-a", ONE_FRAME)
    stage.clock.at(1.5, stage.camera.press)
    run(stage)
    assert [event.fired_by for event in stage.told(events.ShotFired)] == [FiredBy.BODY]
    assert filed_names(stage) == ["roll-a_01.dng"]


def test_a_press_during_a_pull_waits_for_its_turn(tmp_path: Path) -> None:
    stage = set_stage(tmp_path / "roll-a", [(0.5, "moving"), (9.0, "seated")], options=RunnerOptions(expected_files=1))
    stage.clock.at(1.0, stage.runner.fire)
    stage.clock.at(1.01, stage.camera.press)
    run(stage)
    assert [(event.frame_id, event.take) for event in stage.told(events.FrameFiled)] == [("1", 1), ("1", 2)]


def test_raw_and_jpeg_are_filed_side_by_side_whichever_comes_first(tmp_path: Path) -> None:
    pair = (FakeFile(b"jpeg", ".JPG"), FakeFile(b"raw", ".NEF"))
    stage = set_stage(tmp_path / "roll-a", ONE_FRAME, expose=lambda _: pair, options=RunnerOptions(expected_files=2))
    stage.clock.at(1.5, stage.runner.fire)
    run(stage)
    assert filed_names(stage) == ["roll-a_01.jpg", "roll-a_01.nef"]
    assert stage.told(events.FrameFiled)[0].path.suffix == ".nef"


def test_the_same_picture_twice_is_not_accepted(tmp_path: Path) -> None:
    stage = run(
        set_stage(tmp_path / "roll-a", three_frames(), mode=Mode.HANDS_FREE, expose=lambda _: (FakeFile(b"same"),))
    )
    accepted = [event.accepted for event in stage.told(events.FrameFiled)]
    assert accepted[0]
    assert not any(accepted[1:])


def test_without_live_view_a_key_fires_and_the_tool_says_it_cannot_watch(tmp_path: Path) -> None:
    stage = set_stage(tmp_path / "roll-a", ONE_FRAME, live=False)
    stage.clock.at(1.0, stage.runner.fire)
    run(stage)
    assert "cannot be watched" in stage.told(events.CannotWatch)[0].why
    assert filed_names(stage) == ["roll-a_01.dng"]
    assert not stage.checks[0].watched


def test_a_lost_camera_comes_back_and_the_picture_on_its_card_is_pulled(tmp_path: Path) -> None:
    stage = set_stage(tmp_path / "roll-a", ONE_FRAME)
    stage.clock.at(1.5, stage.runner.fire)
    stage.camera.fail_next("pull", CameraGoneError("The cable was pulled."))
    run(stage)
    assert [event.recovering for event in stage.told(events.CameraTroubled)] == [True]
    assert len(stage.told(events.CameraCameBack)) == 1
    assert filed_names(stage) == ["roll-a_01.dng"]


def test_a_refused_shot_leaves_the_frame_open_and_the_run_alive(tmp_path: Path) -> None:
    stage = set_stage(tmp_path / "roll-a", ONE_FRAME)
    stage.camera.fail_next("fire", CameraRefusedError("The camera refused: out of focus."))
    stage.clock.at(1.5, stage.runner.fire)
    stage.clock.at(2.0, stage.runner.fire)
    run(stage)
    assert [event.frame_id for event in stage.told(events.FrameFiled)] == ["1"]


def test_a_camera_that_never_delivers_holds_the_frame(tmp_path: Path) -> None:
    stage = set_stage(
        tmp_path / "roll-a",
        [(0.5, "moving"), (9.0, "seated")],
        expose=lambda _: (),
        options=RunnerOptions(file_deadline_s=2),
    )
    stage.clock.at(1.0, stage.runner.fire)
    run(stage)
    assert "delivered no picture" in stage.told(events.FrameHeld)[0].sentences[0]
    assert filed_names(stage) == []


def test_a_roll_goes_on_where_it_was_left(tmp_path: Path) -> None:
    run(set_stage(tmp_path / "roll-a", three_frames(), mode=Mode.HANDS_FREE))
    again = set_stage(
        tmp_path / "roll-a", ONE_FRAME, mode=Mode.HANDS_FREE, expose=lambda n: (FakeFile(b"later %d" % n),)
    )
    assert again.runner.snapshot().next_frame_id == "4"
    run(again)
    assert filed_names(again)[-1] == "roll-a_04.dng"
    assert again.runner.snapshot().strip == 2


def test_a_changed_setting_is_read_back_and_the_watcher_told(tmp_path: Path) -> None:
    stage = set_stage(tmp_path / "roll-a", ONE_FRAME)
    stage.clock.at(0.2, lambda: stage.runner.change(Setting.SHUTTER, 1 / 125))
    run(stage)
    assert stage.told(events.SettingChanged)[0].change.taken
    assert stage.film.shutter_s == pytest.approx(1 / 125)


def test_pausing_stops_the_live_view_and_hands_free(tmp_path: Path) -> None:
    stage = set_stage(tmp_path / "roll-a", ONE_FRAME, mode=Mode.HANDS_FREE)
    stage.clock.at(0.8, lambda: stage.runner.set_mode(Mode.PAUSED))
    stage.clock.at(2.0, stage.runner.fire)
    run(stage)
    assert stage.told(events.ShotFired) == []
    assert "paused" in stage.told(events.FireRefused)[0].reasons[0].text
    assert stage.camera.calls.count("stop_live_view") == 2


def test_a_jpeg_that_cannot_be_filed_does_not_undo_its_raw(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    stage = set_stage(
        tmp_path / "roll-a",
        ONE_FRAME,
        expose=lambda _: (FakeFile(b"picture"), FakeFile(b"small", ".jpg")),
        options=RunnerOptions(expected_files=2),
    )

    def refuse(*_: object) -> None:
        raise StorageError("The disk is full.")

    monkeypatch.setattr(stage.roll, "file_companion", refuse)
    stage.clock.at(1.0, stage.runner.fire)
    stage.clock.at(2.0, stage.runner.pull_again)
    run(stage)
    assert [event.accepted for event in stage.told(events.FrameFiled)] == [True]
    assert "roll-a_01.dng" in filed_names(stage)
    assert stage.told(events.FrameHeld)[0].sentences == ("The disk is full.",)
    assert stage.runner.snapshot().next_frame_id == "2"


def test_a_camera_that_comes_back_in_a_pause_goes_on_resting(tmp_path: Path) -> None:
    stage = set_stage(tmp_path / "roll-a", ONE_FRAME)
    stage.clock.at(0.6, lambda: stage.runner.set_mode(Mode.PAUSED))
    stage.clock.at(0.8, stage.camera.lose)
    stage.clock.at(1.5, lambda: stage.runner.set_mode(Mode.BY_KEY))
    run(stage)
    assert len(stage.told(events.CameraCameBack)) == 1
    assert stage.camera.calls.count("start_live_view") == 2


def test_film_that_comes_and_goes_while_it_is_fed_in_is_one_strip(tmp_path: Path) -> None:
    feeding = [(0.5 + 0.1 * step, "moving" if step % 2 else "fed") for step in range(8)]
    phases = [(0.5, "none"), *feeding, (3.0, "seated"), (3.2, "moving"), (4.0, "none")]
    stage = run(set_stage(tmp_path / "roll-a", phases, mode=Mode.HANDS_FREE))
    assert len(stage.told(events.StripStarted)) == len(stage.told(events.StripEnded)) == 1


def test_a_left_over_picture_from_before_is_not_accepted(tmp_path: Path) -> None:
    times = ["2031-05-01T10:00:05", "2031-05-01T10:00:01", "2031-05-01T10:00:09"]

    def judge(number: int) -> CheckedFile:
        return CheckedFile(RawFindings((), None, None), SizePx(600, 400), ShotData(taken_at=times[min(number, 2)]))

    stage = run(set_stage(tmp_path / "roll-a", three_frames(), mode=Mode.HANDS_FREE, judge=judge))
    assert [(event.frame_id, event.accepted) for event in stage.told(events.FrameFiled)][:3] == [
        ("1", True),
        ("2", False),
        ("2", True),
    ]


@pytest.mark.parametrize(("likeness_of_first", "accepted"), [(0.95, False), (0.3, True)])
def test_a_picture_of_another_moment_is_not_accepted(tmp_path: Path, likeness_of_first: float, accepted: bool) -> None:
    likeness = [likeness_of_first, 0.1]

    def judge(number: int) -> CheckedFile:
        return CheckedFile(RawFindings((), None, None, (likeness + [0.9] * 9)[number]), SizePx(600, 400))

    stage = run(set_stage(tmp_path / "roll-a", three_frames(), mode=Mode.HANDS_FREE, judge=judge))
    first, second = stage.told(events.FrameFiled)[:2]
    assert (first.frame_id, first.accepted) == ("1", True), "nothing is known of this camera's live view yet"
    assert (second.frame_id, second.accepted) == ("2", accepted)


def test_a_left_over_of_a_run_before_is_not_accepted_either(tmp_path: Path) -> None:
    def taken(time: str) -> Callable[[int], CheckedFile]:
        shot = ShotData(taken_at=f"2031-05-01T{time}")
        return lambda _: CheckedFile(RawFindings((), None, None), SizePx(600, 400), shot)

    run(set_stage(tmp_path / "roll-a", ONE_FRAME, mode=Mode.HANDS_FREE, judge=taken("10:00:05")))
    phases = [(0.5, "none"), (1.0, "moving"), (2.0, "seated")]
    expose = lambda number: (FakeFile(b"another %d" % number),)  # noqa: E731
    again = run(set_stage(tmp_path / "roll-a", phases, judge=taken("10:00:01"), mode=Mode.HANDS_FREE, expose=expose))
    assert not again.told(events.FrameFiled)[0].accepted


def test_what_is_forced_while_a_filed_frame_lies_there_is_another_take_of_it(tmp_path: Path) -> None:
    phases = [(0.5, "moving"), (3.0, "seated"), (3.5, "moving"), (5.0, "seated")]
    stage = set_stage(tmp_path / "roll-a", phases, mode=Mode.HANDS_FREE)
    stage.clock.at(2.0, stage.runner.force)
    run(stage)
    assert [(event.frame_id, event.take) for event in stage.told(events.FrameFiled)] == [("1", 1), ("1", 2), ("2", 1)]
    assert stage.told(events.RunEnded)[0].frames_filed == 2


def test_one_more_take_that_fails_leaves_the_frame_taken_and_the_numbers_as_they_are(tmp_path: Path) -> None:
    phases = [(0.5, "moving"), (3.0, "seated"), (3.5, "moving"), (5.0, "seated")]
    judge = verdicts(None, registry.MOTION_BLUR)
    stage = set_stage(tmp_path / "roll-a", phases, mode=Mode.HANDS_FREE, judge=judge)
    stage.clock.at(2.0, stage.camera.press)
    run(stage)
    assert [(event.frame_id, event.take, event.accepted) for event in stage.told(events.FrameFiled)] == [
        ("1", 1, True), ("1", 2, False), ("2", 1, True),
    ]  # fmt: skip
    assert stage.runner.snapshot().frames == {"1": FrameMark.TAKEN, "2": FrameMark.TAKEN}


@pytest.mark.parametrize("error", [CameraGoneError("The cable was pulled."), DriverDiedError("The driver ended.")])
def test_a_release_that_may_have_happened_is_waited_for_and_not_repeated(tmp_path: Path, error: CameraError) -> None:
    stage = set_stage(tmp_path / "roll-a", [(0.5, "moving"), (6.0, "seated")], mode=Mode.HANDS_FREE)
    stage.camera.fail_next("fire", error)
    stage.clock.at(2.0, stage.camera.press)
    run(stage)
    assert stage.camera.calls.count("fire") == 1
    assert [(event.frame_id, event.take) for event in stage.told(events.FrameFiled)] == [("1", 1)]


def test_a_release_that_did_not_happen_after_all_is_repeated(tmp_path: Path) -> None:
    options = RunnerOptions(mode=Mode.HANDS_FREE, file_deadline_s=1.0)
    stage = set_stage(tmp_path / "roll-a", [(0.5, "moving"), (6.0, "seated")], options=options)
    stage.camera.fail_next("fire", DriverDiedError("The driver ended."))
    run(stage)
    assert stage.camera.calls.count("fire") == 2
    assert "delivered no picture" in stage.told(events.FrameHeld)[0].sentences[0]
    assert [(event.frame_id, event.take) for event in stage.told(events.FrameFiled)] == [("1", 1)]


def test_a_camera_clock_that_is_set_back_costs_one_take_and_no_more(tmp_path: Path) -> None:
    times = ["10:00:01", "09:00:05", "09:00:08", "09:00:12"]

    def judge(number: int) -> CheckedFile:
        shot = ShotData(taken_at=f"2031-05-01T{times[min(number, 3)]}")
        return CheckedFile(RawFindings((), None, None), SizePx(600, 400), shot)

    stage = run(set_stage(tmp_path / "roll-a", three_frames(), mode=Mode.HANDS_FREE, judge=judge))
    assert [(event.frame_id, event.accepted) for event in stage.told(events.FrameFiled)] == [
        ("1", True), ("2", False), ("2", True), ("3", True),
    ]  # fmt: skip


def test_a_disk_that_refuses_notes_does_not_end_the_run_nor_mix_up_the_numbers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stage = set_stage(tmp_path / "roll-a", three_frames(), mode=Mode.HANDS_FREE)

    def refuse(*_: object, **__: object) -> int:
        raise StorageError("The disk is full (while writing the roll's record).")

    for note in ("start_strip", "end_strip", "skip", "mark_blank", "go_to"):
        monkeypatch.setattr(type(stage.roll), note, refuse)
    stage.clock.at(2.0, stage.runner.skip)
    stage.clock.at(2.2, lambda: stage.runner.go_to("3"))
    run(stage)
    assert [event.frame_id for event in stage.told(events.FrameFiled)] == ["1", "3", "4"]
    said = [sentence for event in stage.told(events.FrameHeld) for sentence in event.sentences]
    assert any("disk is full" in sentence for sentence in said)
    assert stage.told(events.RunEnded)[0].why == "stopped"


def test_a_roll_whose_numbers_ran_off_the_film_still_opens(tmp_path: Path) -> None:
    setup = RollSetup(id="roll-a", film_kind=FilmKind.SLIDE, film_format="135-36x24", first_frame="S", numbers_run=-1)
    run(set_stage(tmp_path / "roll-a", ONE_FRAME, mode=Mode.HANDS_FREE, setup=setup))
    again = set_stage(tmp_path / "roll-a", [(0.5, "none")])
    assert again.runner.snapshot().next_frame_id == "S"
    run(again)


def late_picture(number: int) -> tuple[FakeFile, ...]:
    """What the first release brings: nothing. Its picture is announced afterwards, as if nobody had asked."""
    return () if number == 0 else (FakeFile(b"picture %d" % number),)


def test_a_picture_that_comes_after_it_was_given_up_is_of_its_own_shot(tmp_path: Path) -> None:
    stage = set_stage(tmp_path / "roll-a", [(0.5, "moving"), (6.0, "seated")], expose=late_picture)
    stage.clock.at(1.0, stage.runner.fire)
    stage.clock.at(3.0, stage.camera.press)
    run(stage)
    assert [(event.frame_id, event.take) for event in stage.told(events.FrameFiled)] == [("1", 1)]
    assert [event.fired_by for event in stage.told(events.ShotFired)] == [FiredBy.KEY]
    assert stage.runner.snapshot().next_frame_id == "2"


def test_a_late_picture_keeps_its_number_when_the_film_has_gone_on(tmp_path: Path) -> None:
    phases = [(0.5, "moving"), (3.0, "seated"), (3.5, "moving"), (9.0, "seated")]
    stage = set_stage(tmp_path / "roll-a", phases, expose=late_picture)
    stage.clock.at(1.0, stage.runner.fire)
    stage.clock.at(5.0, stage.camera.press)
    stage.clock.at(7.0, stage.runner.fire)
    run(stage)
    assert [(event.frame_id, event.take) for event in stage.told(events.FrameFiled)] == [("1", 1), ("2", 1)]


def test_a_camera_that_delivers_nothing_is_not_fired_again_and_again(tmp_path: Path) -> None:
    phases = [(0.5, "moving"), (20.0, "seated"), (20.5, "moving"), (22.0, "none")]
    stage = set_stage(tmp_path / "roll-a", phases, mode=Mode.HANDS_FREE, expose=lambda _: ())
    run(stage)
    assert len(stage.told(events.ShotFired)) == RunnerOptions().takes_by_itself
    assert "not taken again by itself" in stage.told(events.FrameHeld)[-2].sentences[-1]
    assert stage.runner.snapshot().next_frame_id == "2"


def test_the_camera_s_own_button_while_a_picture_is_checked_is_one_more_of_that_frame(tmp_path: Path) -> None:
    pending: Future[CheckedFile] = Future()
    results = iter([pending])

    def check(_path: Path, _suffix: str, _request: object) -> "Future[CheckedFile]":
        done: Future[CheckedFile] = Future()
        done.set_result(verdicts()(0))
        return next(results, done)

    stage = set_stage(tmp_path / "roll-a", [(0.5, "moving"), (6.0, "seated")], mode=Mode.HANDS_FREE, check=check)
    stage.clock.at(2.0, stage.camera.press)
    stage.clock.at(4.0, lambda: pending.set_result(verdicts()(0)))
    run(stage)
    assert [(event.frame_id, event.take) for event in stage.told(events.FrameFiled)] == [("1", 1), ("1", 2)]
