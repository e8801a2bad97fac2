"""Worker processes that are ended from outside: the picture is checked and converted all the same, nothing twice."""

from collections.abc import Callable, Mapping
from concurrent.futures import BrokenExecutor, Future
from dataclasses import dataclass, field
from pathlib import Path

from tests.unit.session.stage import Stage, set_stage
from tethercap.check.findings import RawFindings
from tethercap.check.raw import CheckRequest
from tethercap.geometry import SizePx
from tethercap.roll.folder import FiledTake
from tethercap.roll.store import waiting_path
from tethercap.session import events
from tethercap.session.check_job import CheckedFile
from tethercap.session.conversions import Converted
from tethercap.session.events import Mode

THREE = [
    (0.5, "none"),
    *(phase for at_s in (1.0, 3.0, 5.0) for phase in ((at_s, "moving"), (at_s + 1.5, "seated"))),
    (8.0, "none"),
]
GOOD = CheckedFile(RawFindings((), None, None), SizePx(600, 400))


@dataclass
class Made:
    """What a converter gives back."""

    positive: Path
    proof: Path
    seconds: float = 0.1
    further: Mapping[str, Path] = field(default_factory=dict)
    further_sha256: Mapping[str, str] = field(default_factory=dict)
    recipe: str = "plain"
    steps: tuple[()] = ()
    base: None = None
    warnings: tuple[str, ...] = ()
    positive_sha256: str = "00" * 32
    proof_sha256: str = "11" * 32


class Converting:
    """A converter that is ended at chosen calls."""

    def __init__(self, ends: Callable[[int, FiledTake], bool]) -> None:
        self.asked: list[str] = []
        self._ends = ends

    def __call__(self, filed: FiledTake) -> "Future[Converted]":
        future: Future[Converted] = Future()
        self.asked.append(filed.frame_id)
        if self._ends(len(self.asked), filed):
            future.set_exception(BrokenExecutor("ended"))
            return future
        roll = filed.path.parent.parent
        positive = waiting_path(roll / "positive" / f"{filed.path.stem}.tif")
        proof = waiting_path(roll / "proof" / f"{filed.path.stem}.jpg")
        positive.write_bytes(b"p")
        proof.write_bytes(b"q")
        future.set_result(Made(positive, proof))
        return future


def run(stage: Stage) -> Stage:
    with stage.roll:
        stage.runner.run()
    return stage


def made(stage: Stage) -> list[str]:
    return [event.frame_id for event in stage.told(events.PositiveMade)]


def test_a_conversion_whose_process_was_ended_is_begun_again(tmp_path: Path) -> None:
    converter = Converting(lambda number, _: number == 2)
    stage = run(set_stage(tmp_path / "r", THREE, mode=Mode.HANDS_FREE, convert=converter))
    assert converter.asked == ["1", "2", "2", "3"]
    assert made(stage) == ["1", "2", "3"]
    assert stage.told(events.ConversionFailed) == []


def test_a_picture_that_ends_its_process_each_time_is_given_up_and_holds_up_no_other(tmp_path: Path) -> None:
    converter = Converting(lambda _, filed: filed.frame_id == "2")
    stage = run(set_stage(tmp_path / "r", THREE, mode=Mode.HANDS_FREE, convert=converter))
    assert made(stage) == ["1", "3"]
    assert [event.frame_id for event in stage.told(events.ConversionFailed)] == ["2"]
    assert "RAW is safe" in str(stage.told(events.ConversionFailed)[0].error)


def test_the_next_run_makes_the_positives_that_the_last_one_left(tmp_path: Path) -> None:
    run(set_stage(tmp_path / "r", THREE, mode=Mode.HANDS_FREE))
    converter = Converting(lambda *_: False)
    assert made(run(set_stage(tmp_path / "r", [(0.5, "none")], convert=converter))) == ["1", "2", "3"]
    assert made(run(set_stage(tmp_path / "r", [(0.5, "none")], convert=converter))) == []


def test_a_converter_that_cannot_be_started_does_not_end_the_roll(tmp_path: Path) -> None:
    def refuse(_filed: FiledTake) -> "Future[Converted]":
        raise OSError("no more processes")

    stage = run(set_stage(tmp_path / "r", THREE, mode=Mode.HANDS_FREE, convert=refuse))
    assert [event.frame_id for event in stage.told(events.FrameFiled)] == ["1", "2", "3"]
    assert len(stage.told(events.ConversionFailed)) == 3


def checker(ended_at: tuple[int, ...]) -> Callable[[Path, str, CheckRequest], "Future[CheckedFile]"]:
    calls: list[Path] = []

    def check(path: Path, _suffix: str, _request: CheckRequest) -> "Future[CheckedFile]":
        calls.append(path)
        future: Future[CheckedFile] = Future()
        if len(calls) in ended_at:
            future.set_exception(BrokenExecutor("ended"))
        else:
            future.set_result(GOOD)
        return future

    return check


def test_a_check_whose_process_was_ended_is_done_again(tmp_path: Path) -> None:
    stage = run(set_stage(tmp_path / "r", THREE, mode=Mode.HANDS_FREE, check=checker((2,))))
    assert [(event.frame_id, event.take, event.accepted) for event in stage.told(events.FrameFiled)] == [
        ("1", 1, True), ("2", 1, True), ("3", 1, True),
    ]  # fmt: skip


def test_a_picture_that_ends_the_check_twice_is_kept_as_not_good(tmp_path: Path) -> None:
    stage = run(set_stage(tmp_path / "r", THREE, mode=Mode.HANDS_FREE, check=checker((1, 2))))
    first = stage.told(events.FrameFiled)[0]
    assert (first.frame_id, first.take, first.accepted) == ("1", 1, False)
    assert "process ended" in stage.told(events.ShotChecked)[0].findings.findings[0].detail
