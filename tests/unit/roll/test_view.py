"""Looking at a roll changes nothing and needs no lock."""

from pathlib import Path

import pytest

from tests.unit.roll import rolls
from tests.unit.roll.rolls import NOT_ACCEPTED, take
from tethercap.errors import RollError
from tethercap.roll.view import read_roll


def test_looks_while_the_roll_is_open(tmp_path: Path) -> None:
    with rolls.create(tmp_path / "roll") as roll:
        take(roll, "1", 1)
        take(roll, "2", 2, NOT_ACCEPTED)
        before = {path: path.read_bytes() for path in roll.path.rglob("*") if path.is_file()}
        view = read_roll(roll.path)
        assert view.frames == roll.frames
        assert view.next_frame_id == roll.next_frame_id()
        assert view.troubles == ()
        assert {path: path.read_bytes() for path in roll.path.rglob("*") if path.is_file()} == before


def test_tells_what_cannot_be_trusted(tmp_path: Path) -> None:
    with rolls.create(tmp_path / "roll") as roll:
        take(roll, "1", 1)
    with (tmp_path / "roll/record.jsonl").open("ab") as record:
        record.write(b"scribble\n")
    assert "not a whole line" in read_roll(tmp_path / "roll").troubles[0]
    with pytest.raises(RollError):
        read_roll(tmp_path)


def test_numbers_that_have_run_off_the_film(tmp_path: Path) -> None:
    with rolls.create(tmp_path / "roll", rolls.setup(first_frame="999")) as roll:
        take(roll, "999", 1)
    assert read_roll(tmp_path / "roll").next_frame_id is None
