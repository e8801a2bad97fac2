"""Whether two views show the same picture, through flicker, noise and a hunting exposure."""

import cv2
import numpy as np

from tethercap.pictures import F32Array

FEATURELESS = 0.01
"""Contrast, as a share, below which pictures cannot be told apart."""
KEPT_VIEW_PX = 48, 32
"""Width and height of a view that is kept for a later run: enough to tell frames apart, small enough for a line."""


def likeness(one: F32Array, two: F32Array) -> float:
    """Compare two small grey pictures of the film.

    Parameters
    ----------
    one, two : ndarray
        Shape (height, width), float32, 0..255.

    Returns
    -------
    float
        Correlation, -1..1, at the shift of a few pixels that makes them most alike; 1 where too little is on the first
        to tell, -1 where they differ in size.
    """
    if one.shape != two.shape:
        return -1.0
    first, second = _evened(one), _evened(two)
    rows, columns = first.shape[0] // 6, first.shape[1] // 6
    centre = first[rows:-rows, columns:-columns]
    if float(centre.std()) < FEATURELESS:
        return 1.0
    around = second[rows // 2 : -(rows // 2), columns // 2 : -(columns // 2)]
    return float(np.max(cv2.matchTemplate(around, centre, cv2.TM_CCOEFF_NORMED)))


def halved(grey: F32Array) -> F32Array:
    """Half the size: most of the noise is gone."""
    size = grey.shape[1] // 2, grey.shape[0] // 2
    return np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), np.float32)


def small_view(grey: F32Array) -> F32Array:
    """A view small enough to be kept for a later run, in whole codes."""
    return np.asarray(np.round(cv2.resize(grey, KEPT_VIEW_PX, interpolation=cv2.INTER_AREA)), np.float32)


def view_of(kept: bytes) -> F32Array | None:
    """The small view that bytes hold, shape (32, 48); None where they hold none."""
    width, height = KEPT_VIEW_PX
    if len(kept) != width * height:
        return None
    return np.frombuffer(kept, np.uint8).reshape(height, width).astype(np.float32)


def _evened(grey: F32Array) -> F32Array:
    """Every row divided by its mean: bands of flicker are gone."""
    return np.asarray(grey / (grey.mean(axis=1, keepdims=True) + 4.0), np.float32)
