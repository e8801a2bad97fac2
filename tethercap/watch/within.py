"""Straight borders of clear base inside a would-be frame: signs that its edges lie elsewhere."""

import cv2
import numpy as np

from tethercap.pictures import F32Array
from tethercap.watch.reduced import ReducedView
from tethercap.watch.tones import BLACK_SPREAD, BoolArray, like_base

GRID = (96, 64)
"""Places along and across at which the inside is read: a gap of 2 mm between frames is several of them wide."""
RIM = 0.05
"""Share of the frame's size at its edges that is left out: there its own edges are."""
OUTSIDE = (-1000.0, -1000.0, -1000.0)
"""Tone of what is not in view."""
STEP = 2
"""Places over which a border may spread."""


def borders_within(view: ReducedView, corners: F32Array, base: F32Array, *, inverted: bool) -> tuple[float, float]:
    """Find the clearest border between clear base and picture inside a frame, along each of its directions.

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

    Returns
    -------
    across, along : float
        Share of the frame's height over which a border parallel to the short edges runs straight, and of its length
        for one parallel to the long edges, 0..1.
    """
    small = ((corners + 0.5) / view.factor - 0.5).astype(np.float32)
    u = ((np.arange(GRID[0]) + 0.5) / GRID[0]).astype(np.float32)[None, :, None]
    v = ((np.arange(GRID[1]) + 0.5) / GRID[1]).astype(np.float32)[:, None, None]
    upper = small[0] + (small[1] - small[0]) * u
    lower = small[3] + (small[2] - small[3]) * u
    places = np.asarray(upper + (lower - upper) * v, np.float32)
    tones = cv2.remap(
        view.pixels,
        places[..., 0],
        places[..., 1],
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=(-1e3,) * 3,
    )
    in_view = tones[..., 0] >= 0
    if inverted:
        tones = np.float32(255) - tones
    clear = like_base(np.asarray(tones, np.float32), base, 0.2, black=BLACK_SPREAD if inverted else None) & in_view
    return _border(clear, in_view, 0), _border(clear, in_view, 1)


def _border(clear: BoolArray, in_view: BoolArray, axis: int) -> float:
    """Largest change, over few places, of the share that is clear base."""
    shown = in_view.sum(axis=axis)
    share = np.where(shown > 0.3 * in_view.shape[axis], clear.sum(axis=axis) / np.maximum(shown, 1), np.nan)
    rim = max(1, round(RIM * len(share)))
    inner = share[rim:-rim]
    change = np.abs(inner[STEP:] - inner[:-STEP])
    return float(np.nanmax(change)) if np.isfinite(change).any() else 0.0
