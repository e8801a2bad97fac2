"""Proofs of shots just taken: told when they are there, and never waited for."""

from concurrent.futures import BrokenExecutor, Future
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from tests.unit.session.stage import Stage, set_stage
from tethercap.camera.fake import FakeFile
from tethercap.check.findings import RawFindings
from tethercap.check.raw import CheckRequest
from tethercap.geometry import SizePx
from tethercap.session import events
from tethercap.session.check_job import CheckedFile
from tethercap.session.events import Mode
from tethercap.session.options import RunnerOptions
from tethercap.session.proofs import ArrivedShot, Proven

TWO = [
    (0.5, "none"),
    *(phase for at_s in (1.0, 3.0) for phase in ((at_s, "moving"), (at_s + 1.5, "seated"))),
    (8.0, "none"),
]


@dataclass
class Made:
    jpeg: bytes


@dataclass
class Proving:
    """A prover whose proofs are ready at once, or when it is told."""

    at_once: bool = True
    asked: list[ArrivedShot] = field(default_factory=list)
    read: list[bytes] = field(default_factory=list)
    futures: "list[Future[Proven]]" = field(default_factory=list)

    def __call__(self, shot: ArrivedShot) -> "Future[Proven]":
        self.asked.append(shot)
        self.read.append(shot.names[0].read_bytes())
        self.futures.append(Future())
        if self.at_once:
            self.futures[-1].set_result(Made(f"proof of {shot.frame_id}".encode()))
        return self.futures[-1]


def run(stage: Stage) -> Stage:
    with stage.roll:
        stage.runner.run()
    return stage


def filed(stage: Stage) -> list[str]:
    return [event.frame_id for event in stage.told(events.FrameFiled)]


def test_a_proof_is_begun_before_the_check_and_told_while_that_goes_on(tmp_path: Path) -> None:
    proving, checks = Proving(), list[Future[CheckedFile]]()
    shots_when_checked: list[int] = []

    def check(_path: Path, _suffix: str, _request: CheckRequest) -> "Future[CheckedFile]":
        shots_when_checked.append(len(proving.asked))
        checks.append(Future())
        return checks[-1]

    stage = set_stage(tmp_path / "r", TWO[:3], mode=Mode.HANDS_FREE, prove=proving, check=check)
    good = CheckedFile(RawFindings((), None, None), SizePx(600, 400))
    stage.clock.at(2.4, lambda: checks[0].set_result(good))
    run(stage)
    told = [type(event) for event in stage.said if isinstance(event, events.ProofMade | events.ShotChecked)]
    assert told == [events.ProofMade, events.ShotChecked]
    assert shots_when_checked == [1]
    assert stage.told(events.ProofMade) == [events.ProofMade("1", 1, b"proof of 1")]
    assert proving.read[0] == stage.told(events.FrameFiled)[0].path.read_bytes()


def test_nothing_waits_for_a_proof_that_never_comes_and_one_that_nobody_began_is_given_up(tmp_path: Path) -> None:
    proving = Proving(at_once=False)
    stage = run(set_stage(tmp_path / "r", TWO, mode=Mode.HANDS_FREE, prove=proving))
    assert filed(stage) == ["1", "2"]
    assert [future.cancelled() for future in proving.futures] == [True, False]
    assert stage.told(events.ProofMade) == []


@pytest.mark.parametrize("is_refused", [True, False])
def test_a_proof_that_fails_is_passed_over(tmp_path: Path, *, is_refused: bool) -> None:
    def prove(_shot: ArrivedShot) -> "Future[Proven]":
        if is_refused:
            raise OSError("no more processes")
        future: Future[Proven] = Future()
        future.set_exception(BrokenExecutor("ended"))
        return future

    stage = run(set_stage(tmp_path / "r", TWO, mode=Mode.HANDS_FREE, prove=prove))
    assert filed(stage) == ["1", "2"]
    assert stage.told(events.ProofMade) == []
    assert stage.told(events.FrameHeld) == []


def test_a_jpeg_beside_the_raw_gets_no_proof_of_its_own(tmp_path: Path) -> None:
    def both(number: int) -> list[FakeFile]:
        return [FakeFile(b"j%d" % number * 10, ".JPG"), FakeFile(b"r%d" % number * 10)]

    proving = Proving()
    options = RunnerOptions(mode=Mode.HANDS_FREE, expected_files=2)
    run(set_stage(tmp_path / "r", TWO, prove=proving, expose=both, options=options))
    assert [content[:1] for content in proving.read] == [b"r", b"r"]
