"""`tethercap verify`: what it prints and how it ends."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.unit.roll import rolls
from tests.unit.roll.rolls import take
from tethercap.cli.exit_codes import ExitCode
from tethercap.cli.main import tethercap


@pytest.fixture
def roll(tmp_path: Path) -> Path:
    with rolls.create(tmp_path / "X31-007") as made:
        take(made, "1", 1)
        take(made, "2", 2)
    return tmp_path / "X31-007"


def _run(*arguments: str) -> tuple[object, str, str]:
    result = CliRunner().invoke(tethercap, ["verify", *arguments], standalone_mode=False, catch_exceptions=False)
    return result.return_value, result.stdout, result.stderr


def test_a_sound_roll(roll: Path) -> None:
    code, out, talk = _run(str(roll))
    assert code == ExitCode.DONE
    assert out == f"{roll}: 4 files fit; the roll is as it was filed.\n"
    assert talk == ""


def test_a_changed_and_a_missing_file(roll: Path) -> None:
    (roll / "raw/X31-007_01.dng").write_bytes(b"changed")
    (roll / "raw/X31-007_02.dng").unlink()
    code, out, _ = _run(str(roll))
    assert code == ExitCode.FOUND
    assert "raw/X31-007_01.dng: changed since it was filed\n" in out
    assert "raw/X31-007_02.dng: missing\n" in out
    assert "the roll is NOT as it was filed" in out


def test_as_json(roll: Path) -> None:
    (roll / "notes.txt").write_text("mine")
    (roll / "raw/X31-007_02.dng").unlink()
    code, out, _ = _run("--json", str(roll))
    report = json.loads(out)
    assert code == ExitCode.FOUND
    assert report["sound"] is False
    assert report["checked"] == 3
    assert report["missing"] == ["raw/X31-007_02.dng"]
    assert report["extra"] == ["notes.txt"]
    assert report["changed"] == []


def test_names_that_a_terminal_would_obey_are_written_out(roll: Path) -> None:
    (roll / "red\x1b[31m\n.txt").write_text("x")
    (roll / os.fsdecode(b"latin\xe9.txt")).write_text("x")
    code, out, _ = _run(str(roll))
    assert code == ExitCode.DONE
    assert "red\\x1b[31m\\n.txt: not in the manifest\n" in out
    assert "latin\\udce9.txt: not in the manifest\n" in out


def test_the_rolls_after_a_bad_one_are_looked_at(roll: Path, tmp_path: Path) -> None:
    code, out, talk = _run(str(tmp_path / "nowhere"), str(roll))
    assert code == ExitCode.STORAGE
    assert "as it was filed" in out
    assert "has no manifest-sha256.txt" in talk.replace("\n", " ")


def test_from_the_shell(roll: Path) -> None:
    command = [sys.executable, "-m", "tethercap.cli.main", "verify", str(roll)]
    assert subprocess.run(command, capture_output=True, check=False).returncode == 0
    (roll / "raw/X31-007_01.dng").unlink()
    done = subprocess.run(command, capture_output=True, check=False, text=True)
    assert done.returncode == 1
    assert done.stderr == ""
