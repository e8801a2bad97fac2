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

SAMPLES = 240
"""Samples along each side."""
SEGMENTS = 60
WINDOW = 6
"""Samples on either side of a step that say how large it is."""
ENOUGH_STEP = 10.0
"""A step of so many codes is an edge, however much stronger ones there may be further in."""
ACROSS = 41
"""Samples across each band, odd: the middle one lies on the line assumed so far."""


@dataclass(frozen=True, slots=True, eq=False)
class SideFit:
    """The line found along one side, relative to the one assumed: it lies shift + turn * u further inward, u from -1 to 1 clockwise."""

    shift: float
    """Full px."""
    turn: float
    """Full px at the ends."""
    seen: BoolArray
    """Which segments show the edge, shape (SEGMENTS,), bool."""
    visible: BoolArray
    """Which segments lie in the view, shape (SEGMENTS,), bool."""
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
    """
    step_px = 2 * reach_px / (ACROSS - 1)
    bands, visible = sample_bands(pixels_bgr, corners, step_px)
    if inverted:
        bands = np.float32(255.0) - bands
    return tuple(_fit_side(bands[i], visible[i], bases[i], step_px, either_way=touching[i]) for i in range(4))


def sample_bands(pixels_bgr: U8Array, corners: F32Array, step_px: float) -> tuple[F32Array, BoolArray]:
    """Straighten a band along each side.

    Returns
    -------
    bands : ndarray
        Shape (4, SEGMENTS, ACROSS, 3), from outside to inside.
    visible : ndarray
        Shape (4, SEGMENTS), bool: the segment's whole width lies in the view.
    """
    start = corners.astype(np.float32)
    end = np.roll(start, -1, axis=0)
    along = end - start
    length = np.hypot(along[:, 0], along[:, 1])[:, None]
    inward = np.stack([-along[:, 1], along[:, 0]], axis=1) / np.maximum(length, 1e-6)
    u = ((np.arange(SAMPLES) + 0.5) / SAMPLES).astype(np.float32)
    t = ((np.arange(ACROSS) - ACROSS // 2) * step_px).astype(np.float32)
    points = (
        start[:, None, None, :]
        + along[:, None, None, :] * u[None, :, None, None]
        + inward[:, None, None, :] * t[None, None, :, None]
    )
    maps = points.reshape(4 * SAMPLES, ACROSS, 2)
    bands = cv2.remap(pixels_bgr, maps, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    height, width = pixels_bgr.shape[:2]
    middle = points[:, SAMPLES // SEGMENTS // 2 :: SAMPLES // SEGMENTS, ACROSS // 2]
    visible = (middle > 1).all(axis=2) & (middle[..., 0] < width - 2) & (middle[..., 1] < height - 2)
    grouped = bands.reshape(4, SEGMENTS, SAMPLES // SEGMENTS, ACROSS, 3).mean(axis=2, dtype=np.float32)
    return grouped, visible


def _fit_side(band: F32Array, visible: BoolArray, base: F32Array, step_px: float, *, either_way: bool) -> SideFit:
    """Fit one side; `band` has shape (SEGMENTS, ACROSS, 3), outside first."""
    total = np.zeros((SEGMENTS, ACROSS + 1, 3), np.float32)
    np.cumsum(band, axis=1, out=total[:, 1:])
    means = (total[:, WINDOW:] - total[:, :-WINDOW]) / np.float32(WINDOW)
    before, after = means[:, :-WINDOW], means[:, WINDOW:]
    step = (before - after).sum(axis=2) / np.float32(3)
    step, clear = (np.abs(step), np.ones(step.shape, bool)) if either_way else (step, like_base(before, base, 0.2))
    best = _outermost(np.where(clear, step, 0))
    each = np.arange(SEGMENTS)
    noise = _noise(band.sum(axis=2) / np.float32(3))
    size = step[each, best]
    usable = (size > max(4.0 * noise, 3.5)) & clear[each, best] & visible
    offset = (_step_place(total.sum(axis=2) / np.float32(3), before, after, best) - ACROSS // 2) * step_px
    u = ((each + 0.5) / SEGMENTS * 2 - 1).astype(np.float32)
    shift, turn, kept = robust_line(u, offset, usable, np.clip(size, 0, 40), step_px)
    residual = (offset - shift - turn * u)[kept]
    nothing = np.full(3, np.nan, np.float32)
    return SideFit(
        shift, turn, kept, visible,
        contrast=float(np.median(size[kept])) / noise if kept.any() else 0.0,
        ragged_px=float(np.sqrt((residual**2).mean())) if kept.any() else 0.0,
        outside=np.asarray(np.median(before[each, best][kept], axis=0)) if kept.any() else nothing,
        inside=np.asarray(np.median(after[each, best][kept], axis=0)) if kept.any() else nothing,
    )  # fmt: skip


def _outermost(step: F32Array) -> npt.NDArray[np.intp]:
    """Where each segment first leaves the base, shape (SEGMENTS,): the picture's own contours lie further in, and may be stronger."""
    prior = np.exp(-0.5 * ((np.arange(step.shape[1]) + WINDOW - 0.5 - ACROSS // 2) / (ACROSS / 3.5)) ** 2)
    weighted = step * prior.astype(np.float32)
    enough = np.minimum(np.float32(0.5) * weighted.max(axis=1), np.float32(ENOUGH_STEP))
    first = (weighted >= enough[:, None]).argmax(axis=1)
    following = np.minimum(first[:, None] + np.arange(WINDOW + 1), step.shape[1] - 1)
    return np.asarray(np.take_along_axis(following, step[np.arange(SEGMENTS)[:, None], following].argmax(axis=1)[:, None], axis=1)[:, 0])


def _step_place(total: F32Array, before: F32Array, after: F32Array, best: npt.NDArray[np.intp]) -> F32Array:
    """Place of the ideal step within the two windows around `best`, in samples, shape (SEGMENTS,)."""
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
    u: F32Array, offset: F32Array, usable: BoolArray, weight: F32Array, step_px: float
) -> tuple[float, float, BoolArray]:
    """Fit offset = shift + turn * u through most of the usable points.

    The start is the densest place among lines of a few turns; then bisquare weights (Beaton and Tukey, 1974) give the mean line.

    Returns
    -------
    shift, turn : float
        Zero when nothing is usable.
    kept : ndarray
        Points near the line, bool.
    """
    nothing = np.zeros(len(u), bool)
    if usable.sum() < 3:
        return 0.0, 0.0, nothing
    x, y, w = u[usable], offset[usable], weight[usable]
    turns = np.linspace(-8, 8, 17) * step_px
    levels = y[None, :] - turns[:, None] * x[None, :]
    grid = np.linspace(-20, 20, 81) * step_px
    votes = (w * np.exp(-0.5 * ((levels[:, None, :] - grid[None, :, None]) / (1.0 * step_px)) ** 2)).sum(axis=2)
    votes *= np.exp(-0.5 * (turns / (6 * step_px)) ** 2)[:, None]
    best_turn, best_level = np.unravel_index(int(votes.argmax()), votes.shape)
    shift, turn = float(grid[best_level]), float(turns[best_turn])
    scale = 2.5 * step_px
    for _ in range(4):
        residual = y - shift - turn * x
        bisquare = w * np.clip(1 - (residual / (2.0 * scale)) ** 2, 0, None) ** 2
        shift, turn = _weighted_line(x, y, bisquare, shift, turn)
        inside = np.abs(residual) < 2.0 * scale
        scale = float(
            np.clip(2.0 * np.sqrt((residual[inside] ** 2).mean()) if inside.any() else scale, step_px, 3 * step_px)
        )
    kept = usable & (np.abs(offset - shift - turn * u) < 2.0 * scale)
    return shift, turn, kept


def _weighted_line(x: F32Array, y: F32Array, w: F32Array, shift: float, turn: float) -> tuple[float, float]:
    total = float(w.sum())
    if total <= 0:
        return shift, turn
    mean_x, mean_y = float((w * x).sum()) / total, float((w * y).sum()) / total
    spread = float((w * (x - mean_x) ** 2).sum())
    if spread < 0.01 * total:
        return mean_y - turn * mean_x, turn
    slope = float((w * (x - mean_x) * (y - mean_y)).sum()) / spread
    return mean_y - slope * mean_x, slope
