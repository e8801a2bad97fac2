"""Straight lines through most of many points, for several sides at once: a ragged edge's teeth have no pull."""

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
    enough = (weight > 0).sum(axis=1) >= 3
    weight = np.where(enough[:, None], weight, np.float32(0))
    shift, turn = _densest(u, offset / step_px[:, None], weight, reach)
    shift, turn = shift * step_px, turn * step_px
    scale = np.float32(2.5) * step_px
    for _ in range(4):
        residual = offset - shift[:, None] - turn[:, None] * u
        inside = np.maximum(1 - (residual / (2 * scale[:, None])) ** 2, 0)
        shift, turn = _weighted_lines(u, offset, weight * inside * inside, shift, turn)
        near = (inside > 0) & (weight > 0)
        scale = np.clip(2 * _median_where(np.abs(residual), near) / 0.6745, step_px, 3 * step_px)
    residual = offset - shift[:, None] - turn[:, None] * u
    kept = (weight > 0) & (np.abs(residual) < 2 * scale[:, None])
    return np.where(enough, shift, 0), np.where(enough, turn, 0), kept


def _median_where(values: F32Array, chosen: BoolArray) -> F32Array:
    """Median of the chosen values of each row, shape (rows,); 0 where none is chosen."""
    ordered = np.sort(np.where(chosen, values, np.float32(np.inf)), axis=1)
    count = chosen.sum(axis=1)
    middle = ordered[np.arange(len(values)), np.maximum(count - 1, 0) // 2]
    return np.asarray(np.where(count > 0, middle, 0), np.float32)


def _densest(u: F32Array, offset: F32Array, weight: F32Array, reach: int) -> tuple[F32Array, F32Array]:
    """Line with the most points near it, in samples: a histogram of where each line of some turn would cross the
    middle.
    """
    sides = len(offset)
    turns = np.linspace(-0.4 * reach, 0.4 * reach, 17 if reach > 15 else 7).astype(np.float32)
    width = 4 * reach + 1
    places = np.rint(offset[:, None, :] - turns[None, :, None] * u).astype(np.intp) + 2 * reach
    votes_of = np.where((places >= 0) & (places < width), weight[:, None, :], np.float32(0))
    rows = np.arange(sides * len(turns)).reshape(sides, len(turns), 1) * width
    flat = (np.clip(places, 0, width - 1) + rows).ravel()
    votes = np.bincount(flat, votes_of.ravel(), sides * len(turns) * width).reshape(sides, len(turns), width)
    dense = votes[..., :-2] + 2 * votes[..., 1:-1] + votes[..., 2:]
    dense *= np.exp(-0.5 * (turns / (0.3 * reach)) ** 2)[None, :, None]
    turn, place = np.divmod(dense.reshape(sides, -1).argmax(axis=1), width - 2)
    return (place + 1 - 2 * reach).astype(np.float32), turns[turn]


def _weighted_lines(
    u: F32Array, offset: F32Array, w: F32Array, shift: F32Array, turn: F32Array
) -> tuple[F32Array, F32Array]:
    total = w.sum(axis=1)
    some = np.maximum(total, 1e-9)
    mean_u, mean_offset = (w @ u) / some, (w * offset).sum(axis=1) / some
    away = u[None, :] - mean_u[:, None]
    spread = (w * away * away).sum(axis=1)
    slope = (w * away * (offset - mean_offset[:, None])).sum(axis=1) / np.maximum(spread, 1e-9)
    turn_now = np.where(spread < 0.01 * total, turn, slope)
    shift_now = mean_offset - turn_now * mean_u
    none = total <= 0
    return np.where(none, shift, shift_now), np.where(none, turn, turn_now)
