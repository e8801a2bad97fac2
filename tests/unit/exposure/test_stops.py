"""Exact thirds of a stop, exposure values, and the nearest setting."""

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tethercap.exposure.stops import (
    aperture_value,
    exact_compensation_stops,
    exact_f_number,
    exact_iso,
    exact_shutter_s,
    exposure_value,
    nearest_in_stops,
    nearest_linear,
    same_setting,
    speed_value,
    time_value,
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
# Marks of ISO 516 as 1/t and exact 1/t (same source).
TIMES = {
    8: 8,
    10: 10.08,
    13: 12.70,
    15: 16,
    20: 20.16,
    25: 25.40,
    30: 32,
    40: 40.32,
    50: 50.80,
    60: 64,
    80: 80.63,
    100: 101.6,
    125: 128,
    160: 161.3,
    200: 203.2,
    250: 256,
    320: 322.5,
    400: 406.4,
    500: 512,
}
SPEEDS = {
    100: 100,
    125: 126.0,
    160: 158.7,
    200: 200,
    250: 252.0,
    320: 317.5,
    400: 400,
    500: 504.0,
    640: 635.0,
    800: 800,
}


@pytest.mark.parametrize(("mark", "exact"), F_NUMBERS.items())
def test_f_number_marks(mark: float, exact: float) -> None:
    assert exact_f_number(mark) == pytest.approx(exact, abs=5e-4)


@pytest.mark.parametrize(("mark", "exact"), TIMES.items())
def test_shutter_marks(mark: float, exact: float) -> None:
    assert 1 / exact_shutter_s(1 / mark) == pytest.approx(exact, rel=5e-4)


@pytest.mark.parametrize(("mark", "exact"), SPEEDS.items())
def test_iso_marks(mark: float, exact: float) -> None:
    assert exact_iso(mark) == pytest.approx(exact, rel=5e-4)


def test_long_times_and_the_second_ten_seconds_of_canon() -> None:
    assert exact_shutter_s(30) == 32
    assert exact_shutter_s(10.3) == pytest.approx(2 ** (10 / 3))


def test_half_stop_marks() -> None:
    assert exact_f_number(6.7, per_stop=2) == pytest.approx(2**2.75)
    assert exact_iso(140, per_stop=2) == pytest.approx(100 * math.sqrt(2))


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
    assert exact_shutter_s(2 ** (-thirds / 3)) == pytest.approx(2 ** (-thirds / 3))


@pytest.mark.parametrize(
    ("f_number", "shutter_s", "ev"),
    # photo.stackexchange.com, worked examples of EV = log2(N²/t).
    [(8, 1 / 64, 12.000), (8, 1 / 60, 11.907), (5.6, 1 / 30, 9.878), (1, 1, 0.0)],
)
def test_exposure_value(f_number: float, shutter_s: float, ev: float) -> None:
    assert exposure_value(f_number, shutter_s) == pytest.approx(ev, abs=5e-4)
    assert aperture_value(f_number) + time_value(shutter_s) == pytest.approx(ev, abs=5e-4)


def test_exif_examples() -> None:
    # Exif fields of a picture at f/1.8 and 1/400 s: ApertureValue 1695994/1000000, ShutterSpeedValue 8643856/1000000.
    assert aperture_value(1.8) == pytest.approx(1.695994, abs=1e-6)
    assert time_value(1 / 400) == pytest.approx(8.643856, abs=1e-6)
    assert speed_value(100) == 5


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
    for marks in (sorted(F_NUMBERS), sorted(TIMES), sorted(SPEEDS)):
        assert not any(same_setting(a, b) for a, b in pairwise(marks))
    assert same_setting(1 / 60, 0.0166)
