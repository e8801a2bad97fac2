"""Figures as cameras print them. Texts are true examples from configuration dumps and from the driver's catalogues."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tethercap.exposure.parse import parse_f_number, parse_iso, parse_number, parse_shutter_s, parse_stops

F_NUMBERS = {
    "8": 8,
    "5.6": 5.6,
    "8.0": 8,
    "f/5.6": 5.6,
    "f/3,5": 3.5,
    "3.5": 3.5,
    "1.2 (1/3)": 1.2,
    "13 (1/3)": 13,
    "F/0.95": 0.95,
    "f/0": None,
    "0": None,
    "(null)": None,
    "f/655.34": None,
    "auto": None,
    "Unknown value 0f00": None,
    "": None,
    "f/": None,
    "8 ": 8,
    "f/8 mm": None,
}
SHUTTERS = {
    "1/60": 1 / 60,
    "1 3/5": 1.6,
    "30": 30,
    "0.3": 0.3,
    "6.3": 6.3,
    "10.3": 10.3,
    "10/13": 10 / 13,
    "32/10": 3.2,
    "300/10": 30,
    "10/300": 1 / 30,
    "0.0166s": 0.0166,
    "0,0166s": 0.0166,
    "1.3s": 1.3,
    "60s": 60,
    "2m": 120,
    "60m": 3600,
    '30"': 30,
    '3"2': 3.2,
    '0"3 (1/3)': 0.3,
    '20" (1/3)': 20,
    "1/2,5 s": 0.4,
    "1,3\u00a0s": 1.3,
    "1/1.3s": 1 / 1.3,
    "1,3 с": 1.3,
    "1/60 秒": 1 / 60,
    "1/125gy": 0.008,
    "2წმ": 2,
    "1'3s": 1.3,
    "1/8000 s": 1 / 8000,
    "Bulb": None,
    "auto": None,
    "65535/65535": None,
    "65535/65533": None,
    "429496.7295s": None,
    "429496,7293s": None,
    "x 200": None,
    "1/0": None,
    "0": None,
    "-1": None,
    "Unknown value 1500": None,
    "12 mm": None,
    "": None,
}
SPEEDS = {
    "100": 100,
    "140": 140,
    "8320": 8320,
    "14400": 14400,
    "409600": 409600,
    "ISO 400": 400,
    "32": 32,
    " 64 ": 64,
    "Auto": None,
    "-1": None,
    "65535": None,
    "53249": None,
    "16777215": None,
    "Low": None,
    "0": None,
    "(null)": None,
    "200 Multi Frame Noise Reduction": None,
    "A3200 (160-3200)": None,
    "Unknown value 008b": None,
    "100.5": None,
}
STOPS = {
    "-0.3": -0.3,
    "+1 2/3": 5 / 3,
    "-1/3": -1 / 3,
    "−2": -2,
    "0": 0,
    "0,3": 0.3,
    "-0.666": -0.666,
    "-333": -333,
    "3": 3,
    "On": None,
    "Off": None,
    "1/0": None,
    "": None,
}


@pytest.mark.parametrize(("text", "figure"), F_NUMBERS.items())
def test_f_numbers(text: str, figure: float | None) -> None:
    assert parse_f_number(text) == figure


@pytest.mark.parametrize(("text", "seconds"), SHUTTERS.items())
def test_exposure_times(text: str, seconds: float | None) -> None:
    assert parse_shutter_s(text) == (None if seconds is None else pytest.approx(seconds))


@pytest.mark.parametrize(("text", "figure"), SPEEDS.items())
def test_sensitivities(text: str, figure: float | None) -> None:
    assert parse_iso(text) == figure


@pytest.mark.parametrize(("text", "stops"), STOPS.items())
def test_compensations(text: str, stops: float | None) -> None:
    assert parse_stops(text) == (None if stops is None else pytest.approx(stops))


@given(st.text(max_size=30))
def test_any_text_is_a_figure_or_nothing(text: str) -> None:
    for parse in (parse_f_number, parse_shutter_s, parse_iso, parse_stops, parse_number):
        figure = parse(text)
        assert figure is None or isinstance(figure, float)


@given(st.floats(0.5, 128).map(lambda f: round(f, 2)))
def test_comma_and_point_are_the_same(f_number: float) -> None:
    assert parse_f_number(f"f/{f_number}") == parse_f_number(f"f/{f_number}".replace(".", ",")) == f_number
