"""What a camera's text for a setting means: a number, one of our words, or unknown.

The text itself is kept, to be sent back unchanged.
"""

import re
from collections.abc import Callable

from tethercap.camera.words.formats import label_format
from tethercap.camera.words.languages import Word, folded, is_null, means, sized_word, unknown_code
from tethercap.camera.words.makers import Maker
from tethercap.exposure.parse import parse_f_number, parse_iso, parse_number, parse_shutter_s, parse_stops
from tethercap.exposure.settings import Setting, Value, ValueKind
from tethercap.exposure.stops import exact_compensation_stops

Parser = Callable[[str], Value]

_AUTO_ISO_RANGE = re.compile(r"A\d+ \(\d+-\d+\)")
"""Nikon 1: 'A3200 (160-3200)', automatic within a range."""
_ALL_ONES = frozenset({0xFFFF, 0xFFFFFF, 0xFFFFFFFF})
"""ISO auto where the driver prints the bare number: every bit set."""
_NUMBERED_AUTO = re.compile(r"auto(?: ?iso)? ?\d|iso auto \d+")
"""One of several automatic programs, or one with its upper limit."""

_CODED_TIMES = {
    "65535/65535": "bulb", "65535/65533": "time", "65535/65534": "x200",
    "429496.7295s": "bulb", "429496.7293s": "time", "429496.7294s": "x200",
}  # fmt: skip
"""Nikon's codes FFFFFFFF, FFFFFFFD and FFFFFFFE as a quotient of two halves, or in tenths of a millisecond."""


def number(text: str, figure: float) -> Value:
    """Make a value that is a figure."""
    return Value(ValueKind.NUMBER, text, number=figure)


def word(text: str, ours: str) -> Value:
    """Make a value that is one of our words."""
    return Value(ValueKind.WORD, text, word=ours)


def unknown(text: str) -> Value:
    """Make a value about which nothing is claimed."""
    return Value(ValueKind.UNKNOWN, text)


def read_iso(text: str) -> Value:
    """Sensitivity. A negative figure is one of Fuji's automatic programs."""
    figure = parse_iso(text)
    if figure is not None:
        return number(text, figure)
    plain = parse_number(text)
    codes_auto = plain is not None and (plain < 0 or plain in _ALL_ONES)
    names_auto = means(text, Word.AUTO) or _NUMBERED_AUTO.fullmatch(folded(text)) or _AUTO_ISO_RANGE.fullmatch(text)
    return Value(ValueKind.AUTO, text) if codes_auto or names_auto else unknown(text)


def read_aperture(text: str) -> Value:
    """Aperture. What a body prints for a lens without contacts (f/0, f/655.34, '(null)') is unknown."""
    figure = parse_f_number(text)
    if figure is not None:
        return number(text, figure)
    return Value(ValueKind.AUTO, text) if means(text, Word.AUTO) else unknown(text)


def read_shutter(text: str) -> Value:
    """Exposure time in seconds, or bulb, time, composite, x200 (the flash synchronisation setting)."""
    seconds = parse_shutter_s(text)
    if seconds is not None:
        return number(text, seconds)
    plain = folded(text)
    named = _CODED_TIMES.get(plain.replace(",", "."))
    if named is None:
        named = next((str(w) for w in (Word.BULB, Word.TIME, Word.COMPOSITE, Word.AUTO) if means(text, w)), None)
    if named is None and re.fullmatch(r"x ?\d+", plain):
        named = "x" + plain.removeprefix("x").strip()
    match named:
        case None:
            return unknown(text)
        case "bulb" | "time" | "auto":
            return Value(ValueKind(named), text)
        case _:
            return word(text, named)


def read_shutter_tenths(text: str) -> Value:
    """Exposure time of the oldest drivers: figures are tenths of a second ('0.080' is 8 ms), with or without an s."""
    plain = parse_number(text.strip().removesuffix("s").strip())
    return number(text, plain / 10.0) if plain is not None and plain > 0 else read_shutter(text)


def read_compensation(text: str) -> Value:
    """Exposure compensation in stops, made exact thirds or halves; figures of 100 and more are thousandths."""
    stops = parse_stops(text)
    if stops is None:
        return unknown(text)
    return number(text, exact_compensation_stops(stops / 1000.0 if abs(stops) >= 100 else stops))


def read_format(text: str) -> Value:
    """Image format at the label's word; whether the label can be believed is decided in `formats`."""
    found = label_format(text)
    return unknown(text) if found is None else word(text, str(found))


def read_target(text: str) -> Value:
    """Where pictures go: 'card', 'memory' (the camera's own) or 'card+memory'."""
    if folded(text).replace(" ", "") == "card+sdram":
        return word(text, "card+memory")
    if means(text, Word.CARD):
        return word(text, "card")
    return word(text, "memory") if means(text, Word.RAM) else unknown(text)


def read_focus_step(text: str) -> Value:
    """Focus drive in steps: 'near-1' .. 'far-3', or 'none'; a bare number where the driver prints the lens position."""
    step = sized_word(text, Word.NEAR, Word.FAR)
    if step is not None:
        return word(text, f"{step[0]}-{step[1]}")
    if means(text, Word.NONE):
        return word(text, "none")
    plain = parse_number(text)
    return unknown(text) if plain is None else number(text, plain)


def read_switch(text: str) -> Value:
    """On or off. A toggle that reads 2 can be written but not read, so 2 is unknown, never on."""
    plain = folded(text)
    if plain in ("1", "1.0") or means(text, Word.ON):
        return word(text, "on")
    return word(text, "off") if plain in ("0", "0.0") or means(text, Word.OFF) else unknown(text)


def read_percent(text: str) -> Value:
    """Percentage from 0 to 100; anything outside cannot be believed."""
    plain = parse_number(text.strip().removesuffix("%").strip())
    return number(text, plain) if plain is not None and 0 <= plain <= 100 else unknown(text)


def read_count(text: str) -> Value:
    """Plain count or size."""
    plain = parse_number(text)
    return number(text, plain) if plain is not None and plain >= 0 else unknown(text)


def read_text(text: str) -> Value:
    """The camera's word as it is; nothing is claimed about it."""
    return unknown(text)


def by_table(table: dict[str, str]) -> Parser:
    """Make a parser from a table of folded texts, after the words that need no table."""

    def read(text: str) -> Value:
        ours = table.get(folded(text))
        if ours is None and not is_null(text) and unknown_code(text) is None:
            ours = "manual" if means(text, Word.MANUAL) else "auto" if means(text, Word.AUTO) else None
        return unknown(text) if ours is None else word(text, ours)

    return read


def _table(rows: dict[str, str]) -> dict[str, str]:
    return {text: ours for ours, texts in rows.items() for text in texts.split("|")}


read_program = by_table(_table({
    "manual": "m|plně ruční režim|ს", "aperture priority": "a|av|a 光圈优先|zaclonění ručně, exp. čas automat.",
    "shutter priority": "s|tv|exp. čas ručně, zaclonění automat.|телебачення",
    "program": "p|п|část. nastavitelný automat. režim",
    "bulb": "bulb|langzeitbelichtung",
    "automatic": "auto|green|intelligent auto|superior auto|creative auto|scene intelligent auto|grün",
}))  # fmt: skip
read_white_balance = by_table(_table({
    "daylight": "daylight|tageslicht|luz de día|lumière du jour", "shade": "shade|shadow|schatten|ombre|sombra",
    "cloudy": "cloudy|wolkig|bewölkt|nuageux|nublado", "flash": "flash|blitz",
    "tungsten": "tungsten|kunstlicht - glühlampe|tungstène|tungsteno",
    "fluorescent": "fluorescent|kunstlicht - fluoreszenzlampe|fluorescente",
    "custom": "preset|custom|voreinstellung|manual",
    "kelvin": "color temperature|choose color temperature|farbtemperatur|wähle farbtemperatur|température de couleur",
}))  # fmt: skip
read_focus_mode = by_table(_table({
    "manual": "mf|mf (fixed)|mf (selection)|mf (fest)|mf (selektiert)|manual focus", "direct manual": "dmf",
    "single": "one shot|af-s|single-servo af|s-af|einzel af|af single", "single and manual": "s-af+mf",
    "continuous": "ai servo|af-c|continuous-servo af|c-af|servo", "automatic": "ai focus|af-a",
}))  # fmt: skip
read_drive = by_table(_table({
    "single": "single|single shot|normal|einzelbild|single frame",
    "quiet single": "single silent|quiet release|single: silent shooting",
    "mirror up": "mirror up|mup", "remote": "remote|quick response remote",
    "continuous": "continuous|burst|continuous low speed|continuous high speed|kontinuierlich|mehrbild",
    "timer": "timer|self-timer|timer 2 sec|timer 10 sec|selftimer 2s|selftimer 5s|selftimer 10s",
}))  # fmt: skip
read_quiet = by_table(_table({
    "quiet": "on|electronic|electronic shutter|silent|1", "mechanical": "off|mechanical|mechanical shutter|0",
    "electronic first curtain": "electronic first curtain|electronic front curtain|electronic front",
}))  # fmt: skip

PARSERS: dict[Setting, Parser] = {
    Setting.ISO: read_iso,
    Setting.APERTURE: read_aperture,
    Setting.SHUTTER: read_shutter,
    Setting.EXPOSURE_COMPENSATION: read_compensation,
    Setting.PROGRAM: read_program,
    Setting.IMAGE_FORMAT: read_format,
    Setting.CAPTURE_TARGET: read_target,
    Setting.WHITE_BALANCE: read_white_balance,
    Setting.FOCUS_MODE: read_focus_mode,
    Setting.FOCUS_DRIVE: read_focus_step,
    Setting.LIVE_VIEW: read_switch,
    Setting.LIVE_VIEW_SIZE: read_text,
    Setting.LIVE_VIEW_ZOOM: read_count,
    Setting.BATTERY: read_percent,
    Setting.SHOTS_LEFT: read_count,
    Setting.DRIVE_MODE: read_drive,
    Setting.PICTURE_STYLE: read_text,
    Setting.LONG_EXPOSURE_NR: read_switch,
    Setting.QUIET_SHUTTER: read_quiet,
}
"""How each setting's texts are read, unless the widget's name says otherwise."""

PARSERS_BY_WIDGET: dict[str, Parser] = {"exptime": read_shutter_tenths}


def _read_fuji_program(text: str) -> Value:
    # The driver's standard table names Fuji's code of P after a scene.
    return word(text, "program") if folded(text) == "action" else read_program(text)


_PARSERS_BY_MAKER: dict[tuple[Setting, Maker], Parser] = {(Setting.PROGRAM, Maker.FUJIFILM): _read_fuji_program}


def parser_for(setting: Setting, widget_name: str, maker: Maker = Maker.OTHER) -> Parser:
    """Parser for a setting as one widget of one maker prints it."""
    return PARSERS_BY_WIDGET.get(widget_name) or _PARSERS_BY_MAKER.get((setting, maker)) or PARSERS[setting]
