"""An understanding as plain JSON data: the form in which answers for many cameras are compared."""

from collections.abc import Callable, Sequence

from tethercap.camera.words.dump import Dump
from tethercap.camera.words.formats import LabelTrust
from tethercap.camera.words.languages import Word, means
from tethercap.camera.words.understanding import Control, NumberedReading, Understanding
from tethercap.camera.words.widgets import WidgetKind
from tethercap.exposure.settings import Setting, SettingState, Value, ValueKind
from tethercap.exposure.stops import distinct

Answer = dict[str, object]
_LEGACY_NAMES = (
    "exptime", "imgquality", "canonimgquality", "eosviewfinder", "battery", "time", "exposurebiascompensation",
    "nikon-shutterspeed",
)  # fmt: skip


def answer(understanding: Understanding, dump: Dump) -> Answer:
    """Put an understanding into plain data.

    Parameters
    ----------
    understanding : Understanding
    dump : Dump
        What it was understood from.

    Returns
    -------
    dict
        Keys `iso_`, `aperture_`, `shutter_`, `raw_`, `target_`, `focus_`, `liveview_`, `battery_`; numbers, texts of
        the camera, lists and None. `settable` means: from a list.
    """
    return {
        "file": dump.file,
        "manufacturer": dump.make,
        "model": understanding.model or dump.model,
        "legacy_names": [widget.name for widget in dump.widgets if widget.name in _LEGACY_NAMES],
        **_iso(understanding),
        **_aperture(understanding),
        **_shutter(understanding),
        **_raw(understanding),
        **_target(understanding),
        **_focus(understanding),
        "liveview_widget": understanding.widget_name(Setting.LIVE_VIEW),
        **_battery(understanding),
        "fallback": {_SHORT[setting]: _numbered(reading) for setting, reading in understanding.numbered.items()},
        "trigger": can_trigger(dump.capture),
        "usable": _usable(understanding),
        "report": str(understanding.control),
        "why": list(understanding.why),
        "notes": [*understanding.notes, *dump.notes],
    }


_SHORT = {Setting.ISO: "iso", Setting.APERTURE: "aperture", Setting.SHUTTER: "shutter"}


def _figures(state: SettingState | None) -> list[float]:
    return list(distinct(value.number for value in state.choices if value.number is not None)) if state else []


def _texts(state: SettingState | None, wanted: Callable[[Value], bool]) -> list[str]:
    return list(dict.fromkeys(value.text for value in state.choices if wanted(value))) if state else []


def _current(state: SettingState | None) -> float | str | None:
    if state is None:
        return None
    value = state.value
    return value.number if value.number is not None else value.name


def _is_unknown(value: Value) -> bool:
    return value.kind is ValueKind.UNKNOWN


def _is_auto(value: Value) -> bool:
    return value.kind is ValueKind.AUTO


def _is_no_figure(value: Value) -> bool:
    return value.number is None


def _settable(state: SettingState | None) -> bool:
    return state is not None and state.settable and bool(state.choices)


def _iso(understanding: Understanding) -> Answer:
    state = understanding.states.get(Setting.ISO)
    base = understanding.base_iso
    return {
        "iso_widget": understanding.widget_name(Setting.ISO),
        "iso_values": _figures(state),
        "iso_auto": _texts(state, _is_auto),
        "iso_unusable": _texts(state, _is_unknown),
        "iso_current": _current(state),
        "iso_settable": _settable(state),
        "iso_base": base.iso if base else None,
        "iso_base_certain": base.certain if base else False,
    }


def _aperture(understanding: Understanding) -> Answer:
    state = understanding.states.get(Setting.APERTURE)
    carrier = understanding.carriers.get(Setting.APERTURE)
    kind = None if carrier is None else "range" if carrier.kind is WidgetKind.RANGE else "choices"
    current = _current(state)
    return {
        "aperture_widget": understanding.widget_name(Setting.APERTURE),
        "aperture_kind": kind,
        "aperture_values": _figures(state),
        "aperture_unusable": _texts(state, _is_no_figure),
        "aperture_current": current if isinstance(current, float) else None,
        "aperture_settable": _settable(state),
        "manual_lens": understanding.manual_lens,
    }


def _shutter(understanding: Understanding) -> Answer:
    state = understanding.states.get(Setting.SHUTTER)
    special: dict[str, list[str]] = {}
    for value in state.choices if state else ():
        named = value.name
        if value.number is None and named is not None and value.text not in special.setdefault(named, []):
            special[named].append(value.text)
    return {
        "shutter_widget": understanding.widget_name(Setting.SHUTTER),
        "shutter_values": _figures(state),
        "shutter_special": special,
        "shutter_unusable": _texts(state, _is_unknown),
        "shutter_current": _current(state),
        "shutter_settable": _settable(state),
    }


def _raw(understanding: Understanding) -> Answer:
    formats = understanding.formats
    state = understanding.states.get(Setting.IMAGE_FORMAT)
    alone = formats.raw_alone if formats else None
    return {
        "raw_widget": understanding.widget_name(Setting.IMAGE_FORMAT),
        "raw_only": alone,
        "raw_plus": list(formats.with_jpeg) if formats else [],
        "raw_reduced": list(formats.reduced) if formats else [],
        "raw_trust": str(formats.trust if formats else LabelTrust.NONE),
        "raw_true_choice": alone,
        "raw_settable": alone is not None and state is not None and state.settable,
    }


def _target(understanding: Understanding) -> Answer:
    state = understanding.states.get(Setting.CAPTURE_TARGET)
    by_word = {value.word: value.text for value in reversed(state.choices) if value.word} if state else {}
    return {
        "target_widget": understanding.widget_name(Setting.CAPTURE_TARGET),
        "target_card": by_word.get("card"),
        "target_ram": by_word.get("memory"),
        "target_both": by_word.get("card+memory"),
    }


def _focus(understanding: Understanding) -> Answer:
    focus = understanding.focus
    return {
        "focus_drive": focus is not None,
        "focus_widget": focus.widget if focus else None,
        "focus_kind": str(focus.kind) if focus else None,
    }


def _battery(understanding: Understanding) -> Answer:
    state = understanding.states.get(Setting.BATTERY)
    name = understanding.widget_name(Setting.BATTERY)
    percent = state.value.number if state else None
    return {
        "battery_percent": None if percent is None else round(percent),
        "battery_widget": name,
        "battery_numbered": name is not None and not means(name, Word.BATTERY_LEVEL) and not name.startswith("battery"),
    }


def _numbered(reading: NumberedReading) -> Answer:
    return {
        "widget": reading.widget,
        "encoding": reading.encoding,
        "values": list(reading.values),
        "auto": list(reading.auto),
        "current": reading.current,
    }


def can_trigger(capture: str) -> bool | None:
    """What the driver's summary line says about capture; None where there is no such line."""
    named = [part.strip() for part in capture.split(",") if part.strip()]
    if not named:
        return None
    return any(not part.casefold().startswith(("no ", "keine ")) and "open" not in part.casefold() for part in named)


def _usable(understanding: Understanding) -> str:
    exposure = (Setting.ISO, Setting.APERTURE, Setting.SHUTTER)
    has: Sequence[bool] = [setting in understanding.states for setting in exposure]
    raw = understanding.formats is not None and bool(understanding.formats.raw_label or understanding.formats.raw_alone)
    if all(has) and raw:
        return "full"
    other = (Setting.IMAGE_FORMAT, Setting.LIVE_VIEW, Setting.FOCUS_DRIVE)
    some = any(has) or any(setting in understanding.states for setting in other)
    return "partial" if some or understanding.control is not Control.NONE else "none"
