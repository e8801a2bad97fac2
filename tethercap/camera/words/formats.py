"""Image formats in every maker's words, and how far their labels can be believed.

Two tables of the driver are known to be off by some rows. On Nikon bodies whose quality codes run past 7 a driver
without the body's own table prints the names of the older eight rows: its 'NEF (Raw)' is code 4, a JPEG there, and
RAW alone is code 7, printed as 'NEF+Fine'. The oldest drivers slipped the other way: their 'NEF (Raw)' is code 3,
TIFF, and RAW alone is code 4, printed as 'NEF+Basic'. The codes stand beside the names in the numbered widget 5004
(standard property CompressionSetting, ISO 15740), so slips are found by comparing, not by model.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from tethercap.camera.words.languages import folded, unknown_code
from tethercap.camera.words.widgets import Widget
from tethercap.exposure.image_formats import ImageFormat


def _words(listed: str) -> frozenset[str]:
    return frozenset(listed.split("|"))


_RAW_WORDS = frozenset({"raw", "nef", "rå", "crudo", "brut", "surová", "orf", "raf", "arw", "cr2", "cr3", "rw2", "dng"})
_RAW_ALONE = _words(
    "raw|nef|nef (raw)|nef (rå)|nef (brut)|nef (surowy)|nef (thô)|rå|crudo|brut|surová data ze snímače (raw)|rw2|dng|"
    "raw only|tylko raw|doar raw|лише raw|仅 raw"
)
_REDUCED_ALONE = re.compile(r"[cms]\s?(?:raw|rå)\d?")
_REDUCED_WORD = re.compile(r"[cms](?:raw|rå)\d?")
_SIZE_ALONE = re.compile(r"c?(?:l|m|s|s1|s2|s3)")
"""Newer EOS names of developed pictures: 'L', 'cL', 'S1'."""
_DEVELOPED = _words(
    "jpeg|jpg|fine|fein|standard|normal|basic|superfine|extra fine|light|economy|standard quality|fin|fina|fijn|dobra|"
    "精细|标准|ファイン|標準|común|extra fein|très fin|extra fin|extra fina|x.fine|std"
)
_NEF_FINE = _words(
    "nef+fine|nef + vysoká kvalita|nef+fin|nef+fein|nef et fin|nef + ファイン|nef+fijn|nef+dobra|nef+detaljerad|"
    "nef+tốt|nef (raw) + jpeg 精细"
)
_NEF_BASIC = _words(
    "nef+basic|nef + základní kvalita|nef+basis|nef et de base|nef+base|nef + 基本|nef+podstawowa|nef+bazic|"
    "nef+grundläggande|nef+основа|nef+cơ bản|nef (raw) + jpeg 基础"
)

_CODE_RAW_OF_8 = 4
_CODE_TIFF_OF_8 = 3
_CODE_RAW_OF_14 = 7
_LAST_CODE = 13


class LabelTrust(StrEnum):
    """How far a body's format labels can be believed."""

    OK = "ok"
    NONE = "none"
    """There is no format widget."""
    SHIFTED = "labels-shifted"
    """The body has 14 quality codes, the driver names 8: only the label of code 7 is used."""
    SHIFTED_OLD = "labels-shifted-old"
    """A museum driver whose names are one row early: only the label of code 4 is used."""
    DUPLICATE = "duplicate-label"
    """One label stands for two formats; what is set is sure, what is read is not."""
    UNKNOWN_CODES = "unknown-codes"
    """A compact whose codes are in no table: no label is believed."""


@dataclass(frozen=True, slots=True)
class FormatReading:
    """What the labels of one body's format widget mean."""

    trust: LabelTrust
    raw_alone: str | None
    """Text to send for one full RAW file a shot; None where there is none or it cannot be told."""
    raw_label: str | None
    """The label that claims to be RAW alone, believed or not."""
    with_jpeg: tuple[str, ...] = ()
    reduced: tuple[str, ...] = ()
    note: str = ""

    def format_of(self, text: str) -> ImageFormat | None:
        """Format behind a label of this body; None where that cannot be told."""
        if self.trust in (LabelTrust.SHIFTED, LabelTrust.SHIFTED_OLD):
            return ImageFormat.RAW if text == self.raw_alone else None
        if self.trust is LabelTrust.UNKNOWN_CODES:
            return None
        return label_format(text)


def label_format(text: str) -> ImageFormat | None:
    """Format a label speaks of, taken at its word; None where it speaks of none."""
    plain = folded(text)
    if plain in _RAW_ALONE:
        return ImageFormat.RAW
    if _REDUCED_ALONE.fullmatch(plain):
        return ImageFormat.REDUCED
    if unknown_code(text) is not None:
        return None
    tokens = re.findall(r"[^\s+&/,()]+", plain)
    if any(_REDUCED_WORD.fullmatch(token) for token in tokens):
        return ImageFormat.REDUCED_PLUS
    if any(token in _RAW_WORDS for token in tokens):
        # A compression said behind a lone RAW ('RAW compressed') still gives one file; a plus or a JPEG gives two.
        two_files = (
            "+" in plain or "&" in plain or " et " in plain or any(token in ("jpeg", "jpg", "heif") for token in tokens)
        )
        return ImageFormat.RAW_PLUS if two_files else None
    if "heif" in tokens or "hif" in tokens:
        return ImageFormat.HEIF
    if "tiff" in tokens:
        return ImageFormat.TIFF
    if plain in _DEVELOPED or _SIZE_ALONE.fullmatch(plain) or any(token in ("jpeg", "jpg") for token in tokens):
        return ImageFormat.JPEG
    return None


def read_formats(widget: Widget, code_widget: Widget | None) -> FormatReading:
    """Sort a format widget's labels and judge whether they can be believed.

    Parameters
    ----------
    widget : Widget
        The widget with the labels.
    code_widget : Widget or None
        The numbered widget 5004, whose choices are the codes behind the labels, in the same order.
    """
    labels = widget.choices
    raw_label = next((label for label in labels if label_format(label) is ImageFormat.RAW), None)
    with_jpeg = tuple(dict.fromkeys(label for label in labels if label_format(label) is ImageFormat.RAW_PLUS))
    reduced = tuple(dict.fromkeys(label for label in labels if label_format(label) is ImageFormat.REDUCED))
    trust, raw_alone = _judge(widget, _codes(code_widget), raw_label, with_jpeg)
    return FormatReading(trust, raw_alone, raw_label, with_jpeg, reduced, _NOTES.get(trust, ""))


_NOTES = {
    LabelTrust.SHIFTED: (
        "The driver has no table for this body and its format names are off: “NEF+Fine” stands for RAW alone, "
        "“NEF (Raw)” for a JPEG. The first file will show what comes."
    ),
    LabelTrust.SHIFTED_OLD: (
        "This dump comes from a very old driver whose format names are one row off. "
        "The first file will show what comes."
    ),
    LabelTrust.DUPLICATE: (
        "One format name stands twice in this camera's list. Set it, and the first shot will show "
        "whether one file comes or two."
    ),
    LabelTrust.UNKNOWN_CODES: "The driver does not know this camera's format codes; no RAW can be promised.",
}


def _judge(
    widget: Widget, codes: Sequence[int], raw_label: str | None, with_jpeg: Sequence[str]
) -> tuple[LabelTrust, str | None]:
    labels = widget.choices
    if not any("nef" in folded(label) for label in labels):
        unnamed = [label for label in labels if unknown_code(label) is not None]
        if widget.name == "imgquality" and unnamed and len(unnamed) == len(labels):
            return LabelTrust.UNKNOWN_CODES, None
        twice = raw_label is not None and _stands_twice(labels, raw_label)
        return (LabelTrust.DUPLICATE if twice else LabelTrust.OK), raw_label
    if _has_14_codes(labels, codes):
        if raw_label is not None and _code_of(raw_label, labels, codes) == _CODE_RAW_OF_14:
            return LabelTrust.OK, raw_label
        return LabelTrust.SHIFTED, _label_of(_CODE_RAW_OF_14, labels, codes, _NEF_FINE)
    if any((code := unknown_code(label)) is not None and code > _CODE_RAW_OF_14 for label in labels):
        return LabelTrust.UNKNOWN_CODES, None
    if _is_one_row_early(labels, codes, raw_label, with_jpeg):
        return LabelTrust.SHIFTED_OLD, _label_of(_CODE_RAW_OF_8, labels, codes, _NEF_BASIC)
    return LabelTrust.OK, raw_label


def _stands_twice(labels: Sequence[str], raw_label: str) -> bool:
    # With the short EOS names 'RAW + L' is never printed: the driver writes 'RAW' for it as well.
    short_names_hide_one = "RAW + M" in labels and "RAW + L" not in labels
    return labels.count(raw_label) > 1 or short_names_hide_one


def _has_14_codes(labels: Sequence[str], codes: Sequence[int]) -> bool:
    unnamed = {unknown_code(label) for label in labels}
    by_label = _CODE_RAW_OF_14 + 1 in unnamed
    by_code = any(_CODE_RAW_OF_14 < code <= _LAST_CODE for code in codes) and max(codes) <= _LAST_CODE
    return by_label or (by_code and {0, 1, 2} <= set(codes))


def _is_one_row_early(
    labels: Sequence[str], codes: Sequence[int], raw_label: str | None, with_jpeg: Sequence[str]
) -> bool:
    if raw_label is not None and _code_of(raw_label, labels, codes) is not None:
        return _code_of(raw_label, labels, codes) == _CODE_TIFF_OF_8
    tiff = next((index for index, label in enumerate(labels) if "tiff" in folded(label)), None)
    first_nef = next(index for index, label in enumerate(labels) if "nef" in folded(label))
    # No body offers RAW with a JPEG but not RAW alone, and the true table has TIFF before every NEF.
    return (tiff is not None and tiff > first_nef) or (raw_label is None and len(with_jpeg) >= 2)


def _codes(code_widget: Widget | None) -> tuple[int, ...]:
    if code_widget is None or not all(choice.strip().isdecimal() for choice in code_widget.choices):
        return ()
    return tuple(int(choice) for choice in code_widget.choices)


def _code_of(label: str, labels: Sequence[str], codes: Sequence[int]) -> int | None:
    # Both lists come from one property and keep its order; a label list may be cut at the end, never in the middle.
    return codes[labels.index(label)] if len(codes) >= len(labels) else None


def _label_of(code: int, labels: Sequence[str], codes: Sequence[int], named: frozenset[str]) -> str | None:
    if len(codes) >= len(labels) and code in codes[: len(labels)]:
        return labels[codes.index(code)]
    return next((label for label in labels if folded(label) in named), None)
