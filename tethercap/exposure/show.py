"""Settings as they are written on a screen: the trade's marks, one form for every maker."""

from collections.abc import Callable

from tethercap.exposure.image_formats import SHOWN, ImageFormat
from tethercap.exposure.settings import Setting, Value, ValueKind
from tethercap.exposure.stops import exact_compensation_stops, same_setting


def show_f_number(f_number: float) -> str:
    """Write 'f/8', 'f/5.6'."""
    return f"f/{f_number:.3g}"


def show_shutter_s(seconds: float) -> str:
    """Write '1/30 s', '0.8 s', '2.5 s', '2 min'."""
    if seconds >= 60 and round(seconds) % 60 == 0:
        return f"{round(seconds) // 60} min"
    if seconds >= 10:
        return f"{seconds:.0f} s"
    if seconds > 0 and (seconds < 0.3 or (seconds < 0.6 and same_setting(1 / seconds, round(1 / seconds)))):
        return f"1/{round(1 / seconds)} s"
    return f"{seconds:.1f}".removesuffix(".0") + " s"


def show_iso(iso: float) -> str:
    """Write 'ISO 100'."""
    return f"ISO {round(iso)}"


def show_stops(stops: float) -> str:
    """Write a signed number of stops in thirds or halves: '+1 1/3', '-2/3', '0', '+2.5'."""
    stops = exact_compensation_stops(stops)
    thirds = round(stops * 3)
    if abs(stops) < 0.01:
        return "0"
    sign = "+" if stops > 0 else "−"
    if abs(stops * 3 - thirds) > 0.02:
        return f"{sign}{abs(stops):.2g}"
    whole, part = divmod(abs(thirds), 3)
    pieces = [str(whole)] if whole else []
    if part:
        pieces.append(f"{part}/3")
    return sign + " ".join(pieces)


def show_percent(percent: float) -> str:
    """Write '67 %'."""
    return f"{round(percent)} %"


_FIGURES: dict[Setting, Callable[[float], str]] = {
    Setting.ISO: show_iso,
    Setting.APERTURE: show_f_number,
    Setting.SHUTTER: show_shutter_s,
    Setting.EXPOSURE_COMPENSATION: show_stops,
    Setting.BATTERY: show_percent,
}


def show_value(setting: Setting, value: Value) -> str:
    """Write any setting's value; what is not understood is shown in the camera's own words, in quotation marks."""
    if value.number is not None:
        figure = _FIGURES.get(setting)
        return figure(value.number) if figure else f"{value.number:g}"
    if value.kind is ValueKind.WORD and value.word is not None:
        return SHOWN[ImageFormat(value.word)] if setting is Setting.IMAGE_FORMAT else value.word
    if value.kind is ValueKind.AUTO:
        return "ISO auto" if setting is Setting.ISO else "auto"
    if value.kind is not ValueKind.UNKNOWN:
        return str(value.kind)
    return f"“{value.text}”" if value.text else "unknown"
