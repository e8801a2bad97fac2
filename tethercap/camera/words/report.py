"""Says in sentences how far a camera can be controlled as it stands, and what to turn.

Names of menu entries are the makers' own, from memory: menus differ between bodies, so a sentence says what to look
for.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from tethercap.camera.words.formats import FormatReading, LabelTrust
from tethercap.camera.words.languages import folded
from tethercap.camera.words.makers import Maker
from tethercap.camera.words.understanding import Control, FocusDrive
from tethercap.camera.words.widgets import Widget
from tethercap.exposure.settings import Setting, SettingState, ValueKind

_EXPOSURE = (Setting.ISO, Setting.APERTURE, Setting.SHUTTER)
_SUBJECT = {Setting.ISO: "the sensitivity", Setting.APERTURE: "the aperture", Setting.SHUTTER: "the exposure time"}

_USB_MODE: dict[Maker, str] = {
    Maker.SONY: "In its USB menu choose the PC remote connection (not mass storage or MTP), then plug it in again.",
    Maker.FUJIFILM: "In its connection menu choose USB tether shooting (not card reader), then plug it in again.",
    Maker.OLYMPUS: "When it asks on its screen how it is connected, choose control by the computer (not storage).",
    Maker.PANASONIC: "In its USB menu choose tethering (not storage), then plug it in again.",
    Maker.RICOH: "In its USB menu choose PTP or tethered shooting (not mass storage), then plug it in again.",
    Maker.LEICA: "In its USB menu choose PTP (not mass storage), then plug it in again.",
    Maker.NIKON: "In its USB menu choose PTP, switch playback and Wi-Fi off, then plug it in again.",
    Maker.CANON: "Set it to shooting, not playback; switch its Wi-Fi off, then plug it in again.",
    Maker.OTHER: "Look in its USB menu for PTP, tethering or remote control instead of storage, then plug it in again.",
}
"""What to look for when a camera shows no settings: most likely its USB mode is wrong."""


@dataclass(frozen=True, slots=True)
class Report:
    """How far a camera can be controlled."""

    control: Control
    why: tuple[str, ...]
    notes: tuple[str, ...]
    program: str | None
    manual_lens: bool


def report(
    maker: Maker,
    states: Mapping[Setting, SettingState],
    formats: FormatReading | None,
    focus: FocusDrive | None,
    *,
    lens_talks: bool = False,
) -> Report:
    """Judge what was found.

    Parameters
    ----------
    maker : Maker
    states : mapping of Setting to SettingState
    formats : FormatReading or None
        None where there is no format widget.
    focus : FocusDrive or None
    lens_talks : bool
        An f-number was found under a property number, so the lens has contacts.
    """
    program = states[Setting.PROGRAM].value.word if Setting.PROGRAM in states else None
    offers_raw = formats is not None and formats.raw_alone is not None
    if not any(setting in states for setting in _EXPOSURE) and not offers_raw:
        found = "The camera is there, but it shows no sensitivity, exposure time or format. "
        last = " If nothing changes, this body cannot be controlled by a computer."
        return Report(Control.NONE, (found + _USB_MODE[maker] + last,), (), program, manual_lens=False)
    manual_lens = not lens_talks and _is_manual_lens(states.get(Setting.APERTURE), program)
    turn = _turn_to_manual(maker, program)
    sentences = [_exposure_sentence(setting, states.get(setting), program, turn) for setting in _EXPOSURE]
    if manual_lens:
        sentences[_EXPOSURE.index(Setting.APERTURE)] = ""
    why = [sentence for sentence in sentences if sentence]
    why.extend(_format_sentences(states.get(Setting.IMAGE_FORMAT), formats))
    notes = _notes(states, formats, focus, manual_lens)
    return Report(Control.LIMITED if why else Control.FULL, tuple(why), notes, program, manual_lens)


_LOSSY_PACKING = frozenset({"lossy", "compressed", "high efficiency", "high efficiency*"})


def packing_note(packing: Widget | None) -> str:
    """Sentence where RAW files lose something while they are packed; empty where they do not, or it cannot be told."""
    if packing is None or folded(packing.current_text) not in _LOSSY_PACKING:
        return ""
    return (
        f"The camera packs RAW files with loss (“{packing.current_text}”): choose lossless or uncompressed in its menu."
    )


def setting_note(state: SettingState, maker: Maker, told: Report) -> str:
    """Sentence for one setting that cannot be set now; empty where there is nothing to say."""
    if state.setting in _EXPOSURE:
        if state.setting is Setting.APERTURE and told.manual_lens:
            return _MANUAL_LENS
        return _exposure_sentence(state.setting, state, told.program, _turn_to_manual(maker, told.program))
    if state.setting is Setting.PROGRAM and not state.settable:
        return "The mode dial on the camera decides."
    if state.setting is Setting.FOCUS_MODE and not state.settable:
        return "The focus switch on the lens or body decides."
    return ""


_MANUAL_LENS = (
    "The lens tells the camera no aperture: set it on the lens. This is normal for adapted and manual lenses."
)


def _is_manual_lens(aperture: SettingState | None, program: str | None) -> bool:
    if aperture is None or any(value.number is not None for value in (aperture.value, *aperture.choices)):
        # A list without a current value: the table is the driver's own, and the lens still says nothing.
        decided_by_lens = program in ("manual", "aperture priority")
        return aperture is not None and aperture.value.kind is ValueKind.UNKNOWN and decided_by_lens
    return aperture.value.kind is ValueKind.UNKNOWN and program not in ("program", "shutter priority", "automatic")


def _exposure_sentence(setting: Setting, state: SettingState | None, program: str | None, turn: str) -> str:
    subject = _SUBJECT[setting]
    if state is None:
        return f"The camera does not show {subject} now. {turn}"
    if state.settable:
        return ""
    if setting is Setting.ISO:
        return f"{subject.capitalize()} cannot be set from here now: leave scene modes, or set it on the camera."
    if program == "manual":
        return f"{subject.capitalize()} cannot be set from here: set it on the camera or the lens."
    return f"{subject.capitalize()} follows the mode dial. {turn}"


def _turn_to_manual(maker: Maker, program: str | None) -> str:
    if program == "manual":
        return "The dial stands at M already: set it on the camera, and wake it if it sleeps."
    if maker is Maker.FUJIFILM:
        return "Take the aperture ring and the dials off A, or turn the mode dial to M."
    return "Turn the dial to M."


def _format_sentences(state: SettingState | None, formats: FormatReading | None) -> list[str]:
    if formats is None or formats.trust is LabelTrust.NONE:
        return ["The file format cannot be set from here: choose RAW in the camera's menu."]
    if formats.raw_alone is None:
        return [formats.note or "The camera offers no RAW now: leave scene, automatic and movie modes, or it has none."]
    if state is not None and not state.settable:
        return ["The file format is locked: choose RAW in the camera's menu."]
    return []


def _notes(
    states: Mapping[Setting, SettingState], formats: FormatReading | None, focus: FocusDrive | None, manual_lens: bool
) -> tuple[str, ...]:
    notes = []
    if manual_lens:
        notes.append(_MANUAL_LENS)
    aperture = states.get(Setting.APERTURE)
    if aperture is not None and aperture.settable and not aperture.choices:
        notes.append("The camera names no list of apertures: what is set is read back.")
    if formats is not None and formats.raw_alone is not None and formats.note:
        notes.append(formats.note)
    if Setting.LIVE_VIEW not in states:
        notes.append("The camera has no switch for live view. That is normal; live pictures are simply asked for.")
    if focus is None:
        notes.append("The lens cannot be driven from here: focus by hand.")
    return tuple(notes)
