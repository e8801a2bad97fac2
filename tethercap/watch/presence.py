"""Whether there is film in view at all, and whether a frame on it is blank."""

import cv2
import numpy as np

from tethercap.pictures import F32Array
from tethercap.watch.perforations import PerforationRows
from tethercap.watch.reduced import ReducedView
from tethercap.watch.tones import BLACK_SPREAD, like_base

MEAN_OF_CHANNELS = np.full((1, 3), 1 / 3, np.float32)
LIT_SHARE = 0.25
"""Share of the brightest tone from which on a place is inside the opening and not the holder."""
EVEN_SHARE = 0.85
"""Bare light is even: its darkest twentieth has at least this share of its middle tone."""
NEUTRAL_CODES = 14.0
LIGHT_CODES = 190.0
LIGHT_OVER_BASE = 1.14
"""Bare light over clear base in display codes: the thinnest base, 0.18 D, takes a sixth off at a gamma of 2.2."""


def film_in_view(view: ReducedView, rows: PerforationRows | None, base: F32Array | None) -> bool | None:
    """Tell whether film lies in the holder when no frame was found.

    Parameters
    ----------
    view : ReducedView
        Not inverted.
    rows : PerforationRows or None
        Perforations, if any were found.
    base : ndarray or None
        Tone of the roll's clear base where it was seen before, shape (3,), not inverted.

    Returns
    -------
    bool or None
        None where it cannot be told.
    """
    if rows is not None:
        return True
    pixels = np.ascontiguousarray(view.pixels[::2, ::2])
    grey = cv2.transform(pixels, MEAN_OF_CHANNELS)
    bright = float(np.percentile(grey, 99))
    if bright < 12:
        return None
    lit = grey > LIT_SHARE * bright
    low, lower, level = (float(tone) for tone in np.percentile(grey[lit], [5, 20, 50]))
    if low < EVEN_SHARE * level:
        return True if lit.mean() > 0.1 and lower < EVEN_SHARE * level else None
    tone = np.median(pixels[lit], axis=0)
    if float(np.ptp(tone)) > 3 * NEUTRAL_CODES:
        return True
    if base is not None and level > LIGHT_OVER_BASE * float(base.mean()) + 4:
        return False
    return False if level > LIGHT_CODES and float(np.ptp(tone)) < NEUTRAL_CODES and base is None else None


def is_blank(view: ReducedView, corners: F32Array, base: F32Array, *, inverted: bool) -> bool:
    """Tell whether a frame shows nothing but clear base (of a slide: black).

    Parameters
    ----------
    view : ReducedView
        Not inverted.
    corners : ndarray
        Of the frame, full px, shape (4, 2).
    base : ndarray
        Tone of the clear base, inverted for a slide, shape (3,).
    inverted : bool
        True for a slide.
    """
    small = (corners + 0.5) / view.factor - 0.5
    low, high = small.min(axis=0), small.max(axis=0)
    inset = 0.05 * (high - low)
    x0, y0 = np.maximum(np.ceil(low + inset), 0).astype(int)
    x1, y1 = np.floor(high - inset).astype(int)
    patch = view.pixels[y0:y1:2, x0:x1:2].reshape(-1, 3)
    if len(patch) < 50:
        return False
    tones = np.float32(255) - patch if inverted else patch
    return bool(like_base(tones, base, 0.2, black=BLACK_SPREAD if inverted else None).mean() > 0.985)
