"""Sub-pixel edges: bands along each side are straightened, cut into segments, and a mean line is fitted through the steps.

The position in one segment is that of the ideal step with the same sum (moment preserving: Tabatabai and Mitchell, 1984),
which averages a ragged edge instead of choosing one of its teeth, and does not move with symmetric blur.
"""

from dataclasses import dataclass

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
TRACKING = Sampling(30, 4, 25)
"""For an edge that was seen in the picture before: a quarter of the work."""
WINDOW = 6
"""Samples on either side of a step that say how large it is."""
ENOUGH_STEP = 10.0
"""A step of so many codes is an edge, however much stronger ones there may be further in."""


@dataclass(frozen=True, slots=True, eq=False)
class SideFit:
    """The line found along one side, relative to the one assumed: it lies shift + turn * u further inward, u from -1 to 1 clockwise."""

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
    """
    step_px = 2 * reach_px / (sampling.across - 1)
    bands, visible = sample_bands(pixels_bgr, corners, step_px, sampling)
    if inverted:
        bands = np.float32(255.0) - bands
    return tuple(_fit_side(bands[i], visible[i], bases[i], step_px, either_way=touching[i]) for i in range(4))


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


def _fit_side(band: F32Array, visible: BoolArray, base: F32Array, step_px: float, *, either_way: bool) -> SideFit:
    """Fit one side; `band` has shape (segments, across, 3), outside first."""
    segments, across = band.shape[:2]
    total = np.zeros((segments, across + 1, 3), np.float32)
    np.cumsum(band, axis=1, out=total[:, 1:])
    means = (total[:, WINDOW:] - total[:, :-WINDOW]) / np.float32(WINDOW)
    before, after = means[:, :-WINDOW], means[:, WINDOW:]
    step = (before - after).sum(axis=2) / np.float32(3)
    step, clear = (np.abs(step), np.ones(step.shape, bool)) if either_way else (step, like_base(before, base, 0.2))
    best = _outermost(np.where(clear, step, 0), across)
    each = np.arange(segments)
    noise = _noise(band.sum(axis=2) / np.float32(3))
    size = step[each, best]
    usable = (size > max(4.0 * noise, 3.5)) & clear[each, best] & visible
    offset = (_step_place(total.sum(axis=2) / np.float32(3), before, after, best) - across // 2) * step_px
    u = ((each + 0.5) / segments * 2 - 1).astype(np.float32)
    shift, turn, kept = robust_line(u, offset, usable, np.minimum(size, np.float32(40)), step_px, across // 2)
    residual = (offset - shift - turn * u)[kept]
    nothing = np.full(3, np.nan, np.float32)
    return SideFit(
        shift, turn, kept, visible,
        contrast=float(np.median(size[kept])) / noise if kept.any() else 0.0,
        ragged_px=float(np.sqrt((residual**2).mean())) if kept.any() else 0.0,
        outside=np.asarray(np.median(before[each, best][kept], axis=0)) if kept.any() else nothing,
        inside=np.asarray(np.median(after[each, best][kept], axis=0)) if kept.any() else nothing,
    )  # fmt: skip


def _outermost(step: F32Array, across: int) -> npt.NDArray[np.intp]:
    """Where each segment first leaves the base: the picture's own contours lie further in, and may be stronger."""
    places = np.arange(step.shape[1]) + WINDOW - 0.5 - across // 2
    weighted = step * np.exp(-0.5 * (places / (across / 3.5)) ** 2).astype(np.float32)
    enough = np.minimum(np.float32(0.5) * weighted.max(axis=1), np.float32(ENOUGH_STEP))
    first = (weighted >= enough[:, None]).argmax(axis=1)
    following = np.minimum(first[:, None] + np.arange(WINDOW + 1), step.shape[1] - 1)
    highest = np.take_along_axis(step, following, axis=1).argmax(axis=1)
    return np.asarray(following[np.arange(len(first)), highest])


def _step_place(total: F32Array, before: F32Array, after: F32Array, best: npt.NDArray[np.intp]) -> F32Array:
    """Place of the ideal step within the two windows around `best`, in samples, shape (segments,)."""
    each = np.arange(len(best))
    high, low = before[each, best].mean(axis=1), after[each, best].mean(axis=1)
    sums = total[each, best + 2 * WINDOW] - total[each, best]
    apart = np.where(np.abs(high - low) < 1e-3, 1e-3, high - low)
    return np.asarray(best + (sums - 2 * WINDOW * low) / apart - 0.5, np.float32)


def _noise(tone: F32Array) -> float:
    """Standard deviation of the noise in a band, from second differences across it; at least half a code."""
    second = tone[:, 2:] - 2 * tone[:, 1:-1] + tone[:, :-2]
    return max(float(np.median(np.abs(second))) * 1.4826 / np.sqrt(6.0), 0.5)


def robust_line(
    u: F32Array, offset: F32Array, usable: BoolArray, weight: F32Array, step_px: float, reach: int
) -> tuple[float, float, BoolArray]:
    """Fit offset = shift + turn * u through most of the usable points.

    The start is the densest place among lines of a few turns; then bisquare weights (Beaton and Tukey, 1974) give the mean line.

    Parameters
    ----------
    u, offset, weight : ndarray
        Place along the side (-1..1), distance from the assumed line (px), weight; shape (n,).
    usable : ndarray
        Which points count, bool.
    step_px : float
        Sampling across the band.
    reach : int
        Half the band's width, samples.

    Returns
    -------
    shift, turn : float
        Zero when nothing is usable.
    kept : ndarray
        Points near the line, bool.
    """
    if usable.sum() < 3:
        return 0.0, 0.0, np.zeros(len(u), bool)
    x, y, w = u[usable], offset[usable], weight[usable]
    shift, turn = _densest(x, y / np.float32(step_px), w, reach)
    shift, turn, scale = shift * step_px, turn * step_px, 2.5 * step_px
    for _ in range(4):
        residual = y - shift - turn * x
        bisquare = w * np.maximum(1 - (residual / (2.0 * scale)) ** 2, 0) ** 2
        shift, turn = _weighted_line(x, y, bisquare, shift, turn)
        near = residual[np.abs(residual) < 2.0 * scale]
        spread = 2.0 * float(np.sqrt(near @ near / len(near))) if len(near) else scale
        scale = min(max(spread, step_px), 3 * step_px)
    kept = usable & (np.abs(offset - shift - turn * u) < 2.0 * scale)
    return shift, turn, kept


def _densest(x: F32Array, y: F32Array, w: F32Array, reach: int) -> tuple[float, float]:
    """Line with the most points near it, in samples: a histogram of where each line of some turn would cross the middle."""
    turns = np.linspace(-0.4 * reach, 0.4 * reach, 17 if reach > 15 else 7).astype(np.float32)
    places = np.rint(y[None, :] - turns[:, None] * x[None, :]).astype(np.intp) + 2 * reach
    width = 4 * reach + 1
    inside = (places >= 0) & (places < width)
    flat = (places + np.arange(len(turns))[:, None] * width)[inside]
    votes = np.bincount(flat, np.broadcast_to(w, places.shape)[inside], len(turns) * width).reshape(len(turns), width)
    dense = votes[:, :-2] + 2 * votes[:, 1:-1] + votes[:, 2:]
    dense *= np.exp(-0.5 * (turns / (0.3 * reach)) ** 2)[:, None]
    turn, place = divmod(int(dense.argmax()), width - 2)
    return float(place + 1 - 2 * reach), float(turns[turn])


def _weighted_line(x: F32Array, y: F32Array, w: F32Array, shift: float, turn: float) -> tuple[float, float]:
    total = float(w.sum())
    if total <= 0:
        return shift, turn
    mean_x, mean_y = float(w @ x) / total, float(w @ y) / total
    away = x - mean_x
    spread = float(w @ (away * away))
    if spread < 0.01 * total:
        return mean_y - turn * mean_x, turn
    slope = float(w @ (away * (y - mean_y))) / spread
    return mean_y - slope * mean_x, slope
