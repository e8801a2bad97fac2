"""Exact thirds of a stop, and the nearest setting."""

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tethercap.exposure.stops import (
    exact_compensation_stops,
    exact_f_number,
    nearest_in_stops,
    nearest_linear,
    same_setting,
)

# Marks of ISO 517 and the exact values to four figures (table of nominal and exact f-numbers, scantips.com; 2^(k/6)).
F_NUMBERS = {
    1: 1.000,
    1.1: 1.122,
    1.2: 1.260,
    1.4: 1.414,
    1.6: 1.587,
    1.8: 1.782,
    2: 2.0,
    2.2: 2.245,
    2.5: 2.520,
    2.8: 2.828,
    3.2: 3.175,
    3.5: 3.564,
    4: 4.0,
    4.5: 4.490,
    5: 5.040,
    5.6: 5.657,
    6.3: 6.350,
    7.1: 7.127,
    8: 8.0,
    9: 8.980,
    10: 10.079,
    11: 11.314,
    13: 12.699,
    14: 14.254,
    16: 16.0,
    18: 17.959,
    20: 20.159,
    22: 22.627,
}
# Marks of ISO 516, as 1/t.
TIMES = (8, 10, 13, 15, 20, 25, 30, 40, 50, 60, 80, 100, 125, 160, 200, 250, 320, 400, 500)
SPEEDS = (100, 125, 160, 200, 250, 320, 400, 500, 640, 800)


@pytest.mark.parametrize(("mark", "exact"), F_NUMBERS.items())
def test_f_number_marks(mark: float, exact: float) -> None:
    assert exact_f_number(mark) == pytest.approx(exact, abs=5e-4)


def test_half_stop_marks() -> None:
    assert exact_f_number(6.7, per_stop=2) == pytest.approx(2**2.75)


def test_a_figure_that_is_no_mark_is_left_alone() -> None:
    assert exact_f_number(1.05, per_stop=1) == pytest.approx(1.0)
    assert exact_f_number(1.7, per_stop=1) == 1.7


@pytest.mark.parametrize("mark", [0, -1.0, float("nan")])
def test_nothing_below_zero_has_an_exact_value(mark: float) -> None:
    with pytest.raises(ValueError, match="above 0"):
        exact_f_number(mark)


@given(st.integers(-6, 30))
def test_an_exact_third_stays_where_it_is(thirds: int) -> None:
    assert exact_f_number(2 ** (thirds / 6)) == pytest.approx(2 ** (thirds / 6))


@pytest.mark.parametrize(
    ("printed", "meant"),
    [
        (-0.3, -1 / 3),
        (-0.6, -2 / 3),
        (-1.6, -5 / 3),
        (0.7, 2 / 3),
        (-0.666, -2 / 3),
        (2.5, 2.5),
        (0.5, 0.5),
        (0, 0),
        (-5, -5),
    ],
)
def test_printed_compensation(printed: float, meant: float) -> None:
    assert exact_compensation_stops(printed) == pytest.approx(meant)


def test_nearest_is_nearest_in_stops_not_in_figures() -> None:
    # 600 is nearer to 400 by difference, nearer to 800 in stops.
    assert nearest_in_stops(600, [100, 200, 400, 800]) == 3
    assert nearest_linear(600, [100, 200, 400, 800]) == 2
    assert nearest_in_stops(1 / 50, [1 / 30, 1 / 60]) == 1


def test_nearest_takes_the_first_of_equals_and_passes_over_zero() -> None:
    assert nearest_in_stops(10, [0.0, 10, 10]) == 1


@pytest.mark.parametrize("offered", [[], [0.0, -1.0]])
def test_nearest_of_nothing(offered: list[float]) -> None:
    with pytest.raises(ValueError, match="nothing to choose"):
        nearest_in_stops(8, offered)


@given(st.floats(0.01, 1e6), st.lists(st.floats(0.01, 1e6), min_size=1, max_size=40))
def test_no_other_choice_is_closer(wanted: float, offered: list[float]) -> None:
    chosen = offered[nearest_in_stops(wanted, offered)]
    assert all(abs(math.log(chosen / wanted)) <= abs(math.log(other / wanted)) for other in offered)


def test_neighbouring_marks_are_never_the_same_setting() -> None:
    for marks in (sorted(F_NUMBERS), TIMES, SPEEDS):
        assert not any(same_setting(a, b) for a, b in pairwise(marks))
    assert same_setting(1 / 60, 0.0166)
