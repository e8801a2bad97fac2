"""`tethercap bag`: a bag that an independent library accepts, and clear refusals."""

import json
import logging
from pathlib import Path

import bagit
import pytest
from click.testing import CliRunner

from tests.unit.roll import rolls
from tests.unit.roll.rolls import take
from tethercap.cli.exit_codes import ExitCode
from tethercap.cli.main import tethercap
from tethercap.errors import RollError, RollExistsError


@pytest.fixture
def roll(tmp_path: Path) -> Path:
    with rolls.create(tmp_path / "X31-007") as made:
        take(made, "1", 1)
    return tmp_path / "X31-007"


def _run(*arguments: str) -> tuple[object, str, str]:
    result = CliRunner().invoke(tethercap, ["bag", *arguments], standalone_mode=False, catch_exceptions=False)
    return result.return_value, result.stdout, result.stderr


def test_packs_a_bag(roll: Path, tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.CRITICAL)
    code, out, talk = _run(str(roll), "--out", str(tmp_path / "bags"))
    assert code == ExitCode.DONE
    assert out == f"{tmp_path / 'bags/X31-007'}\n"
    assert "5 files" in talk
    bagit.Bag(out.strip()).validate()


def test_as_json_and_with_an_awkward_name(roll: Path, tmp_path: Path) -> None:
    (roll / "100% mine.txt").write_text("x")
    code, out, talk = _run(str(roll), "--out", str(tmp_path / "bags"), "--json")
    assert code == ExitCode.DONE
    assert json.loads(out)["files"] == 6
    assert "better rename it" in talk.replace("\n", " ")


def test_refuses_a_roll_that_is_not_sound_and_a_bag_that_is_there(roll: Path, tmp_path: Path) -> None:
    out = str(tmp_path / "bags")
    _run(str(roll), "--out", out)
    with pytest.raises(RollExistsError):
        _run(str(roll), "--out", out)
    (roll / "raw/X31-007_01.dng").write_bytes(b"changed")
    with pytest.raises(RollError, match="Run tethercap verify"):
        _run(str(roll), "--out", str(tmp_path / "more"))
