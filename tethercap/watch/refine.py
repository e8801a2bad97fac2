"""Sub-pixel edges: bands along each side, straightened and cut into segments; a mean line through their steps.

The position in one segment is that of the ideal step with the same sum (moment preserving:
Tabatabai and Mitchell, 1984), which averages a ragged edge instead of choosing one of its teeth, and does not move
with symmetric blur.
"""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from tethercap.pictures import F32Array, U8Array
from tethercap.watch.tones import BoolArray, like_base


@dataclass(frozen=True, slots=True)
class Sampling:
    """How finely a band is sampled."""

    segments: int
    """Pieces each side is cut into."""
    per_segment: int
    """Samples along each piece; their mean is its profile."""
    across: int
    """Samples across the band, odd: the middle one lies on the line assumed so far."""


SEARCHING = Sampling(60, 4, 41)
"""For a place that is known to some tenths of a millimetre."""
TRACKING = Sampling(28, 3, 23)
"""For an edge that was seen in the picture before: a quarter of the work."""
WINDOW = 6
"""Samples on either side of a step that say how large it is."""
BLACK_SPREAD = 12.0
"""Codes by which the black of a slide differs along its edges."""
END = 2
"""Samples on either side of a window's outer end that say what the tone is there."""
LIGHT_OVER_BASE = 1.04
"""How much brighter than expected the base may be."""
ENOUGH_STEP = 10.0
ENOUGH_NOISE = 5.0
"""So much of the noise, up to `ENOUGH_STEP` codes, is an edge, however much stronger ones there may be further in."""
FULL_WEIGHT = 14.0
"""Steps of more codes weigh no more: a faint edge seen all along goes before a strong one here and there."""
LEAST_STEP = 3.5
"""Steps of fewer codes are none."""


@dataclass(frozen=True, slots=True, eq=False)
class SideFit:
    """The line found along one side, relative to the one assumed: it lies shift + turn * u further inward, u from -1
    to 1 clockwise.
    """

    shift: float
    """Full px."""
    turn: float
    """Full px at the ends."""
    seen: BoolArray
    """Which segments show the edge, shape (segments,), bool."""
    visible: BoolArray
    """Which segments lie in the view, shape (segments,), bool."""
    contrast: float
    """Step over noise, median of the seen segments; 0 when none."""
    ragged_px: float
    """RMS of seen points about the line, full px."""
    outside: F32Array
    """Median tone outside, shape (3,)."""
    inside: F32Array
    """Median tone inside, shape (3,)."""


def refine_sides(
    pixels_bgr: U8Array,
    corners: F32Array,
    bases: F32Array,
    *,
    reach_px: float,
    inverted: bool,
    touching: tuple[bool, ...] = (False, False, False, False),
    sampling: Sampling = SEARCHING,
    black: float = BLACK_SPREAD,
) -> tuple[SideFit, ...]:
    """Fit the four edges near assumed corners.

    Parameters
    ----------
    pixels_bgr : ndarray
        The full view, shape (height, width, 3), uint8.
    corners : ndarray
        Assumed corners, shape (4, 2), full px, clockwise from the top left.
    bases : ndarray
        Tone of the clear base beside each side (inverted for a slide), shape (4, 3), blue, green, red.
    reach_px : float
        How far off the assumed lines the edges may be, full px.
    inverted : bool
        True for a slide.
    touching : tuple of bool
        Sides where no base lies outside: a step either way is taken.
    sampling : Sampling
        How finely the bands are sampled.
    black : float
        Codes by which the black of a slide may differ from its base.
    """
    step_px = 2 * reach_px / (sampling.across - 1)
    bands, visible = sample_bands(pixels_bgr, corners, step_px, sampling)
    if inverted:
        bands = np.float32(255.0) - bands
    # Nothing on a negative is brighter than its base: what is, is light beside the film or through a hole.
    bases = np.asarray(bases, np.float32)
    np.minimum(bands, np.float32(LIGHT_OVER_BASE) * bases[:, None, None, :], out=bands)
    return _fit(bands, visible, bases, step_px, np.array(touching), black if inverted else None)


def sample_bands(
    pixels_bgr: U8Array, corners: F32Array, step_px: float, sampling: Sampling
) -> tuple[F32Array, BoolArray]:
    """Straighten a band along each side.

    Returns
    -------
    bands : ndarray
        Shape (4, segments, across, 3), from outside to inside.
    visible : ndarray
        Shape (4, segments), bool: the segment's middle lies in the view.
    """
    count = sampling.segments * sampling.per_segment
    start = corners.astype(np.float32)
    along = np.roll(start, -1, axis=0) - start
    length = np.sqrt((along * along).sum(axis=1, keepdims=True))
    inward = along[:, ::-1] * np.array([-1, 1], np.float32) / np.maximum(length, np.float32(1e-6))
    u = ((np.arange(count) + 0.5) / count).astype(np.float32)
    t = ((np.arange(sampling.across) - sampling.across // 2) * step_px).astype(np.float32)
    lines = start[:, None, :] + along[:, None, :] * u[None, :, None]
    offsets = inward[:, None, None, :] * t[None, None, :, None]
    map_x = (lines[:, :, None, 0] + offsets[..., 0]).reshape(4 * count, sampling.across)
    map_y = (lines[:, :, None, 1] + offsets[..., 1]).reshape(4 * count, sampling.across)
    bands = cv2.remap(pixels_bgr, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    height, width = pixels_bgr.shape[:2]
    middle = lines[:, sampling.per_segment // 2 :: sampling.per_segment]
    visible = (middle > 1).all(axis=2) & (middle[..., 0] < width - 2) & (middle[..., 1] < height - 2)
    pieces = bands.reshape(4, sampling.segments, sampling.per_segment, sampling.across, 3)
    grouped = pieces.sum(axis=2, dtype=np.uint16).astype(np.float32)
    grouped *= np.float32(1.0 / sampling.per_segment)
    return grouped, visible


def _fit(
    bands: F32Array, visible: BoolArray, bases: F32Array, step_px: float, either_way: BoolArray, black: float | None
) -> tuple[SideFit, ...]:
    """Fit all sides at once; `bands` has shape (sides, segments, across, 3), outside first."""
    sides, segments, across = bands.shape[:3]
    total = np.zeros((sides, segments, across + 1, 3), np.float32)
    np.cumsum(bands, axis=2, out=total[:, :, 1:])
    means = (total[:, :, WINDOW:] - total[:, :, :-WINDOW]) * np.float32(1 / WINDOW)
    before, after = means[:, :, :-WINDOW], means[:, :, WINDOW:]
    step = _grey(before) - _grey(after)
    # A soft edge reaches into the window before it: the base is read a little further out.
    further = np.maximum(np.arange(before.shape[2]) - WINDOW // 2, 0)
    tone_before = before[:, :, further]
    clear = like_base(tone_before, bases[:, None, None, :], 0.2, black=black)
    if either_way.any():
        step[either_way], clear[either_way] = np.abs(step[either_way]), True
    noise = _noise(_grey(bands))
    best = _outermost(step, clear, across, noise)
    size = _at(step, best)
    usable = (size > np.maximum(3.5 * noise, LEAST_STEP)[:, None]) & _at(clear, best) & visible
    low = _at(after, best)
    offset = (_step_place(_grey(total), best) - across // 2) * np.float32(step_px)
    u = ((np.arange(segments) + 0.5) / segments * 2 - 1).astype(np.float32)
    weight = np.where(usable, np.minimum(size, np.float32(FULL_WEIGHT)), np.float32(0))
    shift, turn, kept = robust_lines(u, offset, weight, step_px, across // 2)
    residual = np.where(kept, offset - shift[:, None] - turn[:, None] * u, 0)
    count = np.maximum(kept.sum(axis=1), 1)
    ragged = np.sqrt((residual * residual).sum(axis=1) / count)
    contrast = (size * kept).sum(axis=1) / count / noise
    outside = (_at(tone_before, best) * kept[..., None]).sum(axis=1) / count[:, None]
    inside = (low * kept[..., None]).sum(axis=1) / count[:, None]
    return tuple(
        SideFit(
            float(shift[i]),
            float(turn[i]),
            kept[i],
            visible[i],
            float(contrast[i]),
            float(ragged[i]),
            outside[i],
            inside[i],
        )
        for i in range(sides)
    )


def _grey(tones: F32Array) -> F32Array:
    """Mean of the channels."""
    return np.asarray((tones[..., 0] + tones[..., 1] + tones[..., 2]) * np.float32(1 / 3))


def _at(values: npt.NDArray[Any], best: npt.NDArray[np.intp]) -> npt.NDArray[Any]:
    """Values of each segment at its own place: shape (sides, segments, ...)."""
    sides, segments = best.shape
    return np.asarray(values[np.arange(sides)[:, None], np.arange(segments)[None, :], best])


def _outermost(step: F32Array, clear: BoolArray, across: int, noise: F32Array) -> npt.NDArray[np.intp]:
    """Where each segment first leaves the base: the picture's own contours lie further in, and may be stronger.

    Only crests of the step count: the flank of a brighter edge outside (film against bare light) is passed over.
    """
    length = step.shape[2]
    places = np.arange(length) + WINDOW - 0.5 - across // 2
    weighted = step * np.exp(-0.5 * (places / (across / 3.5)) ** 2).astype(np.float32)
    crest = clear.copy()
    crest[..., 1:] &= step[..., 1:] >= step[..., :-1]
    crest[..., :-1] &= step[..., :-1] >= step[..., 1:]
    weighted = np.where(crest, weighted, np.float32(0))
    sure = np.clip(ENOUGH_NOISE * noise, LEAST_STEP, ENOUGH_STEP)
    enough = np.minimum(np.float32(0.5) * weighted.max(axis=2), sure[:, None])
    return np.asarray((weighted >= enough[..., None]).argmax(axis=2), np.intp)


def _step_place(total: F32Array, best: npt.NDArray[np.intp]) -> F32Array:
    """Place of the ideal step within the two windows around `best`, in samples, shape (sides, segments).

    What the tones on both sides are is read at the windows' outer ends, where a soft edge does not reach.
    """
    first, last = best, best + 2 * WINDOW
    high, low = _mean_around(total, first), _mean_around(total, last)
    sums = _at(total, last) - _at(total, first)
    apart = np.where(np.abs(high - low) < 1e-3, np.float32(1e-3), high - low)
    return np.asarray(best + (sums - 2 * WINDOW * low) / apart - 0.5, np.float32)


def _mean_around(total: F32Array, place: npt.NDArray[np.intp]) -> F32Array:
    """Mean of the few samples around a place between samples, shape (sides, segments)."""
    start, stop = np.maximum(place - END, 0), np.minimum(place + END, total.shape[2] - 1)
    return np.asarray((_at(total, stop) - _at(total, start)) / (stop - start), np.float32)


def _noise(tone: F32Array) -> F32Array:
    """Standard deviation of the noise in each band, from second differences across it; at least half a code; shape
    (sides,).
    """
    second = np.abs(tone[:, :, 2:] - 2 * tone[:, :, 1:-1] + tone[:, :, :-2]).reshape(len(tone), -1)
    middle = second.shape[1] // 2
    return np.maximum(np.partition(second, middle, axis=1)[:, middle] * np.float32(1.4826 / 6**0.5), np.float32(0.5))


def robust_lines(
    u: F32Array, offset: F32Array, weight: F32Array, step_px: float, reach: int
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
    step_px : float
        Sampling across the band.
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
    shift, turn = _densest(u, offset / np.float32(step_px), weight, reach)
    shift, turn = shift * step_px, turn * step_px
    scale = np.full(len(offset), 2.5 * step_px, np.float32)
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
