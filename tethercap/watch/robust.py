"""Straight lines through most of many points, for several sides at once: a ragged edge's teeth have no pull."""

from functools import cache

import numpy as np

from tethercap.pictures import F32Array
from tethercap.watch.tones import BoolArray


def robust_lines(
    u: F32Array, offset: F32Array, weight: F32Array, step_px: F32Array, reach: int
) -> tuple[F32Array, F32Array, BoolArray]:
    """Fit offset = shift + turn * u through most of the points, for several sides at once.

    The start is the densest place among lines of a few turns; then bisquare weights (Beaton and Tukey,
    1974) give the mean line.

    Parameters
    ----------
    u : ndarray
        Place along the side, -1..1, shape (n,).
    offset, weight : ndarray
        Distance from the assumed line, px, and weight, 0 where unusable; shape (sides, n).
    step_px : ndarray
        Sampling across each band, px, shape (sides,).
    reach : int
        Half the band's width, samples.

    Returns
    -------
    shift, turn : ndarray
        Shape (sides,); zero where fewer than three points are usable.
    kept : ndarray
        Points near the line, shape (sides, n), bool.
    """
    usable = weight > 0
    enough = usable.sum(axis=1) >= 3
    usable &= enough[:, None]
    weight = weight * usable
    shift, turn = _densest(u, offset / step_px[:, None], weight, reach)
    shift, turn = shift * step_px, turn * step_px
    powers = np.asarray(u[:, None] ** np.arange(3), np.float32)
    scale = np.float32(2.5) * step_px
    for _ in range(4):
        residual = np.abs(offset - shift[:, None] - turn[:, None] * u)
        inside = np.maximum(1 - (residual / (2 * scale[:, None])) ** 2, np.float32(0))
        shift, turn = _weighted_lines(powers, offset, weight * inside * inside, shift, turn)
        typical = _median_where(residual, usable & (inside > 0))
        scale = np.minimum(np.maximum(np.float32(2 / 0.6745) * typical, step_px), 3 * step_px)
    residual = np.abs(offset - shift[:, None] - turn[:, None] * u)
    kept = usable & (residual < 2 * scale[:, None])
    return np.where(enough, shift, np.float32(0)), np.where(enough, turn, np.float32(0)), kept


def _median_where(values: F32Array, chosen: BoolArray) -> F32Array:
    """Median of the chosen values of each row, shape (rows,); 0 where none is chosen."""
    ordered = np.sort(np.where(chosen, values, np.float32(np.inf)), axis=1)
    counts = np.count_nonzero(chosen, axis=1).tolist()
    middles = [ordered[row, (count - 1) // 2] if count else 0.0 for row, count in enumerate(counts)]
    return np.array(middles, np.float32)


@cache
def _turns(reach: int) -> tuple[F32Array, F32Array]:
    """Turns to try, samples at the ends, and how likely they are beforehand."""
    turns = np.linspace(-0.4 * reach, 0.4 * reach, 17 if reach > 15 else 7).astype(np.float32)
    return turns, np.exp(-0.5 * (turns / np.float32(0.3 * reach)) ** 2)


def _densest(u: F32Array, offset: F32Array, weight: F32Array, reach: int) -> tuple[F32Array, F32Array]:
    """Line with the most points near it, in samples: a histogram of where each line of some turn would cross the
    middle.
    """
    sides = len(offset)
    turns, likely = _turns(reach)
    width = 4 * reach + 1
    # The places of all turns lie within the histogram, those of points far outside the band at its ends.
    offset = np.minimum(np.maximum(offset, np.float32(-1.6 * reach)), np.float32(1.6 * reach))
    places = np.rint(offset[:, None, :] - turns[:, None] * u).astype(np.intp)
    places += (np.arange(sides * len(turns)) * width + 2 * reach).reshape(sides, len(turns), 1)
    votes_of = np.repeat(weight[:, None, :], len(turns), axis=1).ravel()
    votes = np.bincount(places.ravel(), votes_of, sides * len(turns) * width).reshape(sides, len(turns), width)
    dense = (votes[..., :-2] + 2 * votes[..., 1:-1] + votes[..., 2:]) * likely[:, None]
    turn, place = np.divmod(dense.reshape(sides, -1).argmax(axis=1), width - 2)
    return (place + 1 - 2 * reach).astype(np.float32), turns[turn]


def _weighted_lines(
    powers: F32Array, offset: F32Array, w: F32Array, shift: F32Array, turn: F32Array
) -> tuple[F32Array, F32Array]:
    """Lines of least squares, by sums of the powers 0, 1 and 2 of u, shape (n, 3); the ones before where none is told.

    A turn is told only by points that lie apart along the side.
    """
    weighted, offsets = (w @ powers).tolist(), ((w * offset) @ powers[:, :2]).tolist()
    lines = list(zip(shift.tolist(), turn.tolist(), strict=True))
    for side, ((total, of_u, of_u2), (sum_offset, sum_offset_u)) in enumerate(zip(weighted, offsets, strict=True)):
        if total <= 0:
            continue
        turn_now, mean_u = lines[side][1], of_u / total
        spread = of_u2 - of_u * mean_u
        if spread >= max(0.01 * total, 1e-9):
            turn_now = (sum_offset_u - sum_offset * mean_u) / spread
        lines[side] = (sum_offset / total - turn_now * mean_u, turn_now)
    shifts, turns = np.array(lines, np.float32).T
    return shifts, turns
