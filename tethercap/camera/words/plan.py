"""Turns a wish into the text to send, and what is read back into a plain answer."""

from dataclasses import dataclass

from tethercap.camera.words.resolve import read_value
from tethercap.camera.words.understanding import Carrier, Understanding
from tethercap.camera.words.widgets import Widget, WidgetKind
from tethercap.errors import NotSupportedError
from tethercap.exposure.image_formats import ImageFormat
from tethercap.exposure.settings import Setting, SettingChange, SettingState, Value, ValueKind
from tethercap.exposure.stops import nearest_in_stops, nearest_linear

_IN_STOPS = frozenset({Setting.ISO, Setting.APERTURE, Setting.SHUTTER})
"""Settings whose distances are ratios."""


@dataclass(frozen=True, slots=True)
class PlannedChange:
    """What to send to the camera."""

    setting: Setting
    widget: str
    """Name of the widget."""
    text: str
    """Text to set it to; for a RANGE or TOGGLE the number in decimal."""
    aim: Value
    """What the camera should show afterwards."""


def plan_change(understanding: Understanding, setting: Setting, value: Value | float | str) -> PlannedChange:
    """Choose the value on offer that is nearest to a wish.

    Parameters
    ----------
    understanding : Understanding
        Fresh: lists follow the mode dial.
    setting : Setting
    value : Value, float or str
        One of the setting's choices; a figure in the setting's unit (f-number, seconds, ISO, stops, percent); one of
        our words ("raw", "card", "auto", "bulb", "on"); or the camera's own text.

    Returns
    -------
    PlannedChange
        Figures are nearest in stops where the setting is a ratio, else nearest by difference.

    Raises
    ------
    NotSupportedError
        If the camera lacks the setting, cannot set it now, or offers nothing of that kind.
    """
    state, carrier = _settable(understanding, setting)
    if carrier.kind is WidgetKind.RANGE:
        aim = _within_range(setting, carrier, value)
    elif carrier.kind is WidgetKind.TEXT and not state.choices:
        aim = _free_text(understanding, setting, value)
    elif setting is Setting.IMAGE_FORMAT and value == ImageFormat.RAW:
        aim = _raw_alone(understanding)
    else:
        aim = choose(state, value)
    return PlannedChange(setting, carrier.widget, aim.text, aim)


def read_back(planned: PlannedChange, widget: Widget, understanding: Understanding) -> SettingChange:
    """Compare what was planned with what the widget shows after it was set."""
    return SettingChange(planned.setting, planned.aim, read_value(understanding, planned.setting, widget.current_text))


def _settable(understanding: Understanding, setting: Setting) -> tuple[SettingState, Carrier]:
    state, carrier = understanding.states.get(setting), understanding.carriers.get(setting)
    if state is None or carrier is None:
        raise NotSupportedError(f"This camera has no setting for {_spoken(setting)} that can be reached from here.")
    if not state.settable:
        raise NotSupportedError(f"The camera does not let {_spoken(setting)} be set now.", todo=state.note)
    return state, carrier


def _within_range(setting: Setting, carrier: Carrier, value: Value | float | str) -> Value:
    figure = value.number if isinstance(value, Value) else value
    if not isinstance(figure, int | float):
        raise NotSupportedError(f"The camera wants a number for {_spoken(setting)}, not {figure!r}.")
    lowest, highest, _step = carrier.range or (figure, figure, 0.0)
    held = min(max(float(figure), lowest), highest)
    return Value(ValueKind.NUMBER, f"{held:g}", number=held)


def _free_text(understanding: Understanding, setting: Setting, value: Value | float | str) -> Value:
    # The driver takes any text here and the body decides (live-view magnification).
    text = value.text if isinstance(value, Value) else value if isinstance(value, str) else f"{value:g}"
    return read_value(understanding, setting, text)


def _raw_alone(understanding: Understanding) -> Value:
    text = understanding.formats.raw_alone if understanding.formats else None
    if text is None:
        note = understanding.formats.note if understanding.formats else ""
        raise NotSupportedError("The camera offers no RAW alone now.", todo=note)
    return Value(ValueKind.WORD, text, word=str(ImageFormat.RAW))


def choose(state: SettingState, value: Value | float | str) -> Value:
    """Return the choice of a setting that is nearest to a wish.

    Parameters
    ----------
    state : SettingState
    value : Value, float or str
        As for `plan_change`.

    Raises
    ------
    NotSupportedError
        If no choice is of that kind.
    """
    if isinstance(value, Value):
        exact = next((choice for choice in state.choices if choice.text == value.text), None)
        if exact is not None:
            return exact
        value = value.number if value.number is not None else value.name or value.text
    if isinstance(value, str):
        return _choice_by_word(state, value)
    return _nearest(state, float(value))


def _choice_by_word(state: SettingState, wish: str) -> Value:
    by_text = (choice for choice in state.choices if choice.text == wish)
    by_word = (choice for choice in state.choices if choice.name == wish)
    found = next(by_text, None) or next(by_word, None)
    if found is not None:
        return found
    offered = ", ".join(dict.fromkeys(choice.text for choice in state.choices)) or "nothing"
    raise NotSupportedError(f"The camera does not offer “{wish}” for {_spoken(state.setting)}; it offers {offered}.")


def _nearest(state: SettingState, wish: float) -> Value:
    figures = [(choice, choice.number) for choice in state.choices if choice.number is not None]
    if not figures:
        raise NotSupportedError(f"The camera offers no figures for {_spoken(state.setting)} now.", todo=state.note)
    numbers = [number for _, number in figures]
    if state.setting in _IN_STOPS and wish > 0:
        return figures[nearest_in_stops(wish, numbers)][0]
    return figures[nearest_linear(wish, numbers)][0]


def _spoken(setting: Setting) -> str:
    return str(setting).replace("-", " ")
