"""Which number the next picture gets."""

from typing import Literal

import pytest

from tethercap.errors import RollNameError
from tethercap.session.numbering import Numbering


@pytest.mark.parametrize(
    ("start", "run", "halves", "then"),
    [
        ("1", 1, False, ["2", "3"]),
        ("00", 1, False, ["0", "1"]),
        ("36", -1, False, ["35", "34"]),
        ("1", 1, True, ["1A", "2"]),
        ("9", 1, False, ["10", "11"]),
    ],
)
def test_numbers_run_as_on_the_edge(start: str, run: Literal[1, -1], halves: bool, then: list[str]) -> None:
    numbering = Numbering(start, run, halves)
    assert [numbering.done() for _ in then] == then


def test_a_visit_comes_back_to_where_the_roll_stands() -> None:
    numbering = Numbering("14")
    assert numbering.visit("7") == "7"
    assert numbering.done() == "14"
    assert numbering.done() == "15"


def test_a_visit_from_a_visit_comes_back_to_the_roll() -> None:
    numbering = Numbering("14")
    numbering.visit("7")
    numbering.visit("3")
    assert numbering.done() == "14"


def test_going_to_a_number_goes_on_from_there() -> None:
    numbering = Numbering("14")
    numbering.visit("7")
    numbering.go_to("20")
    assert numbering.done() == "21"


def test_visiting_the_current_frame_changes_nothing() -> None:
    numbering = Numbering("14")
    numbering.visit("14")
    assert numbering.done() == "15"


def test_what_is_no_frame_number_is_refused() -> None:
    with pytest.raises(RollNameError):
        Numbering("1").go_to("../x")


def test_numbers_that_run_off_the_end_stay_at_the_last_one() -> None:
    numbering = Numbering("S", -1)
    assert numbering.done() == "S"
