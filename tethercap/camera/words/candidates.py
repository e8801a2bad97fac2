"""Which widget carries which setting: per setting an ordered list of names, and tests that a widget must pass.

Names are the driver's, the same for all bodies of a family. What looks alike but means something else is left out on
purpose: `movieiso`, `autoiso`, `movief-number`, `flashshutterspeed`, `exposurecompensation2` (a switch), `autofocus`,
`capture`.
"""

from collections.abc import Mapping, Sequence

from tethercap.camera.words.languages import Word, spellings
from tethercap.camera.words.values import parser_for
from tethercap.camera.words.widgets import Widget, WidgetKind
from tethercap.exposure.image_formats import ImageFormat
from tethercap.exposure.settings import Setting, ValueKind

NAMES: dict[Setting, tuple[str, ...]] = {
    Setting.ISO: ("iso",),
    # Nikon 1 has both names; there `aperture` is rubbish.
    Setting.APERTURE: ("f-number", "aperture"),
    # `shutterspeed2` holds exact fractions where `shutterspeed` is cut to tenths of a millisecond.
    Setting.SHUTTER: ("shutterspeed2", "shutterspeed", "nikon-shutterspeed", "exptime"),
    Setting.EXPOSURE_COMPENSATION: ("exposurecompensation", "exposurebiascompensation"),
    # The dial says what rules now; the other EOS list is a fixed table.
    Setting.PROGRAM: ("expprogram", "autoexposuremode", "autoexposuremodedial", "shootingmode"),
    Setting.IMAGE_FORMAT: ("imageformat", "imagequality", "imagequality2", "imgquality", "canonimgquality"),
    Setting.CAPTURE_TARGET: ("capturetarget",),
    Setting.WHITE_BALANCE: ("whitebalance",),
    Setting.FOCUS_MODE: ("focusmode", "focusmode2"),
    Setting.FOCUS_DRIVE: ("manualfocusdrive", "manualfocus"),
    Setting.LIVE_VIEW: ("viewfinder", "eosviewfinder"),
    Setting.LIVE_VIEW_SIZE: ("liveviewsize",),
    Setting.LIVE_VIEW_ZOOM: ("eoszoom", "liveviewimagezoomratio", "liveviewzoomarea", "focusmagnifier"),
    Setting.SHOTS_LEFT: ("availableshots",),
    Setting.DRIVE_MODE: ("drivemode", "capturemode"),
    Setting.PICTURE_STYLE: ("picturestyle", "filmsimulation"),
    Setting.LONG_EXPOSURE_NR: ("longexpnr",),
    Setting.QUIET_SHUTTER: ("shuttertype", "silentmode"),
}
"""Widget names per setting, best first. The battery has rules of its own (`battery`)."""

_CHOICE_KINDS = frozenset({WidgetKind.RADIO, WidgetKind.MENU, WidgetKind.TEXT})
_KINDS: dict[Setting, frozenset[WidgetKind]] = {
    Setting.APERTURE: _CHOICE_KINDS | {WidgetKind.RANGE},
    Setting.SHUTTER: _CHOICE_KINDS | {WidgetKind.RANGE},
    Setting.FOCUS_DRIVE: frozenset({WidgetKind.RADIO, WidgetKind.MENU, WidgetKind.RANGE}),
    Setting.LIVE_VIEW: frozenset({WidgetKind.TOGGLE, WidgetKind.RADIO, WidgetKind.MENU}),
    Setting.LIVE_VIEW_ZOOM: _CHOICE_KINDS | {WidgetKind.RANGE},
    Setting.SHOTS_LEFT: _CHOICE_KINDS | {WidgetKind.RANGE},
    Setting.LONG_EXPOSURE_NR: _CHOICE_KINDS | {WidgetKind.TOGGLE},
    Setting.QUIET_SHUTTER: _CHOICE_KINDS | {WidgetKind.TOGGLE},
}
_WORTHLESS_WITHOUT_A_FIGURE = frozenset({Setting.EXPOSURE_COMPENSATION, Setting.SHOTS_LEFT, Setting.LIVE_VIEW_ZOOM})
"""A widget of the right name that never shows a figure is something else (compensation as an On/Off switch)."""


def by_name(widgets: Sequence[Widget]) -> dict[str, Widget]:
    """Index widgets by name. The first of a name wins: the driver can only set that one."""
    index: dict[str, Widget] = {}
    for widget in widgets:
        index.setdefault(widget.name, widget)
    return index


def choose(setting: Setting, widgets: Mapping[str, Widget]) -> Widget | None:
    """Widget that carries a setting: the first of the best rank, None where there is none at all."""
    kinds = _KINDS.get(setting, _CHOICE_KINDS)
    found = [widgets[name] for name in NAMES[setting] if name in widgets and widgets[name].kind in kinds]
    if setting in _WORTHLESS_WITHOUT_A_FIGURE:
        found = [widget for widget in found if _is_readable(setting, widget)]
    rank = _format_rank if setting is Setting.IMAGE_FORMAT else lambda widget: int(_is_readable(setting, widget))
    return max(found, key=rank, default=None)


def _is_readable(setting: Setting, widget: Widget) -> bool:
    if widget.kind in (WidgetKind.RANGE, WidgetKind.TOGGLE):
        return True
    read = parser_for(setting, widget.name)
    return any(read(text).kind is not ValueKind.UNKNOWN for text in (*widget.choices, widget.current_text))


def _format_rank(widget: Widget) -> int:
    read = parser_for(Setting.IMAGE_FORMAT, widget.name)
    formats = {read(text).word for text in widget.choices}
    offers_raw = ImageFormat.RAW in formats or ImageFormat.RAW_PLUS in formats
    if offers_raw:
        return 3 if widget.readonly is not True else 2
    return int(_is_readable(Setting.IMAGE_FORMAT, widget))


def is_battery_name(name: str) -> bool:
    """True for 'Battery Level' with its blank: the one widget name that the driver translates."""
    return " ".join(name.split()).casefold() in spellings(Word.BATTERY_LEVEL)
