"""The frame's edges in one picture: found from nothing, fitted to a fraction of a pixel, with evidence for each."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from tethercap.film.formats import FilmFormat
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx
from tethercap.pictures import F32Array, U8Array
from tethercap.watch.confidence import Fitted, confidence, features, is_believable, is_seen
from tethercap.watch.judging import Hypothesis, shows_bare_light
from tethercap.watch.perforations import PerforationRows
from tethercap.watch.reduced import ReducedView, reduce_view
from tethercap.watch.refine import BLACK_SPREAD, SideFit, refine_sides
from tethercap.watch.search import search
from tethercap.watch.sighting import EdgeEvidence, FrameEdges, Reason, ReasonCode, Side
from tethercap.watch.survey import Scale, Scene, inverted, perforations_in, survey, without_holes
from tethercap.watch.tones import like_base
from tethercap.watch.within import borders_within

SIDES = (Side.TOP, Side.RIGHT, Side.BOTTOM, Side.LEFT)


@dataclass(frozen=True, slots=True)
class NotSeen:
    """No frame was found, and why."""

    reasons: tuple[Reason, ...]
    film_present: bool | None = None
    """None where it cannot be told."""
    film_kind: FilmKind | None = None


def find_frame_edges(
    pixels_bgr: U8Array,
    *,
    film_format: FilmFormat | None,
    film_kind: FilmKind | None = None,
    mm_per_px: float | None = None,
    formats: Sequence[FilmFormat] = (),
) -> FrameEdges | NotSeen:
    """Find the frame nearest the middle of a picture.

    Parameters
    ----------
    pixels_bgr : ndarray
        Shape (height, width, 3), uint8, display-encoded; channel order blue, green, red.
    film_format : FilmFormat or None
        None tries all of `formats`.
    film_kind : FilmKind or None
        None tells it by the picture.
    mm_per_px : float or None
        Scale, known to about 1 %; None finds it out.
    formats : sequence of FilmFormat
        What comes into question when `film_format` is None.

    Returns
    -------
    FrameEdges or NotSeen
        Never a guess: with too little evidence it says what is missing.

    Raises
    ------
    ValueError
        If the picture has not three channels of uint8, or no format is given at all.
    """
    if pixels_bgr.ndim != 3 or pixels_bgr.shape[2] != 3 or pixels_bgr.dtype != np.uint8:
        raise ValueError(
            f"a picture of shape (height, width, 3) and type uint8 is needed, got {pixels_bgr.shape} {pixels_bgr.dtype}"
        )
    candidates = (film_format,) if film_format is not None else tuple(formats)
    if not candidates:
        raise ValueError("a film format, or formats to choose from, must be given")
    if min(pixels_bgr.shape[:2]) < LEAST_VIEW_PX:
        return NotSeen((Reason(ReasonCode.NO_PICTURE, "the picture is too small to see a frame in"),))
    best = choose(
        fit_likely(reduce_view(pixels_bgr), pixels_bgr, candidates, film_kind, mm_per_px),
        pixels_bgr.shape[1],
        film_kind,
    )
    if best is None:
        return NotSeen((Reason(ReasonCode.EDGES_NOT_SEEN, "no edge of a frame is seen"),))
    if _is_neighbour(best[0], pixels_bgr.shape[1]):
        why = Reason(ReasonCode.BETWEEN_FRAMES, "only a neighbour of the frame nearest the middle is seen")
        return NotSeen((why,), True, film_kind)
    return as_answer(*best, film_kind, mm_per_px)


def fit_likely(
    view: ReducedView,
    pixels_bgr: U8Array,
    formats: tuple[FilmFormat, ...],
    film_kind: FilmKind | None,
    mm_per_px: float | None,
) -> list[Fitted]:
    """Fit the edges at the most likely places."""
    scene = survey(view)
    known = None if mm_per_px is None else 1.0 / (mm_per_px * scene.view.factor)
    found: list[tuple[Hypothesis, PerforationRows | None]] = []
    for film_format in formats:
        rows = perforations_in(scene, film_format, Scale(known))
        scale = Scale(known or (rows.px_per_mm if rows else None))
        bare = scene
        if rows is not None and film_format.perforations is not None:
            bare = without_holes(scene, rows, film_format.perforations)
        for negative in _polarities(film_kind):
            likely = search(bare if negative else inverted(bare), film_format, scale, rows, negative=negative)[:8]
            found.extend((h, rows) for h in likely)
            if rows is not None and (not likely or likely[0].score < WELL_PLACED):
                # What looks like perforations may be part of a picture.
                seen = scene if negative else inverted(scene)
                anywhere = search(seen, film_format, scale, None, negative=negative)[:8]
                found.extend((h, None) for h in anywhere)
    return _compared([_fit(pixels_bgr, scene, hypothesis, rows) for hypothesis, rows in _different(found)])


ELSEWHERE = 0.05
"""Places that differ by more than this share of the frame's length are two."""


def _compared(fitted: list[Fitted]) -> list[Fitted]:
    """Note for each place by how much another one is seen better."""
    compared = []
    for one in fitted:
        apart = ELSEWHERE * one.hypothesis.film_format.along_mm * one.px_per_mm
        others = (o.seen_in_all for o in fitted if np.abs(o.corners - one.corners).max() > apart)
        compared.append(replace(one, outdone=max(others, default=0.0) - one.seen_in_all))
    return compared


NEIGHBOUR_PITCH = 0.62
"""A frame further from the middle than this share of the pitch is not the nearest one: another lies between."""


def _is_neighbour(fitted: Fitted, view_width_px: int) -> bool:
    away = abs(float(fitted.corners[:, 0].mean()) - (view_width_px - 1) / 2)
    return away > NEIGHBOUR_PITCH * fitted.hypothesis.film_format.pitch_mm * fitted.px_per_mm


def choose(fitted: list[Fitted], view_width_px: int, film_kind: FilmKind | None = None) -> tuple[Fitted, float] | None:
    """Take the place that is best supported and nearest the middle, with its confidence."""
    best: tuple[float, Fitted, float] | None = None
    for one in fitted:
        sure = confidence(features(one)) if is_believable(one, film_kind) else 0.0
        away = abs(float(one.corners[:, 0].mean()) - (view_width_px - 1) / 2)
        worth = sure - 0.5 * away / (one.hypothesis.film_format.pitch_mm * one.px_per_mm)
        if best is None or worth > best[0]:
            best = worth, one, sure
    return None if best is None else (best[1], best[2])


REFINED = 4
"""So many different places are looked at closely; the evidence then decides."""
LEAST_SCORE = 0.15
LEAST_VIEW_PX = 64
"""Below this height or width nothing is looked for."""
COARSE_PX, COARSE_MM = 3.0, 0.15
"""How far off the search may be: so many small px, and as much as a gate is ragged. Further out lies edge print."""
COARSE_BLACK = 20.0
"""Codes by which the black beside a slide's edges may differ from that of the search."""
FINER = ((0.35, 6.0), (0.2, 5.0))
"""How far from the assumed edge the finer passes look: mm, and px at least."""
WELL_PLACED = 2.5
"""Score of a place that needs no second search without what the perforations seem to say."""


def _rank(one: tuple[Hypothesis, PerforationRows | None]) -> float:
    """Sort by score; of formats with the same shape (36 x 24 and 84 x 56) the smaller film wins where nothing tells
    them apart.
    """
    hypothesis, rows = one
    return -hypothesis.score + (0.0 if rows is not None else 0.002 * hypothesis.film_format.strip_width_mm)


def _different(
    found: list[tuple[Hypothesis, PerforationRows | None]],
) -> list[tuple[Hypothesis, PerforationRows | None]]:
    """Keep the best few that differ from each other."""
    chosen: list[tuple[Hypothesis, PerforationRows | None]] = []
    for hypothesis, rows in sorted(found, key=_rank):
        if hypothesis.score < LEAST_SCORE or len(chosen) == REFINED:
            break
        corners, size = hypothesis.corners(), hypothesis.film_format.along_mm * hypothesis.px_per_mm
        if all(np.abs(other.corners() - corners).max() > 0.015 * size for other, _ in chosen):
            chosen.append((hypothesis, rows))
    return chosen


def _polarities(film_kind: FilmKind | None) -> tuple[bool, ...]:
    """Whether to look for a negative, a slide, or both."""
    return (True, False) if film_kind is None else (film_kind.is_negative,)


def _fit(pixels_bgr: U8Array, scene: Scene, hypothesis: Hypothesis, rows: PerforationRows | None) -> Fitted:
    """Fit the edges near a hypothesis in the full picture."""
    corners, fits = _passes(pixels_bgr, scene.view.factor, hypothesis, (False, False, False, False))
    # A side may look like two pictures touching because the holder begins just beyond a strip of base.
    bare = [
        is_touching and fit.seen.mean() < BASE_SEEN for is_touching, fit in zip(hypothesis.touching, fits, strict=True)
    ]
    touching = (bare[0], bare[1], bare[2], bare[3])
    if any(touching):
        corners, fits = _passes(pixels_bgr, scene.view.factor, hypothesis, touching)
    px_per_mm = hypothesis.px_per_mm * scene.view.factor
    strip_off_mm = None
    if rows is not None:
        middle_y = scene.view.to_full(rows.middle_y)
        x, y = corners.mean(axis=0)
        expected = middle_y + rows.slope * (x - (pixels_bgr.shape[1] - 1) / 2)
        strip_off_mm = float((y - expected) / px_per_mm)
    found = replace(hypothesis, touching=touching)
    bases = [fit.outside for fit in fits if is_seen(fit)]
    base = np.mean(bases, axis=0) if bases else hypothesis.base
    middle_off = abs(float(corners[:, 1].mean()) - (pixels_bgr.shape[0] - 1) / 2)
    return Fitted(
        found, corners, fits, px_per_mm, strip_off_mm,
        light_inside=hypothesis.inverted and shows_bare_light(scene.view, hypothesis),
        borders=borders_within(scene.view, corners, base, inverted=hypothesis.inverted),
        middle_off=middle_off / (hypothesis.film_format.across_mm * px_per_mm),
    )  # fmt: skip


BASE_SEEN = 0.3
"""Share of an edge with clear base outside from which on it is taken for an edge against base."""


def _passes(
    pixels_bgr: U8Array, factor: int, hypothesis: Hypothesis, touching: tuple[bool, bool, bool, bool]
) -> tuple[F32Array, tuple[SideFit, ...]]:
    """Fit from coarse to fine, each pass around the edges of the one before."""
    corners = ((hypothesis.corners() + 0.5) * factor - 0.5).astype(np.float32)
    f, px_per_mm = hypothesis.film_format, hypothesis.px_per_mm * factor
    size_px = (f.along_mm * px_per_mm, f.across_mm * px_per_mm)
    bases = np.repeat(hypothesis.base[None, :], 4, axis=0)
    coarse_px = COARSE_PX * factor + COARSE_MM * px_per_mm
    fit = partial(refine_sides, pixels_bgr, inverted=hypothesis.inverted, touching=touching)
    fits = fit(corners, bases, reach_px=coarse_px, black=COARSE_BLACK)
    corners, bases = move_sides(corners, fits, size_px), _bases(bases, fits, inverted=hypothesis.inverted)
    if hypothesis.inverted and not _share_a_base(fits, bases):
        # One of them is an edge inside the picture: the frame's lies further out.
        fits = fit(corners, bases, reach_px=coarse_px)
        corners = move_sides(corners, fits, size_px)
    for reach_mm, least_px in FINER:
        fits = fit(corners, bases, reach_px=max(reach_mm * px_per_mm, least_px))
        corners, bases = move_sides(corners, fits, size_px), _bases(bases, fits, inverted=hypothesis.inverted)
    return corners, fits


def _share_a_base(fits: tuple[SideFit, ...], bases: F32Array) -> bool:
    """Whether all sides that are seen lie against the same black."""
    black = [like_base(fit.outside, base, black=BLACK_SPREAD) for fit, base in zip(fits, bases, strict=True)]
    return all(is_black or not is_seen(fit) for is_black, fit in zip(black, fits, strict=True))


def _bases(bases: F32Array, fits: tuple[SideFit, ...], *, inverted: bool) -> F32Array:
    """Tone of the base beside each side, as the fits show it, shape (4, 3).

    Light falls off towards the corners, and a negative's base with it. What is black in a slide hardly changes: the
    blackest side tells it for all, so that a dark part of the picture is not taken for it.
    """
    tones = np.array([fit.outside if fit.seen.mean() > 0.2 else base for fit, base in zip(fits, bases, strict=True)])
    if inverted:
        seen = [fit.outside for fit in fits if fit.seen.mean() > 0.2]
        tones[:] = max(seen, key=lambda tone: float(tone.sum()), default=bases[0])
    return np.asarray(tones, np.float32)


def as_answer(fitted: Fitted, sure: float, film_kind: FilmKind | None, mm_per_px: float | None) -> FrameEdges | NotSeen:
    """Say what was found, or what is missing."""
    evidence = evidence_of(fitted.fits)
    kind = film_kind or kind_of(fitted.hypothesis.base, inverted=fitted.hypothesis.inverted)
    missing = _missing(evidence)
    if missing:
        return NotSeen((Reason(ReasonCode.EDGES_NOT_SEEN, missing),), True, kind)
    film_format, corners = fitted.hypothesis.film_format, fitted.corners
    scale = mm_per_px or film_format.along_mm / float(np.hypot(*(corners[1] - corners[0])))
    return FrameEdges(QuadPx.from_array(corners), evidence, scale, kind, film_format.id, sure)


def kind_of(base: F32Array, *, inverted: bool) -> FilmKind:
    """Tell the kind of film by its base: orange, grey, or black.

    Parameters
    ----------
    base : ndarray
        Tone of the clear base, shape (3,), blue, green, red.
    inverted : bool
        True where the base is darker than the picture.
    """
    if inverted:
        return FilmKind.SLIDE
    blue, _, red = (float(c) for c in base)
    return FilmKind.COLOUR_NEGATIVE if red > 1.2 * blue else FilmKind.BW_NEGATIVE


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
    start = corners.astype(np.float64)
    end = np.roll(start, -1, axis=0)
    along = end - start
    inward = np.stack([-along[:, 1], along[:, 0]], axis=1) / np.hypot(along[:, 0], along[:, 1])[:, None]
    seen = [is_seen(fit) for fit in fits]
    lines = []
    for side in range(4):
        low, high = fits[side].shift - fits[side].turn, fits[side].shift + fits[side].turn
        if not seen[side]:
            other = (side + 2) % 4
            low = high = 0.0
            if seen[other]:
                depth = size_px[side % 2 == 0]
                a, b = (
                    start[other] + inward[other] * (fits[other].shift - fits[other].turn),
                    end[other] + inward[other] * (fits[other].shift + fits[other].turn),
                )
                normal = np.array([-(b - a)[1], (b - a)[0]]) / np.hypot(*(b - a))
                lines.append((b + normal * depth, a + normal * depth))
                continue
        lines.append((start[side] + inward[side] * low, end[side] + inward[side] * high))
    return np.array([_cross(lines[side - 1], lines[side]) for side in range(4)], np.float32)


def _cross(first: tuple[np.ndarray, np.ndarray], second: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    (a, b), (c, d) = first, second
    matrix = np.array([b - a, c - d]).T
    t, _ = np.linalg.solve(matrix, c - a)
    return np.asarray(a + t * (b - a))


def evidence_of(fits: tuple[SideFit, ...]) -> tuple[EdgeEvidence, ...]:
    """Evidence for each edge: top, right, bottom, left."""
    return tuple(
        EdgeEvidence(side, float(fit.seen.mean()), float(fit.contrast), fit.ragged_px, inferred=not is_seen(fit))
        for side, fit in zip(SIDES, fits, strict=True)
    )


def _missing(evidence: tuple[EdgeEvidence, ...]) -> str:
    """Say what is missing; empty when there is enough."""
    top, right, bottom, left = (not e.inferred for e in evidence)
    if (top or bottom) and (left or right):
        return ""
    if top or bottom:
        return "left and right edge not visible: unexposed frame?"
    if left or right:
        return "top and bottom edge not visible"
    return "no edge of a frame is seen"
