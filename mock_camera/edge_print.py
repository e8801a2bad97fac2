"""What the factory printed on the film's edges: frame numbers, an invented name, and the DX edge bar code of 135 film.

Bar code: ISO 1007 clause 7 as read in public encoders: clock track towards the perforations, data track along the edge,
bottom of the film as seen from the base side; 31 modules a half frame.  Module length 0.458 mm and the tracks' places
were measured on a photograph of a film; no standard was at hand.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from mock_camera.film_stock import FilmKind, FloatPicture, transmittance

if TYPE_CHECKING:
    from mock_camera.strip_scene import Strip

FILM_NAME = "TESTFILM 200"
"""An invented name."""
PRODUCT = (101, 9)
"""Invented product number, parts 1 and 2."""
CLOCK_31 = "1111101010101010101010101010111"
MODULE_MM = 0.458
DATA_TRACK_MM = (0.0, 1.0)
CLOCK_TRACK_MM = (1.0, 2.3)
"""Distance from the film's bottom edge."""
LETTER_MM = 1.15


def dx_bits(part1: int, part2: int, frame: int, half: bool) -> str:
    """Data track of the long DX edge code, left to right, '1' = dark on a negative.

    Parameters
    ----------
    part1 : int
        1 to 127.
    part2 : int
        0 to 15.
    frame : int
        0 to 63.
    half : bool
        True for the 'A' position, half a frame further on.

    Raises
    ------
    ValueError
        A number is out of its range.
    """
    if not (1 <= part1 <= 127 and 0 <= part2 <= 15 and 0 <= frame <= 63):
        raise ValueError(f"no DX edge code holds {part1}-{part2}/{frame}: parts are 1-127 and 0-15, frame is 0-63")
    payload = f"{part1:07b}0{part2:04b}{frame:06b}{int(half)}0"
    parity = payload.count("1") % 2
    return f"101010{payload}{parity}0101"


def draw(picture: FloatPicture, strip: Strip, x: FloatPicture, y: FloatPicture) -> None:
    """Print the edges into a canvas of transmittance; does nothing where the canvas does not reach them."""
    ink = np.zeros(picture.shape[:2], np.uint8)
    if strip.film_format.perforated:
        _print_135(ink, strip, x, y)
    else:
        _print_120(ink, strip, x, y)
    rows = np.flatnonzero(ink.any(axis=1))
    if rows.size:
        band = slice(int(rows[0]), int(rows[-1]) + 1)
        alpha = (ink[band].astype(np.float32) / np.float32(255.0))[:, :, np.newaxis]
        picture[band] += alpha * (_exposed(strip.kind) - picture[band])


def _exposed(kind: FilmKind) -> NDArray[np.float32]:
    """Transmittance of printed (strongly exposed) film: dark on a negative, amber on a slide."""
    light = np.array([[[1.6, 1.1, 0.35]]], np.float32)
    return np.asarray(transmittance(light, kind)[0, 0], np.float32)


def _print_135(ink: NDArray[np.uint8], strip: Strip, x: FloatPicture, y: FloatPicture) -> None:
    half_width = strip.film_format.film_width_mm / 2
    for step, (place, label, is_half) in enumerate(_half_frames(strip)):
        letters = label + ("A" if is_half else "")
        _text(ink, x, y, place + 15.4, half_width - 1.0, letters)
        _text(ink, x, y, place, -half_width + 1.0, letters if step % 2 == 0 else FILM_NAME)
        if label.isdigit() and int(label) <= 61:
            _bars(ink, x, y, place, half_width, CLOCK_31, CLOCK_TRACK_MM)
            _bars(ink, x, y, place, half_width, dx_bits(*PRODUCT, int(label), is_half), DATA_TRACK_MM)


def _half_frames(strip: Strip) -> list[tuple[float, str, bool]]:
    """Places along the film (mm), number and half flag of what the factory printed every 19 mm.

    The print does not know where the camera put its frames: it only starts near the first one.
    """
    first = strip.frames[0]
    start = first.x_mm - 9.0
    number = int(first.label) if first.label.isdigit() else 1
    per_number = 38.0
    count = math.ceil(strip.length_mm / per_number)
    # Two codes a frame, 18.4 and 19.6 mm apart as measured on film.
    return [
        (start + n * per_number + (18.4 if half else 0.0), str(number + n), half)
        for n in range(count)
        for half in (False, True)
    ]


def _print_120(ink: NDArray[np.uint8], strip: Strip, x: FloatPicture, y: FloatPicture) -> None:
    half_width = strip.film_format.film_width_mm / 2
    for frame in strip.frames:
        _text(ink, x, y, frame.x_mm, half_width - 1.4, frame.label)
        _text(ink, x, y, frame.x_mm - 12.0, -half_width + 1.4, FILM_NAME)


def _columns(x: FloatPicture) -> tuple[float, float]:
    left, step = float(x[0, 0]), float(x[0, 1] - x[0, 0])
    return left, 1.0 / step


def _text(
    ink: NDArray[np.uint8], x: FloatPicture, y: FloatPicture, left_mm: float, middle_mm: float, text: str
) -> None:
    (x0, px_per_mm), y0 = _columns(x), float(y[0, 0])
    height = LETTER_MM * px_per_mm
    row = (middle_mm - y0) * px_per_mm
    if not -height < row < ink.shape[0] + height:
        return
    # The plain vector letters are 21 units high at scale 1.
    size, thick = height / 21.0, max(1, round(0.17 * px_per_mm))
    corner = round((left_mm - x0) * px_per_mm), round(row + height / 2)
    cv2.putText(ink, text, corner, cv2.FONT_HERSHEY_SIMPLEX, size, 255, thick, cv2.LINE_AA)


def _bars(
    ink: NDArray[np.uint8], x: FloatPicture, y: FloatPicture, left_mm: float, edge_mm: float, bits: str,
    track_mm: tuple[float, float],
) -> None:  # fmt: skip
    (x0, px_per_mm), y0 = _columns(x), float(y[0, 0])
    rows = [(edge_mm - distance - y0) * px_per_mm for distance in track_mm]
    if min(rows) > ink.shape[0] or max(rows) < 0:
        return
    shift = 4
    for index, bit in enumerate(bits):
        if bit == "1":
            begin = (left_mm + index * MODULE_MM - x0) * px_per_mm
            end = begin + MODULE_MM * px_per_mm
            box = np.array([[begin, rows[1]], [end, rows[1]], [end, rows[0]], [begin, rows[0]]])
            points = np.round(box * 2**shift).astype(np.int32).reshape(-1, 1, 2)
            cv2.fillPoly(ink, [points], 255, cv2.LINE_AA, shift)
