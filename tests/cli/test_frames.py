"""`tethercap frames`: the list, and corrections."""

import json
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from tests.unit.roll import rolls
from tests.unit.roll.rolls import NOT_ACCEPTED, picture, take
from tethercap.cli.exit_codes import ExitCode
from tethercap.cli.main import tethercap
from tethercap.errors import RollExistsError
from tethercap.roll.fixity import verify


@pytest.fixture
def roll(tmp_path: Path) -> Path:
    with rolls.create(tmp_path / "X31-007") as made:
        for number in (1, 2, 3):
            take(made, str(number), number)
        take(made, "2", 9, NOT_ACCEPTED)
        made.skip("4", "torn")
    return tmp_path / "X31-007"


def _run(*arguments: str) -> tuple[object, str, str]:
    result = CliRunner().invoke(tethercap, ["frames", *arguments], standalone_mode=False, catch_exceptions=False)
    return result.return_value, result.stdout, result.stderr


def test_the_list(roll: Path) -> None:
    code, out, talk = _run(str(roll))
    assert code == ExitCode.DONE
    assert out.splitlines() == [
        "   1  taken     1 take    raw/X31-007_01.dng",
        "   2  taken     2 takes   raw/X31-007_02.dng",
        "   3  taken     1 take    raw/X31-007_03.dng",
        "   4  skipped               torn",
    ]
    assert talk == "The next picture is frame 5.\n"


def test_as_json(roll: Path) -> None:
    _, out, _ = _run(str(roll), "--json")
    rows = [json.loads(line) for line in out.splitlines()]
    assert [row["frame"] for row in rows] == ["1", "2", "3", "4"]
    assert [take["accepted"] for take in rows[1]["takes"]] == [True, False]
    empty: dict[str, object] = {"second": None, "take": None, "file": None, "takes": []}
    assert rows[3] == {"frame": "4", "status": "skipped", "why": "torn", **empty}


@pytest.mark.parametrize(
    ("move", "expected"),
    [
        ("1-4=7", {"7": 1, "8": 2, "9": 3}),
        ("4-1=1", {"4": 1, "3": 2, "2": 3}),
        ("3=36A", {"1": 1, "2": 2, "36A": 3}),
    ],
)
def test_renumbering(roll: Path, move: str, expected: dict[str, int]) -> None:
    _, out, _ = _run(str(roll), "--renumber", move, "--json")
    rows = {row["frame"]: row["file"] for row in map(json.loads, out.splitlines()) if row["file"]}
    assert {frame: (roll / file).read_bytes() for frame, file in rows.items()} == {
        frame: picture(number) for frame, number in expected.items()
    }
    assert verify(roll).is_sound


def test_a_whole_strip_is_renumbered_with_what_was_passed_over(tmp_path: Path) -> None:
    with rolls.create(tmp_path / "X31-007") as made:
        for strip in (1, 2):
            made.start_strip()
            take(made, str(4 * strip - 3), 3 * strip)
            made.skip(str(4 * strip - 2), "torn")
            take(made, str(4 * strip - 1), 3 * strip + 1)
        rolls.put_positive(made, "7", 1, b"seven")
        rolls.put_positive(made, "7", 1, b"seven and a half", is_second=True)
    _, out, _ = _run(str(tmp_path / "X31-007"), "--renumber", "strip 2=20")
    assert [line[:22].split()[:2] for line in out.splitlines()] == [
        ["1", "taken"], ["2", "skipped"], ["3", "taken"], ["20", "taken"], ["21", "skipped"], ["22,", "22A"],
    ]  # fmt: skip
    assert (tmp_path / "X31-007" / "positive" / "X31-007_22A.tif").read_bytes() == b"seven and a half"
    with pytest.raises(click.BadParameter, match="No frame of the roll is of strip 3"):
        _run(str(tmp_path / "X31-007"), "--renumber", "strip 3=1")


def test_marks_and_picks(roll: Path) -> None:
    _, out, talk = _run(
        str(roll), "--pick", "2=2", "--reopen", "4", "--blank", "5", "--skip", "6=no time", "--next", "9", "--json"
    )
    rows = {row["frame"]: row for row in map(json.loads, out.splitlines())}
    assert rows["2"]["take"] == 2
    assert rows["4"]["status"] == "open"
    assert rows["5"]["status"] == "blank"
    assert rows["6"]["why"] == "no time"
    assert "frame 9" in _run(str(roll))[2]
    assert talk == ""


def test_inserting(roll: Path) -> None:
    _, out, talk = _run(str(roll), "--insert", "2")
    assert "   3  taken     2 takes   raw/X31-007_03.dng" in out
    assert talk.endswith("The next picture is frame 2.\n")


@pytest.mark.parametrize(
    "arguments",
    [
        ("--pick", "2"),
        ("--renumber", "2"),
        ("--renumber", "1B=2"),
        ("--renumber", "1-2=x"),
        ("--renumber", "30=31"),
        ("--skip", "9=\udce9"),
    ],
)
def test_mistakes_on_the_command_line(roll: Path, arguments: tuple[str, str]) -> None:
    with pytest.raises(click.UsageError):
        _run(str(roll), *arguments)
    assert verify(roll).is_sound


def test_a_number_is_not_given_twice(roll: Path) -> None:
    with pytest.raises(RollExistsError):
        _run(str(roll), "--renumber", "1=2")
