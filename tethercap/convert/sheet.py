"""The contact sheet: a roll on one page, in strips as it was cut, with the numbers on the film's edge."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from tethercap.pictures import U8Array

_PAPER = (24, 22, 21)
_RULE = (70, 66, 62)
_INK = (196, 206, 214)
_QUIET_INK = (140, 146, 150)
_FONT = cv2.FONT_HERSHEY_SIMPLEX


@dataclass(frozen=True, slots=True, eq=False)
class SheetFrame:
    """One frame of a sheet."""

    number: str
    """As printed on the film's edge."""
    picture_bgr: U8Array | None
    """The proof, any size; None where there is no picture (skipped, blank, still open)."""
    note: str = ""
    """A word on it ("skipped", "blank", "forced"); shown where it is given."""
    picked: bool = False


def lay_out_sheet(
    frames: Sequence[SheetFrame],
    *,
    title: str,
    subtitle: str = "",
    per_strip: int = 6,
    frame_width_px: int = 480,
) -> U8Array:
    """Lay a roll out in strips, in the order given.

    Parameters
    ----------
    frames : sequence of SheetFrame
        In the film's order.
    title, subtitle : str
        Head of the sheet.
    per_strip : int
        Frames side by side.
    frame_width_px : int
        Width given to a frame.

    Returns
    -------
    ndarray
        Shape (height, width, 3), uint8, sRGB, blue-green-red.
    """
    unit = frame_width_px / 480
    gap, edge, head = round(14 * unit), round(44 * unit), round(120 * unit)
    frame_height_px = _frame_height(frames, frame_width_px)
    strips = [frames[first : first + per_strip] for first in range(0, max(len(frames), 1), per_strip)]
    strip_height = frame_height_px + 2 * edge
    width = per_strip * (frame_width_px + gap) + 3 * gap
    height = head + len(strips) * (strip_height + 2 * gap) + 2 * gap
    sheet = np.empty((height, width, 3), np.uint8)
    sheet[:] = _PAPER
    _write(sheet, title, (2 * gap, round(56 * unit)), 1.15 * unit, _INK)
    _write(sheet, subtitle, (2 * gap, round(96 * unit)), 0.62 * unit, _QUIET_INK)
    for row, strip in enumerate(strips):
        top = head + row * (strip_height + 2 * gap)
        _draw_strip(sheet, strip, (gap, top), frame_width_px, frame_height_px, unit)
    return sheet


def _frame_height(frames: Sequence[SheetFrame], frame_width_px: int) -> int:
    shapes = [frame.picture_bgr.shape for frame in frames if frame.picture_bgr is not None]
    ratios = [min(height / width, width / height) for height, width, *_ in shapes]
    return round(frame_width_px * float(np.median(ratios))) if ratios else round(frame_width_px * 2 / 3)


def _draw_strip(
    sheet: U8Array, strip: Sequence[SheetFrame], place: tuple[int, int], width: int, height: int, unit: float
) -> None:
    gap, edge = round(14 * unit), round(44 * unit)
    left, top = place
    right = left + len(strip) * (width + gap) + gap
    cv2.rectangle(sheet, (left, top), (right, top + height + 2 * edge), _RULE, max(round(unit), 1))
    for column, frame in enumerate(strip):
        x = left + gap + column * (width + gap)
        _draw_picture(sheet, frame, (x, top + edge), (width, height), unit)
        baseline = top + edge + height + round(30 * unit)
        _write(sheet, frame.number, (x + round(4 * unit), baseline), 0.8 * unit, _INK)
        if frame.note:
            length = cv2.getTextSize(frame.note, _FONT, 0.55 * unit, max(round(1.4 * unit), 1))[0][0]
            _write(sheet, frame.note, (x + width - length - round(4 * unit), baseline), 0.55 * unit, _QUIET_INK)
        if frame.picked:
            cv2.line(sheet, (x, top + edge - 6), (x + width, top + edge - 6), _INK, max(round(4 * unit), 1))


def _draw_picture(
    sheet: U8Array, frame: SheetFrame, place: tuple[int, int], size: tuple[int, int], unit: float
) -> None:
    (x, y), (width, height) = place, size
    if frame.picture_bgr is None:
        cv2.rectangle(sheet, (x, y), (x + width, y + height), _RULE, max(round(unit), 1))
        return
    picture = frame.picture_bgr if frame.picture_bgr.ndim == 3 else cv2.cvtColor(frame.picture_bgr, cv2.COLOR_GRAY2BGR)
    factor = min(width / picture.shape[1], height / picture.shape[0])
    fitted = (max(round(picture.shape[1] * factor), 1), max(round(picture.shape[0] * factor), 1))
    small = cv2.resize(picture, fitted, interpolation=cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC)
    left, top = x + (width - fitted[0]) // 2, y + (height - fitted[1]) // 2
    sheet[top : top + fitted[1], left : left + fitted[0]] = small


def _write(sheet: U8Array, text: str, place: tuple[int, int], scale: float, ink: tuple[int, int, int]) -> None:
    cv2.putText(sheet, text, place, _FONT, scale, ink, max(round(1.6 * scale), 1), cv2.LINE_AA)
