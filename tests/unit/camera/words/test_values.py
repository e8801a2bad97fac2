"""Texts of every maker and what they mean. True examples from configuration dumps."""

import pytest

from tests.unit.camera.words.bodies import text
from tests.unit.camera.words.shared_set import catalogues
from tethercap.camera.words.languages import Word, means, sized_word, unknown_code
from tethercap.camera.words.makers import Maker, maker_of
from tethercap.camera.words.values import PARSERS, parser_for
from tethercap.camera.words.widgets import Widget
from tethercap.exposure.settings import Setting, ValueKind

MEANT: dict[Setting, dict[str, float | str | None]] = {
    Setting.ISO: {
        "100": 100,
        "Auto": "auto",
        "Auto ISO": "auto",
        "-1": "auto",
        "-3": "auto",
        "65535": "auto",
        "16777215": "auto",
        "ISO Auto 800": "auto",
        "A3200 (160-3200)": "auto",
        "Automatique ISO": "auto",
        "53249": None,
        "Low": None,
        "Unknown value 0001": None,
        "200 Multi Frame Noise Reduction": None,
        "Auto ISO Multi Frame Noise Reduction": None,
        "0": None,
        "(null)": None,
    },
    Setting.APERTURE: {
        "5.6": 5.6,
        "f/3,5": 3.5,
        "auto": "auto",
        "implicit auto": "auto",
        "f/0": None,
        "f/655.34": None,
        "0": None,
        "Unknown value 0000": None,
    },
    Setting.SHUTTER: {
        "1/60": 1 / 60,
        "bulb": "bulb",
        "Langzeitbelichtung": "bulb",
        "Pose longue": "bulb",
        "65535/65535": "bulb",
        "429496.7295s": "bulb",
        "429496,7295s": "bulb",
        "65535/65533": "time",
        "429496.7293s": "time",
        "Time": "time",
        "65535/65534": "x200",
        "x 200": "x200",
        "Composite": "composite",
        "auto": "auto",
        "Unknown value 000c": None,
    },
    Setting.EXPOSURE_COMPENSATION: {
        "-0.3": -1 / 3,
        "-1.6": -5 / 3,
        "+1 2/3": 5 / 3,
        "-0.667": -2 / 3,
        "0,3": 1 / 3,
        "-333": -1 / 3,
        "5000": 5,
        "2.5": 2.5,
        "On": None,
    },
    Setting.PROGRAM: {
        "M": "manual",
        "Manual": "manual",
        "Manuell": "manual",
        "AV": "aperture priority",
        "A": "aperture priority",
        "TV": "shutter priority",
        "S": "shutter priority",
        "P": "program",
        "Unknown value 8050": None,
        "U1": None,
    },
    Setting.IMAGE_FORMAT: {
        "RAW": "raw",
        "NEF (Raw)": "raw",
        "NEF (brut)": "raw",
        "RAW + Large Fine JPEG": "raw+jpeg",
        "NEF+Fine": "raw+jpeg",
        "NEF+Fein": "raw+jpeg",
        "NEF et fin": "raw+jpeg",
        "RAW+JPEG (X.Fine)": "raw+jpeg",
        "Large Fine JPEG+RAW": "raw+jpeg",
        "RAW Only": "raw",
        "RAW & HEIF": "raw+jpeg",
        "NEF+Fine*": "raw+jpeg",
        "JPEG Basic*": "jpeg",
        "RAW + L": "raw+jpeg",
        "RAW+HEIF (Std)": "raw+jpeg",
        "cRAW": "reduced-raw",
        "mRAW": "reduced-raw",
        "sRAW1": "reduced-raw",
        "cRAW + M": "reduced-raw+jpeg",
        "mRAW + Large Fine JPEG": "reduced-raw+jpeg",
        "Large Fine JPEG": "jpeg",
        "L": "jpeg",
        "cL": "jpeg",
        "S1": "jpeg",
        "Fine": "jpeg",
        "Fein": "jpeg",
        "TIFF (RGB)": "tiff",
        "HEIF (Std)": "heif",
        "Unknown value 0008": None,
        "(null)": None,
    },
    Setting.CAPTURE_TARGET: {
        "Internal RAM": "memory",
        "Memory card": "card",
        "sdram": "memory",
        "card": "card",
        "card+sdram": "card+memory",
        "interner Speicher": "memory",
        "Speicherkarte": "card",
        "Mémoire interne": "memory",
        "Carte mémoire": "card",
        "Carte\u00a0mémoire": "card",
        "somewhere": None,
    },
    Setting.FOCUS_DRIVE: {
        "Near 1": "near-1",
        "Far slow": "far-slow",
        "Nah schnell": "near-fast",
        "Nah 3": "near-3",
        "Proche\u00a02": "near-2",
        "Weit 2": "far-2",
        "None": "none",
        "Keine": "none",
        "0": 0,
        "Unknown value 0001": None,
    },
    Setting.LIVE_VIEW: {"0": "off", "1": "on", "2": None, "An": "on", "Aus": "off"},
    Setting.BATTERY: {"67%": 67, "253%": None, "1000%": None, "0%": 0, "low": None, "(null)": None},
    Setting.WHITE_BALANCE: {
        "Auto": "auto",
        "Automatisch": "auto",
        "Shadow": "shade",
        "Color Temperature": "kelvin",
        "?": None,
    },
    Setting.FOCUS_MODE: {
        "Manual": "manual",
        "MF (selection)": "manual",
        "One Shot": "single",
        "Unknown value 8013": None,
    },
    Setting.DRIVE_MODE: {
        "Single silent": "quiet single",
        "Quiet Release": "quiet single",
        "Single Shot": "single",
        "x": None,
    },
}


@pytest.mark.parametrize(
    ("setting", "shown", "meant"), [(s, shown, m) for s, table in MEANT.items() for shown, m in table.items()]
)
def test_meaning(setting: Setting, shown: str, meant: float | str | None) -> None:
    value = PARSERS[setting](shown)
    assert value.text == shown
    if meant is None:
        assert value.kind is ValueKind.UNKNOWN
    elif isinstance(meant, str):
        assert value.name == meant
    else:
        assert value.number == pytest.approx(meant)


def test_museum_times_are_tenths_of_a_second() -> None:
    read = parser_for(Setting.SHUTTER, "exptime")
    # A D90 prints 30s where the raw property holds 30000 tenths of a millisecond.
    assert read("0.080").number == pytest.approx(0.008)
    assert read("30s").number == pytest.approx(3.0)


def test_one_maker_prints_a_scene_where_p_is_meant() -> None:
    assert parser_for(Setting.PROGRAM, "expprogram", Maker.FUJIFILM)("Action").name == "program"
    assert parser_for(Setting.PROGRAM, "expprogram", Maker.NIKON)("Action").kind is ValueKind.UNKNOWN


@pytest.mark.parametrize(
    ("shown", "code"),
    [
        ("Unknown value 0008", 8),
        ("Unbekannter Wert 008b", 0x8B),
        ("Valor 0008 desconocido", 8),
        ("Valeur\u00a0000d inconnue", 13),
        ("不明な値 0008 です", 8),
        ("Unbekannter Wert 8002\t\twolken", 0x8002),
        ("Unknown", None),
        ("NEF+Fine", None),
        ("Unknown value 00zz", None),
    ],
)
def test_unknown_codes(shown: str, code: int | None) -> None:
    assert unknown_code(shown) == code


@pytest.mark.parametrize(
    ("word", "english"),
    [
        (Word.AUTO, "Auto"),
        (Word.AUTO, "auto"),
        (Word.AUTO, "Automatic"),
        (Word.AUTO, "Auto ISO"),
        (Word.AUTO, "implicit auto"),
        (Word.BULB, "Bulb"),
        (Word.BULB, "bulb"),
        (Word.TIME, "Time"),
        (Word.COMPOSITE, "Composite"),
        (Word.CARD, "Memory card"),
        (Word.RAM, "Internal RAM"),
        (Word.NONE, "None"),
        (Word.ON, "On"),
        (Word.OFF, "Off"),
        (Word.MANUAL, "Manual"),
        (Word.BATTERY_LEVEL, "Battery Level"),
    ],
)
def test_table_of_languages_agrees_with_the_driver(word: Word, english: str) -> None:
    """The reference is the set of message catalogues that the installed driver ships."""
    assert means(english, word)
    if not catalogues():
        pytest.skip("the installed driver has no message catalogues")
    missing = {
        lang: texts[english] for lang, texts in catalogues().items() if not means(texts.get(english, english), word)
    }
    assert not missing


def test_steps_and_unknown_values_are_read_in_every_language_of_the_driver() -> None:
    if not catalogues():
        pytest.skip("the installed driver has no message catalogues")
    for texts in catalogues().values():
        for number in (1, 2, 3):
            assert sized_word(texts.get(f"Near {number}", "Near 1"), Word.NEAR, Word.FAR) is not None
            assert sized_word(texts.get(f"Far {number}", "Far 1"), Word.NEAR, Word.FAR) is not None
        assert unknown_code(texts.get("Unknown value %04x", "Unknown value %04x").replace("%04x", "008b")) == 0x8B


@pytest.mark.parametrize(
    ("widgets", "model", "make", "maker"),
    [
        ([], "", "FUJIFILM", Maker.FUJIFILM),
        ([], "Canon EOS R0", "", Maker.CANON),
        ([], "ILCE-0M0", "", Maker.SONY),
        ([], "OM-0", "OM Digital Solutions", Maker.OLYMPUS),
        ([text("manufacturer", "RICOH IMAGING")], "", "", Maker.RICOH),
        ([text("x", "", label="Drive Nikon DSLR Autofocus")], "", "", Maker.NIKON),
        ([], "Unheard 1", "", Maker.OTHER),
    ],
)
def test_maker(widgets: list[Widget], model: str, make: str, maker: Maker) -> None:
    assert maker_of({one.name: one for one in widgets}, model, make) is maker
