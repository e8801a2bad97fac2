"""Which of a camera's choices comes nearest to what is wanted."""

import math

from tethercap.errors import NotSupportedError
from tethercap.exposure.settings import Setting, SettingState, Value

_IN_STOPS = frozenset({Setting.ISO, Setting.APERTURE, Setting.SHUTTER})
"""Settings whose distances are ratios."""


def choose(state: SettingState, wanted: Value | float | str) -> Value:
    """Return the choice that comes nearest to what is wanted.

    Parameters
    ----------
    state : SettingState
        The setting as it stands, with its choices.
    wanted : Value, float or str
        A value from the choices, a number in the setting's unit, one of our words, or the camera's own text.

    Raises
    ------
    NotSupportedError
        If no choice fits.
    """
    if isinstance(wanted, Value):
        return wanted
    if isinstance(wanted, str):
        return _by_text(state, wanted)
    numbers = [choice for choice in state.choices if choice.number is not None]
    if not numbers:
        raise NotSupportedError(f"{state.setting.value} has no numbers to choose from now.", todo=state.note)
    if state.setting in _IN_STOPS and wanted <= 0:
        raise NotSupportedError(f"{state.setting.value} cannot be {wanted:g}.")
    return min(numbers, key=lambda choice: _distance(state.setting, choice.number or 0.0, wanted))


def _by_text(state: SettingState, wanted: str) -> Value:
    for choice in state.choices:
        if wanted in (choice.text, choice.word) or (choice.word is None and wanted == choice.kind.value):
            return choice
    offered = ", ".join(dict.fromkeys(choice.word or choice.text for choice in state.choices)) or "nothing"
    raise NotSupportedError(
        f"{state.setting.value} cannot be {wanted!r} here; the camera offers {offered}.", todo=state.note
    )


def _distance(setting: Setting, number: float, wanted: float) -> float:
    if setting not in _IN_STOPS:
        return abs(number - wanted)
    return abs(math.log2(number / wanted)) if number > 0 else math.inf
