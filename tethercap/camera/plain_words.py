"""The settings of bodies that speak the driver's plainest words."""

from tethercap.camera.words.widgets import Widget
from tethercap.exposure.settings import Setting, SettingState, Value, ValueKind

_NAMES = {
    Setting.ISO: ("iso",),
    Setting.APERTURE: ("aperture", "f-number"),
    Setting.SHUTTER: ("shutterspeed2", "shutterspeed"),
    Setting.PROGRAM: ("expprogram",),
    Setting.IMAGE_FORMAT: ("imageformat", "imagequality"),
    Setting.CAPTURE_TARGET: ("capturetarget",),
    Setting.BATTERY: ("batterylevel",),
}


def _number(text: str) -> float | None:
    plain = text.removeprefix("f/").removesuffix("s").removesuffix("%")
    above, _, below = plain.partition("/")
    try:
        return float(above) / float(below or 1)
    except (ValueError, ZeroDivisionError):
        return None


def _word(text: str) -> str | None:
    return {
        "NEF (Raw)": "raw",
        "RAW": "raw",
        "NEF+Fine": "raw+jpeg",
        "JPEG Fine": "jpeg",
        "Memory card": "card",
        "Internal RAM": "ram",
        "M": "manual",
    }.get(text)


def _value(text: str) -> Value:
    word, number = _word(text), _number(text)
    if word is not None:
        return Value(ValueKind.WORD, text, word=word)
    return Value(ValueKind.UNKNOWN if number is None else ValueKind.NUMBER, text, number)


def understand_plainly(widgets: list[Widget]) -> tuple[dict[Setting, SettingState], dict[Setting, str]]:
    """Return the settings that can be told by name alone, and the widget of each."""
    by_name = {widget.name: widget for widget in widgets}
    states, names = {}, {}
    for setting, candidates in _NAMES.items():
        widget = next((by_name[name] for name in candidates if name in by_name), None)
        if widget is None:
            continue
        names[setting] = widget.name
        states[setting] = SettingState(
            setting, _value(widget.current_text), tuple(map(_value, widget.choices)), settable=not widget.readonly
        )
    return states, names
