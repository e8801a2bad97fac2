"""A RAW as the eye of the edge finder wants it: small, display-encoded, blue-green-red."""

import cv2
import numpy as np

from tethercap.pictures import F32Array, RawPicture, U8Array

_LUT_SIZE = 4096


def _encode_lut() -> U8Array:
    """Display encoding of 0..1 in steps of 1/4095, as long as a table of 16 bits has to be; sRGB (IEC 61966-2-1)."""
    linear = np.minimum(np.arange(65536) / (_LUT_SIZE - 1), 1.0)
    encoded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(encoded * 255), np.uint8)


_ENCODE = _encode_lut()
_ROWS_AT_ONCE = 128
"""Rows of cells taken apart at once, so that they stay in the processor's cache."""


def raw_planes(raw: RawPicture) -> F32Array:
    """Average each 2 × 2 cell of the mosaic to one linear pixel per colour.

    Returns
    -------
    ndarray
        Shape (3, height // 2, width // 2), float32, order red, green, blue; 0 = black,
        1 = saturation. Not white-balanced.
    """
    rows, columns = (side // 2 for side in raw.mosaic.shape)
    planes = np.empty((3, rows, columns), np.float32)
    for first in range(0, rows, _ROWS_AT_ONCE):
        last = min(first + _ROWS_AT_ONCE, rows)
        cells: list[list[tuple[np.ndarray, float]]] = [[], [], []]
        for row in (0, 1):
            # Copied in one piece and taken apart by OpenCV, which is quicker than steps of two.
            pairs = np.ascontiguousarray(raw.mosaic[2 * first + row : 2 * last : 2, : 2 * columns])
            for column, cell in enumerate(cv2.split(pairs.reshape(last - first, columns, 2))):
                cells[int(raw.pattern[row, column])].append((cell, float(raw.black[row, column])))
        for plane, of_colour in zip(planes, cells, strict=True):
            # A colour has one place in the cell or two; one place is both of its own two.
            (one, black), (other, other_black) = of_colour[0], of_colour[-1]
            scale, other_scale = 0.5 / (raw.white - black), 0.5 / (raw.white - other_black)
            offset = -black * scale - other_black * other_scale
            cv2.addWeighted(one, scale, other, other_scale, offset, plane[first:last], cv2.CV_32F)
    return planes


def raw_to_view(raw: RawPicture, reduction: int = 2, *, planes: F32Array | None = None) -> U8Array:
    """Render a RAW for the edge finder.

    Parameters
    ----------
    raw : RawPicture
    reduction : int
        2, 4 or 8 mosaic pixels to one pixel of the view along each side.
    planes : ndarray, optional
        What `raw_planes` gave, where it was asked already; not changed.

    Returns
    -------
    ndarray
        Shape (height // reduction, width // reduction, 3), uint8, display-encoded, blue-green-red. White-balanced
        with the file's own neutral and scaled so that the brightest 0.1 % come to 245, as a live view would show it.
    """
    colours = list(raw_planes(raw) if planes is None else planes)
    if reduction > 2:
        factor = reduction // 2
        height, width = (side // factor for side in colours[0].shape)
        whole = (colour[: height * factor, : width * factor] for colour in colours)
        colours = [np.asarray(cv2.resize(each, (width, height), interpolation=cv2.INTER_AREA)) for each in whole]
    multipliers = [float(multiplier) for multiplier in raw.daylight_multipliers]
    sample = np.stack([colour[::8, ::8] * times for colour, times in zip(colours, multipliers, strict=True)])
    top = float(np.percentile(sample.max(axis=0), 99.9))
    gain = 0.913 / top if top > 1e-4 else 1.0  # 0.913 linear is code 245
    encoded = []
    for colour, times in zip(colours, multipliers, strict=True):
        # Less a half, since OpenCV rounds: a step begins at its number.
        steps = cv2.addWeighted(colour, times * gain * (_LUT_SIZE - 1), colour, 0.0, -0.5, dtype=cv2.CV_16U)
        encoded.append(cv2.LUT(steps, _ENCODE))
    return np.asarray(cv2.merge(encoded[::-1]), np.uint8)
