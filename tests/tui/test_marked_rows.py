"""The mark of lists and grids, as a table."""

import pytest

from tethercap.tui.marked_rows import MarkedRows


@pytest.mark.parametrize(("steps", "mark"), [(1, "c"), (-1, "a"), (99, "g"), (-99, "a"), (0, "b")])
def test_steps_are_held_at_both_ends(steps: int, mark: str) -> None:
    rows = MarkedRows(tuple("abcdefg"), "b")
    assert rows.move(steps) is (mark != "b")
    assert rows.mark == mark


@pytest.mark.parametrize(("rows", "mark"), [(1, "e"), (2, "b"), (-1, "b")])
def test_a_row_that_is_not_there_is_not_gone_to(rows: int, mark: str) -> None:
    grid = MarkedRows(tuple("abcdefg"), "b", across=3)
    grid.move_rows(rows)
    assert grid.mark == mark


def test_the_mark_stays_with_its_thing() -> None:
    rows = MarkedRows(tuple("abc"), "b")
    rows.take("xbz")
    assert rows.mark == "b"
    rows.take("xz")
    assert rows.mark == "x"
    rows.take("")
    assert (rows.mark, rows.place, rows.move(1)) == ("", 0, False)


def test_scrolling_goes_no_further_than_the_mark_needs() -> None:
    rows = MarkedRows(tuple("abcdefghij"), "a", across=2)
    assert rows.keep_in_sight(2) == 0
    rows.move(99)
    assert rows.keep_in_sight(2) == 3
    rows.move(-3)
    assert rows.keep_in_sight(2) == 3
    rows.move(-99)
    assert rows.keep_in_sight(2) == 0


def test_a_heading_over_the_mark_stays_in_sight() -> None:
    rows = MarkedRows(tuple("abc"), "a")
    rows.first_row = 4
    assert rows.keep_in_sight(3, 4, above=1, rows_in_all=9) == 3
    assert rows.keep_in_sight(9, 4, above=1, rows_in_all=9) == 0, "what fits is shown whole"
