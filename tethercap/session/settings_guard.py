"""Settings that must stay as they are through a roll, and what to say when somebody turned one on the body."""

from collections.abc import Mapping

from tethercap.exposure.settings import Setting, SettingChange, SettingState, Value

GUARDED = (
    Setting.ISO,
    Setting.APERTURE,
    Setting.SHUTTER,
    Setting.EXPOSURE_COMPENSATION,
    Setting.IMAGE_FORMAT,
    Setting.WHITE_BALANCE,
)
"""What makes the frames of a roll match each other."""


def guarded_values(settings: Mapping[Setting, SettingState]) -> dict[Setting, Value]:
    """Values of the guarded settings a camera has."""
    return {setting: settings[setting].value for setting in GUARDED if setting in settings}


def drift(wanted: Mapping[Setting, Value], settings: Mapping[Setting, SettingState]) -> dict[Setting, SettingChange]:
    """Settings that no longer stand where they were, each as asked and got."""
    changes = (
        SettingChange(setting, value, settings[setting].value)
        for setting, value in wanted.items()
        if setting in settings
    )
    return {change.setting: change for change in changes if not change.taken}


def drift_sentence(changes: Mapping[Setting, SettingChange]) -> str:
    """Say what was turned, from what to what."""
    turned = ", ".join(
        f"{setting.value.replace('-', ' ')} from {change.asked.text} to {change.got.text}"
        for setting, change in changes.items()
    )
    return f"Turned on the camera: {turned}. The roll's frames will not match; put back restores what was."
