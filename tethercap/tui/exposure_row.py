"""Changing the camera's exposure with four keys; pure, the asking row shows it."""

from dataclasses import dataclass

from tethercap.exposure.settings import Setting, SettingState, Value
from tethercap.exposure.show import show_value

EXPOSURE_SETTINGS = (Setting.SHUTTER, Setting.APERTURE, Setting.ISO)
_NAMES = {Setting.SHUTTER: "time", Setting.APERTURE: "aperture", Setting.ISO: "ISO"}
"""So short that the row and what its keys do go into 80 characters."""


@dataclass(slots=True)
class ExposureDial:
    """Which setting the keys turn, and where it stands."""

    settings: dict[Setting, SettingState]
    chosen: Setting = Setting.SHUTTER

    def __post_init__(self) -> None:
        """Begin at a setting that the camera has."""
        present = [setting for setting in EXPOSURE_SETTINGS if setting in self.settings]
        if present and self.chosen not in present:
            self.chosen = present[0]

    def text(self) -> str:
        """The row: each setting, the chosen one between brackets, with why it cannot be turned."""
        parts = []
        for setting in EXPOSURE_SETTINGS:
            state = self.settings.get(setting)
            value = show_value(setting, state.value).removeprefix("ISO ") if state is not None else "not known"
            shown = f"{_NAMES[setting]} {value}"
            parts.append(f"[{shown}]" if setting is self.chosen else f" {shown} ")
        chosen = self.settings.get(self.chosen)
        note = "" if chosen is None or chosen.settable else f"  {chosen.note or 'the camera does not let this be set'}"
        return " ".join(parts) + note

    def turn_to(self, step: int) -> None:
        """Choose the next setting to the right (1) or left (-1)."""
        place = EXPOSURE_SETTINGS.index(self.chosen)
        self.chosen = EXPOSURE_SETTINGS[(place + step) % len(EXPOSURE_SETTINGS)]

    def stepped(self, step: int) -> Value | None:
        """Value one choice further; None where there is none or it cannot be set."""
        state = self.settings.get(self.chosen)
        if state is None or not state.settable or not state.choices:
            return None
        texts = [choice.text for choice in state.choices]
        place = texts.index(state.value.text) + step if state.value.text in texts else 0
        if not 0 <= place < len(texts):
            return None
        value = state.choices[place]
        self.settings[self.chosen] = SettingState(state.setting, value, state.choices, state.settable, state.note)
        return value
