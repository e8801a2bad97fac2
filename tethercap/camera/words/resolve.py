"""Understands a camera from its widgets: every setting in our words, and a report on what can be controlled.

Nothing here is a table of models (the base sensitivity excepted): a body nobody has seen is understood by the names
and texts it shares with its family.
"""

from collections.abc import Mapping, Sequence

from tethercap.camera.words.base_iso import base_iso
from tethercap.camera.words.battery import read_battery
from tethercap.camera.words.candidates import NAMES, by_name, choose
from tethercap.camera.words.formats import FormatReading, read_formats
from tethercap.camera.words.languages import is_null
from tethercap.camera.words.makers import Maker, maker_of
from tethercap.camera.words.numbered import read_numbered
from tethercap.camera.words.report import Report, packing_note, report, setting_note
from tethercap.camera.words.understanding import Carrier, FocusDrive, FocusKind, NumberedReading, Understanding
from tethercap.camera.words.values import Parser, parser_for, unknown, word
from tethercap.camera.words.widgets import Widget, WidgetKind
from tethercap.exposure.settings import Setting, SettingState, Value, ValueKind

_NEEDS_A_CHOICE = frozenset({WidgetKind.RADIO, WidgetKind.MENU})
_SWITCHES = frozenset({Setting.LIVE_VIEW, Setting.LONG_EXPOSURE_NR, Setting.QUIET_SHUTTER})
_READ_ONLY = frozenset({Setting.BATTERY, Setting.SHOTS_LEFT})
_COMPRESSION_CODES = "5004"
_RAW_PACKING = "rawcompression"


def understand(widgets: Sequence[Widget], model: str = "", *, make: str = "") -> Understanding:
    """Understand a camera.

    Parameters
    ----------
    widgets : sequence of Widget
        Everything the driver offers, in its order. Not empty for a camera that can be controlled.
    model, make : str
        As found at discovery or in a dump's heading; taken from the widgets where empty.

    Returns
    -------
    Understanding
        A snapshot: read-only flags and lists follow the mode dial.
    """
    named = by_name(widgets)
    model = model or (named["cameramodel"].current_text if "cameramodel" in named else "")
    maker = maker_of(named, model, make)
    chosen = {setting: widget for setting in NAMES if (widget := choose(setting, named)) is not None}
    formats = _formats(chosen, named)
    states = {setting: _state(setting, widget, maker, formats) for setting, widget in chosen.items()}
    carriers = {setting: Carrier(widget.name, widget.kind, widget.range) for setting, widget in chosen.items()}
    battery = read_battery(named, maker)
    if battery is not None:
        shown = Value(ValueKind.NUMBER, battery.widget.current_text, number=battery.percent)
        states[Setting.BATTERY] = SettingState(Setting.BATTERY, shown)
        carriers[Setting.BATTERY] = Carrier(battery.widget.name, battery.widget.kind)
    numbered = _numbered(states, named, maker)
    focus = _focus(chosen.get(Setting.FOCUS_DRIVE), maker)
    lens_talks = Setting.APERTURE in numbered and numbered[Setting.APERTURE].current is not None
    told = report(maker, states, formats, focus, lens_talks=lens_talks)
    states = {setting: _noted(state, maker, told) for setting, state in states.items()}
    offered = [value.number for value in _choices_of(states, Setting.ISO) if value.number is not None]
    return Understanding(
        model=model,
        maker=maker,
        states=states,
        carriers=carriers,
        control=told.control,
        why=told.why,
        notes=tuple(note for note in (*told.notes, packing_note(named.get(_RAW_PACKING))) if note),
        base_iso=base_iso(model, offered),
        formats=formats,
        focus=focus,
        numbered=numbered,
        manual_lens=told.manual_lens,
    )


def read_value(understanding: Understanding, setting: Setting, text: str) -> Value:
    """Say what a text read back from a setting's widget means on this camera."""
    state = understanding.states.get(setting)
    known = next((value for value in state.choices if value.text == text), None) if state else None
    if known is not None:
        return known
    carrier = understanding.carriers.get(setting)
    parse = parser_for(setting, carrier.widget if carrier else "", understanding.maker)
    return _value(setting, parse, text, understanding.formats)


def _formats(chosen: Mapping[Setting, Widget], named: Mapping[str, Widget]) -> FormatReading | None:
    widget = chosen.get(Setting.IMAGE_FORMAT)
    return read_formats(widget, named.get(_COMPRESSION_CODES)) if widget else None


def _state(setting: Setting, widget: Widget, maker: Maker, formats: FormatReading | None) -> SettingState:
    parse = parser_for(setting, widget.name, maker)
    choices = tuple(_value(setting, parse, text, formats) for text in widget.choices)
    if widget.kind is WidgetKind.TOGGLE and setting in _SWITCHES:
        choices = (parse("0"), parse("1"))
    current = _value(setting, parse, widget.current_text, formats)
    if setting is Setting.SHUTTER:
        current, *shown = _without_doubtful_codes((current, *choices))
        choices = tuple(shown)
    return SettingState(setting, current, choices, _is_settable(setting, widget, choices))


def _value(setting: Setting, parse: Parser, text: str, formats: FormatReading | None) -> Value:
    if is_null(text):
        return unknown(text)
    if setting is Setting.IMAGE_FORMAT and formats is not None:
        found = formats.format_of(text)
        return unknown(text) if found is None else word(text, str(found))
    return parse(text)


def _without_doubtful_codes(choices: tuple[Value, ...]) -> tuple[Value, ...]:
    # Where the list says Bulb in a word, a bare 65535/65533 is a code of another table (Olympus).
    spelled_out = any(value.kind is ValueKind.BULB and value.text[:1].isalpha() for value in choices)
    if not spelled_out:
        return choices
    return tuple(
        unknown(value.text) if value.number is None and value.text[:1].isdigit() else value for value in choices
    )


def _is_settable(setting: Setting, widget: Widget, choices: Sequence[Value]) -> bool:
    if widget.readonly is True or setting in _READ_ONLY:
        return False
    if widget.kind in _NEEDS_A_CHOICE:
        if setting in (Setting.ISO, Setting.APERTURE, Setting.SHUTTER):
            return len({value.number for value in choices if value.number is not None}) >= 2
        return len({value.text for value in choices}) >= 2
    return True


def _numbered(
    states: Mapping[Setting, SettingState], named: Mapping[str, Widget], maker: Maker
) -> dict[Setting, NumberedReading]:
    found = {}
    for setting in (Setting.ISO, Setting.APERTURE, Setting.SHUTTER):
        state = states.get(setting)
        figures = [] if state is None else [value.number for value in (state.value, *state.choices)]
        if state is not None and (state.choices or (setting is Setting.APERTURE and any(figures))):
            continue
        reading = read_numbered(setting, named, maker)
        if reading is not None:
            found[setting] = reading
    return found


_FOCUS_UNITS = {
    Maker.NIKON: "lens pulses",
    Maker.SONY: "speed, sign is direction",
    Maker.CANON: "3 step sizes",
    Maker.OLYMPUS: "3 step sizes",
    Maker.FUJIFILM: "lens position",
}


def _focus(widget: Widget | None, maker: Maker) -> FocusDrive | None:
    if widget is None:
        return None
    if widget.kind is WidgetKind.RANGE:
        kind = FocusKind.RANGE
    else:
        read = parser_for(Setting.FOCUS_DRIVE, widget.name)
        values = [read(text) for text in widget.choices]
        if any(value.kind is ValueKind.WORD for value in values):
            kind = FocusKind.STEPS
        elif any(value.kind is ValueKind.NUMBER for value in values):
            kind = FocusKind.POSITION
        else:
            return None
    return FocusDrive(widget.name, kind, _FOCUS_UNITS.get(maker, "steps"), widget.range)


def _choices_of(states: Mapping[Setting, SettingState], setting: Setting) -> tuple[Value, ...]:
    return states[setting].choices if setting in states else ()


def _noted(state: SettingState, maker: Maker, told: Report) -> SettingState:
    note = setting_note(state, maker, told)
    return SettingState(state.setting, state.value, state.choices, state.settable, note) if note else state
