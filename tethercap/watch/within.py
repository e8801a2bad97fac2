"""What lies inside a would-be frame: borders of clear base, a sign that its edges lie elsewhere; blacks of a slide."""

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
    tones = _tones_within(view, corners)
    in_view = tones[..., 0] >= 0
    if inverted:
        tones = np.float32(255) - tones
    clear = like_base(tones, base, 0.2, black=BLACK_SPREAD if inverted else None) & in_view
    columns, rows = _clear_shares(clear, in_view, 0), _clear_shares(clear, in_view, 1)
    return Borders(
        _largest_change(_without_rim(columns)), _largest_change(_without_rim(rows)), _gap(columns[SLIVER:-SLIVER])
    )


def likely_slide(view: ReducedView, corners: F32Array) -> float:
    """Tell how likely a bright place in black is a slide, and not film in the opening of a holder, 0..1.

    A slide has blacks: it goes to a density of 3 and more, a negative's lie hardly 1.5 above its base. Seldom is the
    brightest of a slide orange, as the base of colour negatives is. And beyond its rebate it gets bright again.

    Parameters
    ----------
    view : ReducedView
        Not inverted.
    corners : ndarray
        Of the place, full px, shape (4, 2).
    """
    tones = _tones_within(view, corners)[1:-1, 1:-1]
    tones = tones[tones[..., 0] >= 0]
    if len(tones) == 0:
        return 0.0
    level = tones.sum(axis=1)
    dark, bright, brightest = np.percentile(level, [5, 88, 97])
    clear = np.median(tones[(level >= bright) & (level <= brightest)], axis=0)
    orange = np.log(max(float(clear[2] / max(clear[0], 1.0)) / WARM, 1.0))
    logit = SLIDE_BIAS + SLIDE_DARKEST * dark / max(brightest, 1.0) + SLIDE_ORANGE * orange
    logit += SLIDE_BEYOND * _is_bright_beyond(view, corners, float(brightest))
    return float(1.0 / (1.0 + np.exp(-logit)))


def likely_negative(view: ReducedView, corners: F32Array) -> float:
    """Tell how likely a dark place is a negative, and not a slide with its rebate between bare light, 0..1.

    Parameters as for `likely_slide`.
    """
    level = _tones_within(view, corners).sum(axis=2)
    black = np.where(level >= 0, level < RIM_BLACK * np.percentile(level, 97), True)
    across, along = black.mean(axis=1), black.mean(axis=0)
    rims = [min(max(lines[1:3]), max(lines[-3:-1])) for lines in (across, along)]
    return NEGATIVE_IN_BLACK if max(rims) > RIM_ALONG else 1.0


WARM = 1.2
"""Red over blue up to which light and highlights may be warm."""
SLIDE_BIAS, SLIDE_DARKEST, SLIDE_ORANGE, SLIDE_BEYOND = 2.8, -8.3, -4.0, 4.0
"""Of the share that the darkest twentieth has of the brightest in display codes, fitted on generated pictures; of how
orange the brightest is, and of brightness beyond the rebate, by what is known of both kinds of film."""
BLACK, BRIGHT = 0.15, 0.3
"""Levels of a slide's rebate, and of what shows that film goes on or ends, over that of the brightest within."""
RIM_BLACK, RIM_ALONG = 0.25, 0.48
"""The same of a rim inside, where print on the film's edge may glow; and so much of it, where light has leaked in."""
ALL_ALONG, MOSTLY_ALONG = 0.9, 0.6
"""Shares of a side."""
NEGATIVE_IN_BLACK = 0.1
BEYOND = 0.12
"""Share of a frame's size within which its rebate ends, or the gap to the next one."""


def _is_bright_beyond(view: ReducedView, corners: F32Array, brightest: float) -> bool:
    """Whether beside one side of a bright place lies a black strip, and beyond that it is bright again."""
    wide = corners.mean(axis=0) + (corners - corners.mean(axis=0)) * np.float32(1 + 2 * BEYOND)
    level = _tones_within(view, np.asarray(wide, np.float32)).sum(axis=2)
    for lines in (level, level[::-1], level.T, level.T[::-1]):
        count = round(len(lines) * BEYOND / (1 + 2 * BEYOND))
        inner = slice(round(lines.shape[1] * BEYOND), -round(lines.shape[1] * BEYOND))
        beside = lines[:count, inner]
        black = ((beside >= 0) & (beside < BLACK * brightest)).mean(axis=1) > ALL_ALONG
        bright = (beside > BRIGHT * brightest).mean(axis=1) > MOSTLY_ALONG
        if black.any() and bright[: int(np.flatnonzero(black)[-1])].any():
            return True
    return False


def _tones_within(view: ReducedView, corners: F32Array) -> F32Array:
    """Tones at the places of `GRID` in a quadrilateral, shape (across, along, 3); negative out of view."""
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
        borderValue=OUTSIDE,
    )
    return np.asarray(tones, np.float32)


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
