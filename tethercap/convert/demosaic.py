"""Colour at every pixel of a mosaic whose channels are in balance, by linear filters.

Malvar, He and Cutler, "High-quality linear interpolation for demosaicing of Bayer-patterned color images", ICASSP
2004: 5 x 5 filters that add the second derivative of the known colour to the mean of the wanted one. They hold only
where a grey has the same value in all channels, which density over the film's base has, and raw counts through an
orange mask have not.
"""

import cv2
import numpy as np

from tethercap.pictures import F32Array, U8Array

MARGIN_PX = 8
"""Rows beside a band that must be there for its own rows to come out as in the whole picture (the filters need 2)."""
_GREEN = 1


def _kernel(*rows: tuple[float, ...]) -> F32Array:
    return np.array(rows, np.float32) / np.float32(8)


_GREEN_AT_OTHERS = _kernel((0, 0, -1, 0, 0), (0, 0, 2, 0, 0), (-1, 2, 4, 2, -1), (0, 0, 2, 0, 0), (0, 0, -1, 0, 0))
_BESIDE = _kernel((0, 0, 0.5, 0, 0), (0, -1, 0, -1, 0), (-1, 4, 5, 4, -1), (0, -1, 0, -1, 0), (0, 0, 0.5, 0, 0))
"""Red or blue at a green pixel, from the same colour left and right of it."""
_ABOVE = np.ascontiguousarray(_BESIDE.T)
_ACROSS = _kernel((0, 0, -1.5, 0, 0), (0, 2, 0, 2, 0), (-1.5, 0, 6, 0, -1.5), (0, 2, 0, 2, 0), (0, 0, -1.5, 0, 0))
"""Red at blue, or blue at red."""


def demosaic(band: F32Array, pattern: U8Array) -> F32Array:
    """Interpolate all three colours.

    Parameters
    ----------
    band : ndarray
        Shape (rows, columns), both even, float32, channels in balance.
    pattern : ndarray
        Colour at (row % 2, column % 2), shape (2, 2): 0 red, 1 green, 2 blue; a Bayer pattern.

    Returns
    -------
    ndarray
        Shape (rows, columns, 3), float32, order red, green, blue. Known values pass unchanged.
    """
    green, beside, above, across = (
        cv2.filter2D(band, -1, kernel, borderType=cv2.BORDER_REFLECT_101)
        for kernel in (_GREEN_AT_OTHERS, _BESIDE, _ABOVE, _ACROSS)
    )
    out = np.empty((*band.shape, 3), np.float32)
    pairs = out.reshape(band.shape[0], band.shape[1] // 2, 6)
    for row in (0, 1):
        planes = []
        for column in (0, 1):
            colour = int(pattern[row, column])
            filters = [across, green, across] if colour != _GREEN else [above, above, above]
            filters[colour] = band
            if colour == _GREEN:
                # The colour that shares this row lies left and right, the other one above and below.
                filters[int(pattern[row, 1 - column])] = beside
            planes += [plane[row::2, column::2] for plane in filters]
        pairs[row::2] = cv2.merge([np.ascontiguousarray(plane) for plane in planes])
    return out
