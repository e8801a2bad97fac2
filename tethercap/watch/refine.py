"""Sub-pixel edges: bands along each side, straightened and cut into segments; a mean line through their steps."""

import math
from dataclasses import dataclass
from functools import cache, cached_property

import cv2
import numpy as np
import numpy.typing as npt

from tethercap.pictures import F32Array, U8Array
from tethercap.watch.lines import support_map
from tethercap.watch.robust import robust_lines
from tethercap.watch.step_place import at, spread, step_place, summed
from tethercap.watch.tones import BoolArray, followed_base, like_base, summed_up


@dataclass(frozen=True, slots=True)
class Sampling:
    """How finely a band is sampled."""

    segments: int
    """Pieces each side is cut into."""
    per_segment: int
    """Samples along each piece; their mean is its profile."""
    across: int
    """Samples across the band, odd: the middle one lies on the line assumed so far."""
    window: int = 6
    """Samples on either side of a step that say how large it is."""
    tells_spread: bool = True
    """Whether it is measured how soft the edges are."""


SEARCHING = Sampling(60, 4, 41)
"""For a place that is known to some tenths of a millimetre."""
SOFT = Sampling(60, 4, 41, 12)
"""For an edge that a window of the usual width does not span: out of focus, or smeared by movement."""
TRACKING = Sampling(28, 3, 23, tells_spread=False)
"""For an edge that was seen in the picture before: a quarter of the work."""
BLACK_SPREAD = 12.0
"""Codes by which the black of a slide differs along its edges."""
ONE_WAY = 0.7
"""Share of the clearest line's steps from which on one that is denser inside all along goes before it."""
OVERLAP = 0.5
"""The same where the clearest line is less dense inside all along: such a line may be the neighbour's end."""
DARK, LIT = 0.3, 1.1
"""What is darker than this share of the base is the holder, what is brighter is light: no picture that touches."""
SOME_DENSER = 0.25
"""Share of an edge between two pictures along which the frame's own is the denser one."""
OVER_TEXTURE = 1.5
"""An edge between pictures shows in steps so much larger than the middle one around it: leaves are full of steps."""
NEAR = 2
"""Samples by which an edge may be ragged about its line where only the line tells it from contours."""
LIGHT_OVER_BASE = 1.04
"""How much brighter than expected the base may be."""
LIGHT, MOSTLY = 1.25, 0.5
"""What is so much brighter than the base is light; where it fills most of the window outside a step, the step is not
the frame's edge."""
ENOUGH_STEP = 10.0
ENOUGH_NOISE = 5.0
"""So much of the noise, up to `ENOUGH_STEP` codes, is an edge, however much stronger ones there may be further in."""
STEEPER, DIP, GLOW_REACH = 2.0, 0.6, 12
"""A step goes on inwards, for so many samples at most, as long as it keeps so much of its size; it is followed where it
gets so many times as steep."""
FULL_WEIGHT = 14.0
"""Steps of more codes weigh no more: a faint edge seen all along goes before a strong one here and there."""
LEAST_STEP = 3.5
"""Steps of fewer codes are none."""
OVER_NOISE = 3.0
"""And those of less than so many times the noise."""


@dataclass(frozen=True, eq=False)
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
    spread_px: float = 0.0
    """Standard deviation of the blur that would make a sharp edge so soft, full px."""
    window_px: float = 0.0
    """How wide the windows on both sides of it were, full px."""

    @cached_property
    def seen_share(self) -> float:
        """Share of the edge that is seen, 0..1: asked for with every picture, also where nothing was fitted anew."""
        return float(np.count_nonzero(self.seen) / self.seen.size)


def refine_sides(
    pixels_bgr: U8Array,
    corners: F32Array,
    bases: F32Array,
    *,
    reach_px: float | F32Array,
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
    reach_px : float or ndarray
        How far off the assumed lines the edges may be, full px; one for all sides, or shape (4,).
    inverted : bool
        True for a slide.
    touching : tuple of bool
        Sides where no base lies outside: the longest line of steps either way is taken.
    sampling : Sampling
        How finely the bands are sampled.
    black : float
        Codes by which the black of a slide may differ from its base.
    """
    step_px = np.full(4, reach_px, np.float32) * np.float32(2 / (sampling.across - 1))
    bands, visible = sample_bands(pixels_bgr, corners, step_px, sampling)
    if inverted:
        bands = np.float32(255.0) - bands
    bases, either_way = np.asarray(bases, np.float32), np.array(touching)
    lit = ~either_way[:, None, None] & (_grey(bands) > np.float32(LIGHT) * _grey(bases)[:, None, None])
    # Nothing on a negative is brighter than its base: what is, is light beside the film or through a hole.
    brightest = np.where(either_way[:, None], np.float32(255), np.float32(LIGHT_OVER_BASE) * bases)
    np.minimum(bands, brightest[:, None, None, :], out=bands)
    return _fit(bands, lit, visible, bases, step_px, either_way, black if inverted else None, sampling)


def sample_bands(
    pixels_bgr: U8Array, corners: F32Array, step_px: F32Array, sampling: Sampling
) -> tuple[F32Array, BoolArray]:
    """Straighten a band along each side, sampled every `step_px` of it across.

    Returns
    -------
    bands : ndarray
        Shape (4, segments, across, 3), from outside to inside.
    visible : ndarray
        Shape (4, segments), bool: the segment's middle lies in the view.
    """
    count, across = sampling.segments * sampling.per_segment, sampling.across
    bands = np.empty((4, count, across, 3), np.uint8)
    points = corners.tolist()
    for side, step in enumerate(step_px.tolist()):
        (x, y), (end_x, end_y) = points[side], points[(side + 1) % 4]
        row_x, row_y = (end_x - x) / count, (end_y - y) / count
        to_px = step / max(math.hypot(row_x, row_y), 1e-6)
        column_x, column_y = -row_y * to_px, row_x * to_px
        # From column and row of the band to the picture.
        first_x, first_y = x + 0.5 * row_x - column_x * (across // 2), y + 0.5 * row_y - column_y * (across // 2)
        to_picture = np.array([[column_x, row_x, first_x], [column_y, row_y, first_y]])
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        cv2.warpAffine(pixels_bgr, to_picture, (across, count), bands[side], flags, cv2.BORDER_REPLICATE)
    u = ((np.arange(sampling.per_segment // 2, count, sampling.per_segment) + 0.5) / count).astype(np.float32)
    middle = corners[:, None, :] + (corners[[1, 2, 3, 0]] - corners)[:, None, :] * u[:, None]
    x, y = middle[..., 0], middle[..., 1]
    height, width = pixels_bgr.shape[:2]
    visible = (x > 1) & (y > 1) & (x < width - 2) & (y < height - 2)
    pieces = bands.reshape(4, sampling.segments, sampling.per_segment, across, 3)
    grouped = pieces.sum(axis=2, dtype=np.uint16).astype(np.float32)
    grouped *= np.float32(1.0 / sampling.per_segment)
    return grouped, visible


def _fit(
    bands: F32Array,
    lit: BoolArray,
    visible: BoolArray,
    bases: F32Array,
    step_px: F32Array,
    either_way: BoolArray,
    black: float | None,
    sampling: Sampling,
) -> tuple[SideFit, ...]:
    """Fit all sides at once; `bands` has shape (sides, segments, across, 3), outside first, `lit` one less."""
    segments, across = bands.shape[1:3]
    window = sampling.window
    means = _running_means(summed(bands), window)
    before, after = means[:, :, :-window], means[:, :, window:]
    level = _grey(means)
    step = level[:, :, :-window] - level[:, :, window:]
    clear = like_side = like_base(before, bases[:, None, None, :], 0.2, black=black)
    if black is None and not like_side[:, :, 0].all():
        clear = like_side | _clear_where_followed(before, like_side[:, :, 0], bases)
    if lit.any():
        clear = clear & (_running_means(summed(lit.astype(np.float32)), window)[:, :, :-window] < MOSTLY)
    # A soft edge reaches into the window before it: the base is read a little further out.
    further = np.maximum(np.arange(before.shape[2]) - window // 2, 0)
    clear = clear[:, :, further]
    grey = _grey(bands)
    noise = _noise(level)
    best = _outermost(step, clear, across, noise, window)
    least = np.maximum(OVER_NOISE * noise, LEAST_STEP)
    for side in np.flatnonzero(either_way):
        step[side], clear[side], best[side], least[side] = _between_pictures(
            before[side], after[side], bases[side], visible[side], float(least[side]), is_slide=black is not None
        )
    first = best
    best = np.where(either_way[:, None], first, _steepest(step, first))
    size = at(step, best)
    usable = (size > least[:, None]) & at(clear, first) & visible
    low = at(after, best)
    offset = (step_place(bands, best, window, inverted=black is not None) - across // 2) * step_px[:, None]
    u = ((np.arange(segments) + 0.5) / segments * 2 - 1).astype(np.float32)
    weight = np.where(usable, np.minimum(size, np.float32(FULL_WEIGHT)), np.float32(0))
    shift, turn, kept = robust_lines(u, offset, weight, step_px, across // 2)
    residual = np.where(kept, offset - shift[:, None] - turn[:, None] * u, 0)
    count = np.maximum(kept.sum(axis=1), 1)
    ragged = np.sqrt((residual * residual).sum(axis=1) / count)
    contrast = (size * kept).sum(axis=1) / count / noise
    base_place = further[first]
    outside = _outside(at(before, base_place), kept, at(like_side, base_place) | either_way[:, None])
    inside = (low * kept[..., None]).sum(axis=1) / count[:, None]
    spread_px = spread(grey, best, kept, window) * step_px if sampling.tells_spread else np.zeros_like(step_px)
    numbers = np.stack([shift, turn, contrast, ragged, spread_px, window * step_px], axis=1).tolist()
    return tuple(
        SideFit(at_shift, at_turn, kept[i], visible[i], over_noise, ragged_px, outside[i], inside[i], blur_px, wide_px)
        for i, (at_shift, at_turn, over_noise, ragged_px, blur_px, wide_px) in enumerate(numbers)
    )


def _clear_where_followed(tones: F32Array, alike: BoolArray, bases: F32Array) -> BoolArray:
    """Where there is base that is no longer like its side's, shape (sides, segments, places).

    Parameters
    ----------
    tones : ndarray
        Outside of each place, shape (sides, segments, places, 3).
    alike : ndarray
        Where the outermost of them is like the side's base, shape (sides, segments).
    bases : ndarray
        Tone of the base beside each side, shape (sides, 3).
    """
    sides, segments, places = tones.shape[:3]
    outermost = tones[:, :, 0].reshape(-1, 3)
    followed = followed_base(outermost, alike.ravel(), np.repeat(bases, segments, axis=0))
    clear = np.zeros((sides * segments, places), bool)
    if followed.any():
        clear[followed] = like_base(tones.reshape(-1, places, 3)[followed], outermost[followed][:, None], 0.2)
    return clear.reshape(sides, segments, places)


def _outside(tones: F32Array, kept: BoolArray, like_side: BoolArray) -> F32Array:
    """Mean tone outside each side, of the part like the side's if there is any, shape (sides, 3)."""
    told = kept & like_side
    told = np.where(told.any(axis=1, keepdims=True), told, kept)
    count = np.maximum(told.sum(axis=1), 1)
    return np.asarray((tones * told[..., None]).sum(axis=1) / count[:, None], np.float32)


def _running_means(total: F32Array, window: int) -> F32Array:
    """Mean of each window, shape (sides, segments, across + 1 - window, 3)."""
    return np.asarray((total[:, :, window:] - total[:, :, :-window]) * np.float32(1 / window))


def _grey(tones: F32Array) -> F32Array:
    """Mean of the channels."""
    return np.asarray(summed_up(tones) * np.float32(1 / 3))


def _outermost(step: F32Array, clear: BoolArray, across: int, noise: F32Array, window: int) -> npt.NDArray[np.intp]:
    """Where each segment first leaves the base: the picture's own contours lie further in, and may be stronger.

    Only crests of the step count: the flank of a brighter edge outside (film against bare light) is passed over.
    """
    weighted = step * _likely_places(step.shape[2], window, across)
    crest = clear.copy()
    crest[..., 1:] &= step[..., 1:] >= step[..., :-1]
    crest[..., :-1] &= step[..., :-1] >= step[..., 1:]
    weighted = np.where(crest, weighted, np.float32(0))
    sure = np.minimum(np.maximum(ENOUGH_NOISE * noise, LEAST_STEP), ENOUGH_STEP)
    enough = np.minimum(np.float32(0.5) * weighted.max(axis=2), sure[:, None])
    return np.asarray((weighted >= enough[..., None]).argmax(axis=2), np.intp)


def _steepest(step: F32Array, first: npt.NDArray[np.intp]) -> npt.NDArray[np.intp]:
    """Follow a step that gets ever steeper inwards to where it is steepest: in a glow about a dense picture, the flank.

    Parameters
    ----------
    step : ndarray
        Shape (sides, segments, places).
    first : ndarray
        Where each segment leaves the base, shape (sides, segments).
    """
    size = at(step, first)[..., None]
    off = np.arange(step.shape[2]) - first[..., None]
    within = (off >= 0) & (off <= GLOW_REACH)
    dips = within & (step < np.float32(DIP) * size)
    goes_on = within & ~np.logical_or.accumulate(dips, axis=2)
    steepest = np.where(goes_on, step, np.float32(-1)).argmax(axis=2)
    return np.asarray(np.where(at(step, steepest) > np.float32(STEEPER) * size[..., 0], steepest, first), np.intp)


@cache
def _likely_places(length: int, window: int, across: int) -> F32Array:
    """How likely the edge lies at each place of a band beforehand: most in its middle."""
    places = np.arange(length) + window - 0.5 - across // 2
    return np.asarray(np.exp(-0.5 * (places / (across / 3.5)) ** 2), np.float32)


def _between_pictures(
    before: F32Array, after: F32Array, base: F32Array, visible: BoolArray, least: float, *, is_slide: bool
) -> tuple[F32Array, BoolArray, npt.NDArray[np.intp], float]:
    """Look for one side's edge where another picture lies outside.

    Parameters
    ----------
    before, after : ndarray
        Tones of the windows outside and inside of each place, shape (segments, places, 3).
    base : ndarray
        Tone of the clear base, shape (3,).
    visible : ndarray
        Which segments lie in the view, shape (segments,).
    least : float
        Least step over the noise, codes.
    is_slide : bool
        Where the holder is as black as the base.

    Returns
    -------
    step : ndarray
        Largest step of any channel at each place, shape (segments, places).
    possible : ndarray
        Where an edge may lie, of the same shape.
    best : ndarray
        Where it lies, shape (segments,).
    least : float
        Least step over noise and texture.
    """
    level = _grey(before) / max(float(base.mean()), 1.0)
    # Beyond the neighbour's picture there is film; where there is light, it ends, and its end is soft like an edge.
    brightest = np.maximum.accumulate(level, axis=1)
    possible = np.full(level.shape, True) if is_slide else (level > DARK) & (brightest < LIT)
    denser = _grey(before) > _grey(after)
    gap = like_base(after, base, 0.2, black=BLACK_SPREAD if is_slide else None)
    step = np.asarray(np.where(possible, np.abs(before - after).max(axis=2), 0), np.float32)
    texture = OVER_TEXTURE * float(np.median(step[visible])) if visible.any() else 0.0
    least = max(least, texture)
    best = _on_one_line(denser, step, gap, visible, max(ENOUGH_STEP, texture))
    on_line = np.arange(len(best)), best
    shown = visible & (step[on_line] > least)
    # Where base lies inside all along, and it is darker outside, the neighbour ends.
    if (denser | ~gap)[on_line][shown].sum() < SOME_DENSER * shown.sum():
        possible[:] = False
    return step, possible, best, least


def _on_one_line(
    denser: BoolArray, step: F32Array, gap: BoolArray, visible: BoolArray, enough: float
) -> npt.NDArray[np.intp]:
    """Where each segment crosses the one line along which the most segments show a step, shape (segments,).

    Between two pictures that touch there is no base to tell the edge from contours on either side: it is the line
    that runs on where they end. Over a narrow gap and where frames overlap there are two, and what lies within this
    frame's is denser than what lies outside, since exposure only adds to density.

    Parameters
    ----------
    denser : ndarray
        Whether the inside is denser at each place, shape (segments, places).
    step : ndarray
        The largest step of any channel there, codes.
    gap : ndarray
        Whether there is clear base inside of each place.
    visible : ndarray
        Which segments lie in the view, shape (segments,).
    enough : float
        Codes from which on larger steps count no more.
    """
    segments, places = step.shape
    u = ((np.arange(segments) + 0.5) / segments * 2 - 1).astype(np.float32)
    turns = np.linspace(-0.5 * places, 0.5 * places, 25).astype(np.float32)
    off = np.arange(places, dtype=np.float32) - (places - 1) / 2
    likely = np.exp(-0.5 * (turns[:, None] ** 2 + off * off) / np.float32(0.35 * places) ** 2)
    size = np.minimum(step * visible[:, None], np.float32(enough))
    inward = np.where(denser, size, -size)
    either = support_map(size, u, 0.0, turns) * likely
    one_way = support_map(size * denser, u, 0.0, turns) * likely
    turn, place = np.unravel_index(int(either.argmax()), either.shape)
    longest = either[turn, place]
    along = [float(support_map(of, u, 0.0, turns[turn : turn + 1])[0, place]) for of in (inward, inward * gap)]
    brighter, ends = (share * likely[turn, place] < -ONE_WAY * longest for share in along)
    if brighter:
        # The neighbour ends here, over base or over this frame, whose own edge then lies further out.
        one_way[:, max(place - NEAR, 0) :] = 0
    if ends or one_way.max() > (OVERLAP if brighter else ONE_WAY) * longest:
        turn, place = np.unravel_index(int(one_way.argmax()), one_way.shape)
    on_line = np.rint(place + turns[turn] * u).astype(np.intp)
    near = np.clip(on_line[:, None] + np.arange(-NEAR, NEAR + 1), 0, places - 1)
    return np.asarray(near[np.arange(segments), np.take_along_axis(step, near, axis=1).argmax(axis=1)], np.intp)


def _noise(level: F32Array) -> F32Array:
    """Standard deviation of the noise of each band's steps, at least half a code, shape (sides,).

    It is by how much the windows' levels, shape (sides, segments, places), differ from one segment to the next where
    the band is quietest: between neighbours a step has the noise of two windows, and so has the difference of two.
    """
    change = np.abs(level[:, 1:] - level[:, :-1])
    middle = change.shape[1] // 2
    typical = np.partition(change, middle, axis=1)[:, middle]
    quiet = typical.shape[1] // 10
    return np.maximum(np.partition(typical, quiet, axis=1)[:, quiet] * np.float32(1.4826), np.float32(0.5))
