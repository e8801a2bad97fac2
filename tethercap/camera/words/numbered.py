"""Settings that a camera shows only under a property number: read as a help, never set.

Encodings: standard properties of ISO 15740 (5007 f-number in hundredths, 500d time in tenths of a millisecond, 500f
sensitivity); Sony d20d and d229 and Olympus d01c hold a time as two 16-bit halves, Sony d226 and d21e a sensitivity,
Olympus d002 an f-number in tenths (seen in dumps beside named settings that agree).
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from tethercap.camera.words.languages import is_null
from tethercap.camera.words.makers import Maker
from tethercap.camera.words.understanding import NumberedReading
from tethercap.camera.words.values import read_iso
from tethercap.camera.words.widgets import Widget
from tethercap.exposure.parse import LONGEST_SHUTTER_S, parse_f_number, parse_number
from tethercap.exposure.settings import Setting, ValueKind
from tethercap.exposure.stops import distinct

Decoder = Callable[[str], float | None]


def _iso(text: str) -> float | None:
    return read_iso(text).number


def _scaled(divisor: float) -> Decoder:
    def decode(text: str) -> float | None:
        plain = parse_number(text)
        return parse_f_number(f"{plain / divisor:g}") if plain is not None and plain > 0 else None

    return decode


def _halves(text: str) -> float | None:
    plain = parse_number(text)
    if plain is None or plain <= 0 or plain > 0xFFFFFFFF:
        return None
    numerator, denominator = divmod(int(plain), 0x10000)
    if not numerator or not denominator or numerator >= 0xFFF0:
        return None
    return numerator / denominator


def _tenths_of_ms(text: str) -> float | None:
    plain = parse_number(text)
    return plain / 10_000.0 if plain is not None and 0 < plain < LONGEST_SHUTTER_S * 10_000 else None


@dataclass(frozen=True, slots=True)
class _Property:
    name: str
    encoding: str
    decode: Decoder
    makers: frozenset[Maker]


_COUNTS_TENTHS_OF_MS = frozenset(Maker) - {Maker.FUJIFILM}
"""Fuji counts the standard property in microseconds."""
_SONY, _OLYMPUS = frozenset({Maker.SONY}), frozenset({Maker.OLYMPUS})
_HALVES = "u32: seconds = high16/low16"
_PROPERTIES: dict[Setting, tuple[_Property, ...]] = {
    Setting.ISO: (
        _Property("d226", "ISO", _iso, _SONY),
        _Property("d21e", "ISO", _iso, _SONY),
        _Property("500f", "ISO", _iso, frozenset(Maker)),
    ),
    Setting.APERTURE: (
        _Property("d002", "f-number x 10", _scaled(10), _OLYMPUS),
        _Property("5007", "f-number x 100", _scaled(100), frozenset(Maker)),
    ),
    Setting.SHUTTER: (
        _Property("d229", _HALVES, _halves, _SONY),
        _Property("d20d", _HALVES, _halves, _SONY),
        _Property("d01c", _HALVES, _halves, _OLYMPUS),
        _Property("500d", "0.1 ms", _tenths_of_ms, _COUNTS_TENTHS_OF_MS),
    ),
}


def read_numbered(setting: Setting, widgets: Mapping[str, Widget], maker: Maker) -> NumberedReading | None:
    """Find a setting under a number; None where nothing there can be read."""
    for known in _PROPERTIES.get(setting, ()):
        widget = widgets.get(known.name)
        if widget is None or maker not in known.makers or is_null(widget.current_text):
            continue
        figures = [figure for figure in map(known.decode, widget.choices) if figure is not None]
        auto = tuple(text for text in widget.choices if setting is Setting.ISO and _is_auto(text))
        current: float | str | None = known.decode(widget.current_text)
        if current is None and setting is Setting.ISO and _is_auto(widget.current_text):
            current = "auto"
        if figures or current is not None:
            return NumberedReading(known.name, known.encoding, distinct(figures), auto, current)
    return None


def _is_auto(text: str) -> bool:
    return read_iso(text).kind is ValueKind.AUTO
