"""Straight borders of clear base inside a would-be frame: signs that its edges lie elsewhere."""

from typing import NamedTuple

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
SLIVER = 1
"""Places at its rim in which a gap is not looked for: of the neighbour a sliver may show beyond the gap."""
STEP = 2
"""Places over which a border may spread."""


GAP = 0.12
"""Share of a frame's length within which a gap between two frames ends on both sides."""


class Borders(NamedTuple):
    """Clearest borders of base inside a frame, 0..1."""

    across: float = 0.0
    """Share of the frame's height over which a border parallel to the short edges runs straight."""
    along: float = 0.0
    """Share of its length over which one parallel to the long edges does."""
    gap: float = 0.0
    """By how much more of its height a narrow strip shows base than what lies on either side of the strip."""


NO_BORDERS = Borders()


def borders_within(view: ReducedView, corners: F32Array, base: F32Array, *, inverted: bool) -> Borders:
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
    columns, rows = _clear_shares(clear, in_view, 0), _clear_shares(clear, in_view, 1)
    return Borders(
        _largest_change(_without_rim(columns)), _largest_change(_without_rim(rows)), _gap(columns[SLIVER:-SLIVER])
    )


def _clear_shares(clear: BoolArray, in_view: BoolArray, axis: int) -> F32Array:
    """Share of each line that is clear base; NaN where too little of it is in view."""
    shown = in_view.sum(axis=axis)
    share = np.where(shown > 0.3 * in_view.shape[axis], clear.sum(axis=axis) / np.maximum(shown, 1), np.nan)
    return np.asarray(share, np.float32)


def _without_rim(share: F32Array) -> F32Array:
    rim = max(1, round(RIM * len(share)))
    return share[rim:-rim]


def _largest_change(share: F32Array) -> float:
    change = np.abs(share[STEP:] - share[:-STEP])
    return float(np.nanmax(change)) if np.isfinite(change).any() else 0.0


def _gap(share: F32Array) -> float:
    """How far a line that is mostly base stands out over the lines to its left and to its right."""
    reach = round(GAP * GRID[0])
    known = np.where(np.isfinite(share), share, np.float32(1))
    padded = np.pad(known, reach, constant_values=1.0)
    lowest = np.lib.stride_tricks.sliding_window_view(padded, reach + 1).min(axis=1)
    return float(np.max(known - np.maximum(lowest[: len(known)], lowest[reach:])))
