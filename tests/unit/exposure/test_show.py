"""How settings are written on a screen."""

import pytest

from tethercap.exposure.parse import parse_shutter_s
from tethercap.exposure.settings import Setting, SettingChange, Value, ValueKind
from tethercap.exposure.show import show_f_number, show_iso, show_shutter_s, show_stops, show_value


@pytest.mark.parametrize(
    ("seconds", "shown"),
    [
        (1 / 8000, "1/8000 s"),
        (1 / 60, "1/60 s"),
        (0.0166, "1/60 s"),
        (1 / 4, "1/4 s"),
        (0.3, "0.3 s"),
        (1 / 3, "1/3 s"),
        (0.4, "0.4 s"),
        (0.5, "1/2 s"),
        (10 / 13, "0.8 s"),
        (1, "1 s"),
        (2.5, "2.5 s"),
        (30, "30 s"),
        (60, "1 min"),
        (90, "90 s"),
        (3600, "60 min"),
    ],
)
def test_exposure_times(seconds: float, shown: str) -> None:
    assert show_shutter_s(seconds) == shown


@pytest.mark.parametrize("text", ["1/8000", "1/250", "1/60", "1/4", "0.3", "0.4", "1", "1.3", "6", "25", "30", "2m"])
def test_what_is_shown_can_be_read_again(text: str) -> None:
    seconds = parse_shutter_s(text)
    assert seconds is not None
    assert parse_shutter_s(show_shutter_s(seconds)) == pytest.approx(seconds, rel=0.01)


@pytest.mark.parametrize(
    ("stops", "shown"),
    [(0, "0"), (1 / 3, "+1/3"), (-0.3, "−1/3"), (-1.6, "−1 2/3"), (1, "+1"), (2.5, "+2.5"), (-5, "−5")],
)
def test_stops(stops: float, shown: str) -> None:
    assert show_stops(stops) == shown


def test_marks() -> None:
    assert (show_f_number(8), show_f_number(5.6), show_f_number(11.0)) == ("f/8", "f/5.6", "f/11")
    assert show_iso(12800.0) == "ISO 12800"


@pytest.mark.parametrize(
    ("setting", "value", "shown"),
    [
        (Setting.APERTURE, Value(ValueKind.NUMBER, "8", number=8.0), "f/8"),
        (Setting.ISO, Value(ValueKind.AUTO, "Auto"), "ISO auto"),
        (Setting.SHUTTER, Value(ValueKind.BULB, "Langzeitbelichtung"), "bulb"),
        (Setting.IMAGE_FORMAT, Value(ValueKind.WORD, "NEF+Fine", word="raw+jpeg"), "RAW + JPEG"),
        (Setting.BATTERY, Value(ValueKind.NUMBER, "67%", number=67.0), "67 %"),
        (Setting.PICTURE_STYLE, Value(ValueKind.UNKNOWN, "Neutral"), "“Neutral”"),
        (Setting.APERTURE, Value(ValueKind.UNKNOWN, ""), "unknown"),
        (Setting.SHOTS_LEFT, Value(ValueKind.NUMBER, "412", number=412.0), "412"),
    ],
)
def test_any_value(setting: Setting, value: Value, shown: str) -> None:
    assert show_value(setting, value) == shown


def test_a_value_has_a_name_only_where_something_is_claimed() -> None:
    assert Value(ValueKind.AUTO, "Auto").name == "auto"
    assert Value(ValueKind.WORD, "RAW", word="raw").name == "raw"
    assert Value(ValueKind.UNKNOWN, "x").name is None
    assert Value(ValueKind.NUMBER, "8", number=8.0).name is None


def test_a_change_is_taken_when_the_figures_agree() -> None:
    asked = Value(ValueKind.NUMBER, "1/60", number=1 / 60)
    assert SettingChange(Setting.SHUTTER, asked, Value(ValueKind.NUMBER, "0.0166s", number=0.0166)).taken
    assert not SettingChange(Setting.SHUTTER, asked, Value(ValueKind.NUMBER, "1/50", number=0.02)).taken
