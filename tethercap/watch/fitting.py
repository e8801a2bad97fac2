"""The edges of one likely place, fitted in the full picture from coarse to fine."""

import math
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np

from tethercap.film.formats import FilmFormat
from tethercap.geometry import crossing
from tethercap.pictures import F32Array, U8Array
from tethercap.watch.confidence import Fitted, is_seen
from tethercap.watch.judging import RIM_MM, Hypothesis, shows_bare_light
from tethercap.watch.perforations import PerforationRows
from tethercap.watch.refine import BLACK_SPREAD, SOFT, SideFit, refine_sides
from tethercap.watch.survey import Scene
from tethercap.watch.tones import BoolArray, like_base
from tethercap.watch.within import borders_within

COARSE_PX, COARSE_MM = 3.0, 0.15
"""How far off the search may be: so many small px, and as much as a gate is ragged. Further out lies edge print."""
COARSE_BLACK = 20.0
"""Codes by which the black beside a slide's edges may differ from that of the search."""
STILL_SEEN = 0.35
"""Share of an edge's segments that a blacker one further out must have to be taken for the frame's."""
FINER = ((0.35, 6.0), (0.2, 5.0))
"""How far from the assumed edge the finer passes look: mm, and px at least."""
SOFT_REACH = 4.5
"""How far to look for a soft edge, over its spread: the windows of `SOFT` are then 2.7 spreads wide."""
SPANS = 1.7
"""Spreads of an edge from which on a window beside it shows the tone of the base to a few percent."""
SETTLING, SETTLED = 3, 1.2
"""So many times the window of a soft edge is widened, as long as the edge turns out softer by this factor."""
BASE_SEEN = 0.3
"""Share of an edge with clear base outside from which on it is taken for an edge against base."""
TOUCHING_MM = 1.3
"""How far off an edge may be that no base showed to the search."""
BEYOND_MM, UNEVEN = (0.8, 1.6, 2.4), 0.3
"""Where base is looked for beyond a short edge, and how far it may differ there."""
RUNS_ALONG = 0.25
"""Share of an edge between two pictures that must be seen: contours in them end sooner."""
HOLES_SHARE, HOLES_IN_STEP, LEAST_HOLES = 0.5, 0.65, 3
"""A row of holes is seen over less of an edge than this share, is so regular (1: all at one place of the pitch), and
has so many holes at least."""
SIZE_OFF = 0.015
"""How far a known scale and a camera's gate may be off together, beyond the format's own tolerance, as a share."""
DOUBTFUL = 0.7
"""Share of that from which on a frame is also looked for without either of two edges."""
Touching = tuple[bool, bool, bool, bool]
NOWHERE: Touching = (False, False, False, False)


def fit_place(
    pixels_bgr: U8Array,
    scene: Scene,
    hypothesis: Hypothesis,
    rows: PerforationRows | None,
    *,
    knows_scale: bool,
    in_view: PerforationRows | None = None,
) -> list[Fitted]:
    """Fit the edges near a hypothesis in the full picture.

    Parameters
    ----------
    pixels_bgr : ndarray
        The full view, shape (height, width, 3), uint8.
    scene : Scene
        The same view, small, not inverted.
    hypothesis : Hypothesis
        Where to look.
    rows : PerforationRows or None
        Where the strip's middle is, if it is known.
    knows_scale : bool
        Whether the hypothesis' scale is known, and not only what makes the frame fit.
    in_view : PerforationRows or None
        Perforations that are seen, whether the place was found with them or not.

    Returns
    -------
    list of Fitted
        One; but where a pair of edges lies further apart or nearer than the frame is large, what is found without
        the one and without the other, if anything.
    """
    place = _Place(pixels_bgr, scene.view.factor, hypothesis)
    sides = _fit_sides(place, place.corners())
    several = _without_misfits(place, sides) if knows_scale else [sides]
    exact = in_view if in_view is not None and in_view.is_exact else None
    return [_described(place, scene, rows, exact, *one) for one in several]


@dataclass(frozen=True, slots=True, eq=False)
class _Place:
    """Where to look, and in what."""

    pixels_bgr: U8Array
    factor: int
    """Full px per small px."""
    hypothesis: Hypothesis

    @property
    def px_per_mm(self) -> float:
        """Full px."""
        return self.hypothesis.px_per_mm * self.factor

    @property
    def size_px(self) -> tuple[float, float]:
        """Along and across, full px."""
        f = self.hypothesis.film_format
        return f.along_mm * self.px_per_mm, f.across_mm * self.px_per_mm

    def corners(self) -> F32Array:
        """As searched, full px, shape (4, 2)."""
        return ((self.hypothesis.corners() + 0.5) * self.factor - 0.5).astype(np.float32)


def _described(
    place: _Place,
    scene: Scene,
    rows: PerforationRows | None,
    exact: PerforationRows | None,
    corners: F32Array,
    fits: tuple[SideFit, ...],
    touching: Touching,
) -> Fitted:
    """Say how what was fitted lies on its strip and in the view."""
    hypothesis, px_per_mm, height = place.hypothesis, place.px_per_mm, place.pixels_bgr.shape[0]
    found = replace(hypothesis, touching=touching)
    bases = [fit.outside for fit in fits if is_seen(fit)]
    base = np.mean(bases, axis=0) if bases else hypothesis.base
    middle_off = abs(float(corners[:, 1].mean()) - (height - 1) / 2)
    return Fitted(
        found, corners, fits, px_per_mm, _strip_off_mm(place, scene, rows, corners),
        exact_off_mm=_strip_off_mm(place, scene, exact, corners),
        light_inside=hypothesis.inverted and rows is None and shows_bare_light(scene.view, hypothesis),
        borders=borders_within(scene.view, corners, base, inverted=hypothesis.inverted),
        middle_off=middle_off / (hypothesis.film_format.across_mm * px_per_mm),
    )  # fmt: skip


def _strip_off_mm(place: _Place, scene: Scene, rows: PerforationRows | None, corners: F32Array) -> float | None:
    """How far the frame's middle lies off the strip's; None without perforations."""
    if rows is None:
        return None
    x, y = corners.mean(axis=0)
    expected = scene.view.to_full(rows.middle_y) + rows.slope * (x - (place.pixels_bgr.shape[1] - 1) / 2)
    return float((y - expected) / place.px_per_mm)


Sides = tuple[F32Array, tuple[SideFit, ...], Touching]
"""Corners in full px, the fits of the sides, and which of them touch."""


def _without_misfits(place: _Place, found: Sides) -> list[Sides]:
    """Where two opposite edges do not lie as far apart as the frame is large, one of them is none: try without each."""
    corners, fits, _ = found
    pair = _misfit(place, found, DOUBTFUL)
    if pair is None:
        return [found]
    without = (_fit_sides(place, move_sides(corners, _lacking(fits, side), place.size_px)) for side in pair)
    fitting = [again for again in without if _misfit(place, again) is None]
    return [found, *fitting] if _misfit(place, found) is None else fitting


def _misfit(place: _Place, sides: Sides, share: float = 1.0) -> tuple[int, int] | None:
    """Two opposite edges that are both seen, and lie further apart or nearer than the frame is large, by more than a
    share of what is possible.
    """
    corners, fits, _ = sides
    tolerance_px = place.hypothesis.film_format.size_tolerance_mm * place.px_per_mm
    for pair, nominal_px in zip(((1, 3), (0, 2)), place.size_px, strict=True):
        off_px = abs(_extent(corners, pair) - nominal_px)
        if all(is_seen(fits[side]) for side in pair) and off_px > share * (tolerance_px + SIZE_OFF * nominal_px):
            return pair
    return None


def _extent(corners: F32Array, pair: tuple[int, int]) -> float:
    """Distance between the middles of two opposite sides, px."""
    middles = (corners + np.roll(corners, -1, axis=0)) / 2
    return float(np.hypot(*(middles[pair[0]] - middles[pair[1]])))


def _lacking(fits: tuple[SideFit, ...], lacking: int) -> tuple[SideFit, ...]:
    """Fits that leave the corners as they are, with one side unseen."""
    return tuple(replace(fit, shift=0.0, turn=0.0, seen=fit.seen & (side != lacking)) for side, fit in enumerate(fits))


def _fit_sides(place: _Place, start: F32Array) -> Sides:
    """Fit against base; where a short edge shows none, as one between pictures that touch, if it runs all along."""
    corners, fits = _passes(place, start, NOWHERE)
    if not (is_seen(fits[0]) or is_seen(fits[2])):
        return corners, fits, NOWHERE
    bare = [
        side % 2 == 1
        and fit.seen_share < BASE_SEEN
        and bool(fit.visible.mean() > BASE_SEEN)
        and _film_goes_on(place, corners, fits, side)
        for side, fit in enumerate(fits)
    ]
    while any(bare):
        touching = (bare[0], bare[1], bare[2], bare[3])
        moved, again = _passes(place, start, touching)
        runs = [
            is_bare and bool(fit.seen.sum() > RUNS_ALONG * fit.visible.sum())
            for is_bare, fit in zip(bare, again, strict=True)
        ]
        if runs == bare:
            return moved, again, touching
        bare = runs
    return corners, fits, NOWHERE


def _film_goes_on(place: _Place, corners: F32Array, fits: tuple[SideFit, ...], side: int) -> bool:
    """Whether there is base beyond a short edge, beside a long one prolonged: a holder would hide it.

    The black of a slide cannot be told from a holder's.
    """
    if place.hypothesis.inverted:
        return True
    out = corners[side] - corners[side - 1]
    up = corners[side] - corners[(side + 1) % 4]
    out, up = (step / np.hypot(*step) * np.float32(place.px_per_mm) for step in (out, up))
    for long, corner, away in ((side - 1, corners[side], up), ((side + 1) % 4, corners[(side + 1) % 4], -up)):
        places = corner + np.array(BEYOND_MM, np.float32)[:, None] * out + np.float32(RIM_MM) * away
        tones = cv2.remap(place.pixels_bgr, places[:, None, 0], places[:, None, 1], cv2.INTER_LINEAR)[:, 0]
        if is_seen(fits[long]) and like_base(tones.astype(np.float32), fits[long].outside, UNEVEN).all():
            return True
    return False


def _passes(place: _Place, corners: F32Array, touching: Touching) -> tuple[F32Array, tuple[SideFit, ...]]:
    """Fit from coarse to fine, each pass around the edges of the one before."""
    hypothesis, px_per_mm, size_px = place.hypothesis, place.px_per_mm, place.size_px
    bases = np.repeat(hypothesis.base[None, :], 4, axis=0)
    coarse_px = np.full(4, COARSE_PX * place.factor + COARSE_MM * px_per_mm, np.float32)
    coarse_px[list(touching)] = np.maximum(coarse_px[0], TOUCHING_MM * px_per_mm)

    def fit(*lines: F32Array, **how: Any) -> tuple[SideFit, ...]:
        fits = refine_sides(place.pixels_bgr, *lines, inverted=hypothesis.inverted, touching=touching, **how)
        return without_rows_of_holes(fits, hypothesis.film_format)

    fits = fit(corners, bases, reach_px=coarse_px, black=COARSE_BLACK)
    if hypothesis.inverted:
        bases = _blackest(bases, fits)
        if not _share_a_base(fits, bases):
            # One of them may be an edge inside the picture, with the frame's further out.
            fits, bases = _stricter(fits, fit(corners, bases, reach_px=coarse_px), bases)
    corners = move_sides(corners, fits, size_px)
    for reach_mm, least_px in FINER:
        bases = _beside(bases, fits, touching)
        reach_px = np.maximum(_gate_reach(place, fits), np.float32(max(reach_mm * px_per_mm, least_px)))
        wide_px = _wide_reach(fits, touching)
        fits = fit(corners, bases, reach_px=reach_px, black=COARSE_BLACK)
        for _ in range(SETTLING):
            if (wide_px <= reach_px).all():
                break
            wide = fit(corners, bases, reach_px=np.maximum(wide_px, reach_px), black=COARSE_BLACK, sampling=SOFT)
            fits = _softer(fits, wide, wide_px > reach_px)
            before, wide_px = wide_px, _wide_reach(fits, touching)
            if (wide_px < SETTLED * before).all():
                break
        corners = move_sides(corners, fits, size_px)
    return corners, fits


def _gate_reach(place: _Place, fits: tuple[SideFit, ...]) -> F32Array:
    """How far off sides may be that are placed by the frame's size from the opposite one, px, shape (4,); others 0."""
    tolerance_px = place.hypothesis.film_format.size_tolerance_mm * place.px_per_mm
    placed = [not is_seen(fit) and is_seen(fits[side - 2]) for side, fit in enumerate(fits)]
    return np.where(placed, np.float32(tolerance_px), np.float32(0))


def without_rows_of_holes(fits: tuple[SideFit, ...], film_format: FilmFormat) -> tuple[SideFit, ...]:
    """Leave long edges unseen that are seen at the perforations' pitch only: light in the holes, and no edge.

    Parameters
    ----------
    fits : tuple of SideFit
        Top, right, bottom, left.
    film_format : FilmFormat
        Says the pitch; formats without perforations leave the fits as they are.
    """
    holes = film_format.perforations
    if holes is None:
        return fits
    pitches = film_format.along_mm / holes.pitch_mm
    return tuple(
        replace(fit, seen=np.zeros_like(fit.seen)) if side % 2 == 0 and _is_row_of_holes(fit.seen, pitches) else fit
        for side, fit in enumerate(fits)
    )


def _is_row_of_holes(seen: BoolArray, pitches: float) -> bool:
    count = int(seen.sum())
    if not LEAST_HOLES <= count < HOLES_SHARE * len(seen):
        return False
    places = (np.flatnonzero(seen) + 0.5) * (pitches / len(seen))
    in_step = complex(np.exp(2j * np.pi * places).mean())
    holes = np.unique(np.rint(places - np.angle(in_step) / (2 * np.pi)))
    return abs(in_step) > HOLES_IN_STEP and len(holes) >= LEAST_HOLES


def _wide_reach(fits: tuple[SideFit, ...], touching: Touching) -> F32Array:
    """How far to look for edges as soft as these, px, shape (4,): between two pictures the spread is the pictures'."""
    spreads = [
        fit.spread_px if is_seen(fit) and not is_touching else 0.0
        for fit, is_touching in zip(fits, touching, strict=True)
    ]
    return np.array(spreads, np.float32) * np.float32(SOFT_REACH)


def _softer(fits: tuple[SideFit, ...], wide: tuple[SideFit, ...], is_soft: BoolArray) -> tuple[SideFit, ...]:
    """Take the fits with wide windows where the edge is soft, unless they lose it."""
    return tuple(
        other if soft and other.seen.sum() >= STILL_SEEN * one.seen.sum() else one
        for one, other, soft in zip(fits, wide, is_soft, strict=True)
    )


def _beside(bases: F32Array, fits: tuple[SideFit, ...], touching: Touching) -> F32Array:
    """Tone of the base beside each side, as the fits show it, shape (4, 3): light falls off towards the corners.

    Only from windows that span the edge: else the edge's own flank would be taken for base.
    """
    tones = [
        fit.outside if fit.seen_share > 0.2 and not is_touching and fit.window_px > SPANS * fit.spread_px else base
        for fit, base, is_touching in zip(fits, bases, touching, strict=True)
    ]
    return np.asarray(tones, np.float32)


def _blackest(bases: F32Array, fits: tuple[SideFit, ...]) -> F32Array:
    """Blackest tone beside any side, for all of them, shape (4, 3): a dark part of a slide is not its base."""
    seen = [fit.outside for fit in fits if fit.seen_share > 0.2]
    blackest = max(seen, key=lambda tone: float(tone.sum()), default=bases[0])
    return np.asarray(np.tile(blackest, (4, 1)), np.float32)


def _share_a_base(fits: tuple[SideFit, ...], bases: F32Array) -> bool:
    """Whether all sides that are seen lie against the same black."""
    black = [like_base(fit.outside, base, black=BLACK_SPREAD) for fit, base in zip(fits, bases, strict=True)]
    return all(is_black or not is_seen(fit) for is_black, fit in zip(black, fits, strict=True))


def _stricter(
    loose: tuple[SideFit, ...], strict: tuple[SideFit, ...], bases: F32Array
) -> tuple[tuple[SideFit, ...], F32Array]:
    """Take the fit against the blackest tone where there is such an edge; elsewhere light has spread over the black."""
    fits, tones = list(loose), bases.copy()
    for side, (one, other) in enumerate(zip(loose, strict, strict=True)):
        if other.seen.sum() >= STILL_SEEN * one.seen.sum():
            fits[side] = other
        else:
            tones[side] = one.outside
    return tuple(fits), tones


def move_sides(corners: F32Array, fits: tuple[SideFit, ...], size_px: tuple[float, float]) -> F32Array:
    """Move each side by its fit; place unseen sides by the frame's size from the opposite one.

    Parameters
    ----------
    corners : ndarray
        Corners the fits refer to, shape (4, 2), clockwise from the top left.
    fits : tuple of SideFit
        Top, right, bottom, left.
    size_px : tuple of float
        Width and height to use where one of a pair is not seen, px.
    """
    points = [(x, y) for x, y in corners.tolist()]
    sides = [(points[side], points[(side + 1) % 4]) for side in range(4)]
    moved = [_moved(*side, fit) if is_seen(fit) else None for side, fit in zip(sides, fits, strict=True)]
    lines = []
    for side, line in enumerate(moved):
        other = moved[side - 2]
        lines.append(line or (_opposite(*other, size_px[side % 2 == 0]) if other else sides[side]))
    return np.array([crossing(*lines[side - 1], *lines[side]) for side in range(4)], np.float32)


Point = tuple[float, float]


def _inward(start: Point, end: Point) -> Point:
    """Unit vector to the right of the way from start to end: into a quadrilateral that is gone round clockwise."""
    x, y = end[0] - start[0], end[1] - start[1]
    length = math.hypot(x, y)
    return -y / length, x / length


def _moved(start: Point, end: Point, fit: SideFit) -> tuple[Point, Point]:
    """Two points of the line that was fitted along a side."""
    x, y = _inward(start, end)
    low, high = fit.shift - fit.turn, fit.shift + fit.turn
    return (start[0] + x * low, start[1] + y * low), (end[0] + x * high, end[1] + y * high)


def _opposite(start: Point, end: Point, depth_px: float) -> tuple[Point, Point]:
    """Two points of the parallel to a side, so far inward."""
    x, y = _inward(start, end)
    return (end[0] + x * depth_px, end[1] + y * depth_px), (start[0] + x * depth_px, start[1] + y * depth_px)
