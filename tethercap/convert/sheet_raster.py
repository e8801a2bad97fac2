"""A page of a contact sheet drawn as pixels."""

from collections.abc import Sequence

import cv2
import numpy as np

from tethercap.convert.sheet import Box, Ink, Page, Shown, Words
from tethercap.pictures import U8Array

_MM_PER_INCH = 25.4
_REGULAR, _BOLD = 400, 640


def draw_page(page: Page, pictures: Sequence[U8Array], dpi: float) -> U8Array:
    """Draw a page.

    Parameters
    ----------
    page : Page
    pictures : sequence of ndarray
        Those that the page speaks of, shape (height, width, 3), uint8, sRGB, blue-green-red.
    dpi : float
        Pixels per inch of paper.

    Returns
    -------
    ndarray
        Shape (height, width, 3), uint8, sRGB, blue-green-red.
    """
    scale = dpi / _MM_PER_INCH
    sheet = np.empty((round(page.size.height_mm * scale), round(page.size.width_mm * scale), 3), np.uint8)
    sheet[:] = page.background[::-1]
    fonts = cv2.FontFace("sans")
    for item in page.items:
        if isinstance(item, Box):
            _draw_box(sheet, item, scale)
        elif isinstance(item, Words):
            _draw_words(sheet, item, scale, fonts)
        else:
            _draw_picture(sheet, item, pictures[item.picture], scale)
    return sheet


def draw_words(words: Words, dpi: float) -> tuple[U8Array, int]:
    """Draw a line of text alone, on nothing.

    Returns
    -------
    ndarray
        Shape (height, width, 4), uint8, blue-green-red and opacity.
    int
        Row of the baseline.
    """
    size = max(round(words.size_mm * dpi / _MM_PER_INCH * 0.72), 5)
    weight = _BOLD if words.is_bold else _REGULAR
    font = cv2.FontFace("sans")
    left, top, width, height = cv2.getTextSize((0, 0), words.text, (0, 0), font, size, weight)
    rim = size // 2
    opacity = np.zeros((height + 2 * rim, width + 2 * rim), np.uint8)
    cv2.putText(opacity, words.text, (rim - left, rim - top), (255,), font, size, weight)
    colour = np.empty((*opacity.shape, 3), np.uint8)
    colour[:] = _bgr(words.ink)
    kept = slice(rim, rim + width)
    return np.dstack([colour, opacity])[:, kept], rim - top


def _bgr(ink: Ink) -> tuple[int, int, int]:
    return ink[2], ink[1], ink[0]


def _draw_box(sheet: U8Array, box: Box, scale: float) -> None:
    left, top = round(box.x_mm * scale), round(box.y_mm * scale)
    right, bottom = round((box.x_mm + box.width_mm) * scale) - 1, round((box.y_mm + box.height_mm) * scale) - 1
    if box.fill is not None:
        cv2.rectangle(sheet, (left, top), (right, bottom), _bgr(box.fill), cv2.FILLED)
    if box.line is not None:
        cv2.rectangle(sheet, (left, top), (right, bottom), _bgr(box.line), max(round(box.line_mm * scale), 1))


def _draw_words(sheet: U8Array, words: Words, scale: float, font: cv2.FontFace) -> None:
    size = max(round(words.size_mm * scale * 0.72), 5)
    weight = _BOLD if words.is_bold else _REGULAR
    place = (round(words.x_mm * scale), round(words.baseline_mm * scale))
    whole = (0, 0, sheet.shape[1], sheet.shape[0])
    if words.align == "right":
        left, _, width, _ = cv2.getTextSize(whole[2:], words.text, (0, 0), font, size, weight)
        place = (place[0] - left - width, place[1])
    cv2.putText(sheet, words.text, place, _bgr(words.ink), font, size, weight)


def _draw_picture(sheet: U8Array, shown: Shown, picture: U8Array, scale: float) -> None:
    colour = picture if picture.ndim == 3 else np.asarray(cv2.cvtColor(picture, cv2.COLOR_GRAY2BGR), np.uint8)
    left, top = round(shown.x_mm * scale), round(shown.y_mm * scale)
    right, bottom = round((shown.x_mm + shown.width_mm) * scale), round((shown.y_mm + shown.height_mm) * scale)
    factor = min((right - left) / colour.shape[1], (bottom - top) / colour.shape[0])
    fitted = (
        min(max(round(colour.shape[1] * factor), 1), right - left),
        min(max(round(colour.shape[0] * factor), 1), bottom - top),
    )
    small = cv2.resize(colour, fitted, interpolation=cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC)
    x, y = left + (right - left - fitted[0]) // 2, top + (bottom - top - fitted[1]) // 2
    sheet[y : y + fitted[1], x : x + fitted[0]] = small
