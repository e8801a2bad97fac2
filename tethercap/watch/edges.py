"""The frame's edges in one picture: found from nothing, fitted to a fraction of a pixel, with evidence for each."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from tethercap.film.formats import FilmFormat
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx
from tethercap.pictures import F32Array, U8Array
from tethercap.watch.confidence import Fitted, is_seen
from tethercap.watch.fitting import fit_place
from tethercap.watch.judging import Hypothesis
from tethercap.watch.perforations import PerforationRows
from tethercap.watch.reduced import ReducedView, reduce_view
from tethercap.watch.refine import SideFit
from tethercap.watch.rivals import compared
from tethercap.watch.search import scales_by_short_edges, search
from tethercap.watch.sighting import EdgeEvidence, FrameEdges, Reason, ReasonCode, Side
from tethercap.watch.survey import Scale, Scene, inverted, perforations_in, survey, without_holes
from tethercap.watch.within import likely_negative, likely_slide

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
    along = _Look.at(pixels_bgr, candidates, mm_per_px)
    found = _find(along, film_kind, mm_per_px)
    enough = SURE if film_format is not None else SURE_OF_FORMAT
    if along.shows_its_way or (isinstance(found, FrameEdges) and found.confidence >= enough):
        return found
    turned = _Look.at(np.ascontiguousarray(pixels_bgr.transpose(1, 0, 2)), candidates, mm_per_px)
    upright = _find(turned, film_kind, mm_per_px)
    if isinstance(upright, NotSeen):
        nothing = NotSeen((Reason(ReasonCode.EDGES_NOT_SEEN, "no edge of a frame is seen"),), True, film_kind)
        return nothing if turned.shows_its_way else found
    is_surer = isinstance(found, NotSeen) or upright.confidence > found.confidence + UPRIGHT_LESS_LIKELY
    if turned.shows_its_way or (is_surer and upright.confidence >= LEAST_UPRIGHT):
        return _exchanged(upright)
    return found


SURE = 0.5
"""Confidence from which on film is not looked for the other way round, where its format is known."""
SURE_OF_FORMAT = 0.9
"""The same where the format is not known: a frame lying upright resembles another format."""
LEAST_UPRIGHT = 0.6
UPRIGHT_LESS_LIKELY = 0.1
"""So much surer must an upright frame be."""


@dataclass(frozen=True, slots=True, eq=False)
class _Look:
    """A picture with what every search in it starts from, film lying along x."""

    pixels_bgr: U8Array
    scene: Scene
    formats: tuple[FilmFormat, ...]
    known: float | None
    """Small px per mm, if it is known."""
    rows: PerforationRows | None
    """Perforations that are seen."""

    @classmethod
    def at(
        cls,
        pixels_bgr: U8Array,
        formats: tuple[FilmFormat, ...],
        mm_per_px: float | None,
        view: ReducedView | None = None,
    ) -> "_Look":
        """Take a look; a view that is reduced already may be given."""
        if view is None:
            view = reduce_view(pixels_bgr, None if mm_per_px is None else 1 / mm_per_px)
        scene = survey(view)
        known = None if mm_per_px is None else 1.0 / (mm_per_px * view.factor)
        films = {(f.perforations, f.strip_width_mm): f for f in formats}.values()
        rows = next((rows for f in films if (rows := perforations_in(scene, f, Scale(known))) is not None), None)
        return cls(pixels_bgr, scene, formats, known, rows)

    @property
    def shows_its_way(self) -> bool:
        """Whether perforations in clear film along both edges say that it lies along x: in black there is much that
        repeats.
        """
        rows = self.rows
        return rows is not None and rows.rows_seen == BOTH_ROWS and rows.film_share >= CLEAR_FILM


def _find(look: _Look, film_kind: FilmKind | None, mm_per_px: float | None) -> FrameEdges | NotSeen:
    """Find the frame nearest the middle on film that lies along x."""
    width_px = look.pixels_bgr.shape[1]
    best = choose(_fit(look, film_kind), width_px)
    if best is None:
        return NotSeen((Reason(ReasonCode.EDGES_NOT_SEEN, "no edge of a frame is seen"),))
    if _pitches_off(best, width_px) > NEIGHBOUR_PITCH:
        why = Reason(ReasonCode.BETWEEN_FRAMES, "only a neighbour of the frame nearest the middle is seen")
        return NotSeen((why,), True, film_kind)
    if len(look.formats) > 1 and _pitches_off(best, width_px) > FORMAT_PITCH:
        why = Reason(ReasonCode.EDGES_NOT_SEEN, "which frame is meant depends on the film format: name it")
        return NotSeen((why,), True, film_kind)
    return as_answer(best, film_kind, mm_per_px)


def _exchanged(edges: FrameEdges) -> FrameEdges:
    """Give an answer found with x and y exchanged in terms of the picture itself."""
    tl, tr, br, bl = edges.corners.as_array()[:, ::-1]
    names = dict(zip((Side.LEFT, Side.BOTTOM, Side.RIGHT, Side.TOP), edges.evidence, strict=True))
    evidence = tuple(replace(names[side], side=side) for side in SIDES)
    return replace(edges, corners=QuadPx.from_array(np.array([tl, bl, br, tr])), evidence=evidence, upright=True)


def fit_likely(
    view: ReducedView,
    pixels_bgr: U8Array,
    formats: tuple[FilmFormat, ...],
    film_kind: FilmKind | None,
    mm_per_px: float | None,
) -> list[Fitted]:
    """Fit the edges at the most likely places of a view that is reduced already."""
    return _fit(_Look.at(pixels_bgr, formats, mm_per_px, view), film_kind)


def _fit(look: _Look, film_kind: FilmKind | None) -> list[Fitted]:
    """Fit the edges at the most likely places."""
    polarities = _polarities(film_kind, look.rows)
    fitted = _fit_found(look, polarities, _search(look, polarities))
    weighed = _without_openings(compared(fitted))
    is_scaled = look.known is not None or look.rows is not None
    if is_scaled or len(look.formats) > 1 or any(one.sure >= CLEAR for one in weighed):
        return weighed
    more = _fit_found(look, polarities, _search_by_short_edges(look, polarities))
    return _without_openings(compared(fitted + more))


CLEAR = 0.75
"""Confidence from which on the scale is not asked of the short edges alone."""


_Place = tuple[Hypothesis, PerforationRows | None]
"""Where a frame may be, and the perforations that tell where the strip's middle is."""


def _fit_found(look: _Look, polarities: tuple[bool, ...], found: list[_Place]) -> list[Fitted]:
    """Fit the edges at the best of the places found."""
    rows = look.rows
    knows_scale = look.known is not None or rows is not None
    fitted = []
    for inverse in (False, True):
        for hypothesis, own_rows in _different([one for one in found if one[0].inverted is inverse]):
            fitted.extend(
                fit_place(look.pixels_bgr, look.scene, hypothesis, own_rows, knows_scale=knows_scale, in_view=rows)
            )
    is_named = len(look.formats) == 1
    fitted = [
        replace(one, is_scaled=look.known is not None or one.strip_off_mm is not None, is_named=is_named)
        for one in fitted
    ]
    if len(polarities) > 1:
        fitted = [_with_kind_doubted(one, look.scene.view, rows) for one in fitted]
    return fitted


def _with_kind_doubted(fitted: Fitted, view: ReducedView, rows: PerforationRows | None) -> Fitted:
    """Note how likely it is of its kind: the holder about a negative is as black as the rebate of a slide."""
    if not fitted.hypothesis.inverted:
        return replace(fitted, kind_sure=likely_negative(view, fitted.corners))
    fits_black_rows = rows is not None and fitted.strip_off_mm is not None and rows.film_share <= BLACK_FILM
    return replace(fitted, kind_sure=1.0 if fits_black_rows else likely_slide(view, fitted.corners))


def _search(look: _Look, polarities: tuple[bool, ...]) -> list[_Place]:
    """List likely places.

    Parameters
    ----------
    look : _Look
        What to look at.
    polarities : tuple of bool
        True looks for a negative, False for a slide.
    """
    scene, formats, known, rows = look.scene, look.formats, look.known, look.rows
    found: list[_Place] = []
    plain = [f for f in formats if rows is None or (f.perforations is None and rows.rows_seen < BOTH_ROWS)]
    for negative in polarities:
        likely = search(_as_negative(scene, negative), plain, Scale(known), None, negative=negative)
        found.extend((h, None) for h in likely)
    if rows is None:
        return found
    scale = Scale(known or rows.px_per_mm)
    for holes in dict.fromkeys(f.perforations for f in formats if f.perforations is not None):
        perforated = [f for f in formats if f.perforations == holes]
        bare = without_holes(scene, rows, holes)
        for negative in polarities:
            likely = search(_as_negative(bare, negative), perforated, scale, rows, negative=negative)
            found.extend((h, rows) for h in likely)
            # What looks like perforations may be part of a picture.
            well = {h.film_format.id for h in likely if h.score >= WELL_PLACED}
            others = [f for f in perforated if f.id not in well]
            anywhere = search(_as_negative(scene, negative), others, scale, None, negative=negative)
            found.extend((h, None) for h in anywhere)
    return found


def _search_by_short_edges(look: _Look, polarities: tuple[bool, ...]) -> list[_Place]:
    """List likely places where one long edge may be hidden, at the scales that the short edges tell."""
    found: list[_Place] = []
    for negative in polarities:
        scene = _as_negative(look.scene, negative)
        for px_per_mm in scales_by_short_edges(scene, look.formats[0]):
            likely = search(scene, look.formats, Scale(px_per_mm), None, negative=negative)
            found.extend((h, None) for h in likely)
    return found


def _as_negative(scene: Scene, negative: bool) -> Scene:
    return scene if negative else inverted(scene)


BOTH_ROWS = 2
"""Perforations along both edges are proof enough that the film has some."""


def _without_openings(fitted: list[Fitted]) -> list[Fitted]:
    """Leave out what lies around a frame: the holder's opening, whose dark is easily taken for a slide's black."""
    frames = [one for one in fitted if one.sure > AS_A_FRAME]
    return [one for one in fitted if not any(_is_around(one, frame) for frame in frames)]


def _is_around(outer: Fitted, inner: Fitted) -> bool:
    """Whether one place encloses another that shows more of its edges, or is surely a negative's where it is none."""
    is_negative = outer.hypothesis.inverted and not inner.hypothesis.inverted and inner.sure > SURE
    if not (is_negative or outer.seen_in_all < inner.seen_in_all):
        return False
    larger = cv2.contourArea(outer.corners) > LARGER * cv2.contourArea(inner.corners)
    slack_px = APART * float(np.hypot(*(outer.corners[1] - outer.corners[0])))
    return larger and all(
        cv2.pointPolygonTest(outer.corners, (float(x), float(y)), True) > -slack_px for x, y in inner.corners
    )


AS_A_FRAME = 0.3
"""Confidence from which on a place says that what lies around it is no frame."""
LARGER = 1.08
"""So many times the area of a frame must what lies around it have: with its scale known all places are as large."""
FORMAT_PITCH = 0.42
"""Where the format is not known, what lies so far from the middle may be half of a longer frame that lies in it."""
NEIGHBOUR_PITCH = 0.62
"""A frame further from the middle than this share of the pitch is not the nearest one: another lies between."""


def _pitches_off(fitted: Fitted, view_width_px: int) -> float:
    """How far from the view's middle a frame lies along the film, in pitches."""
    away_px = abs(float(fitted.corners[:, 0].mean()) - (view_width_px - 1) / 2)
    return away_px / (fitted.hypothesis.film_format.pitch_mm * fitted.px_per_mm)


def choose(fitted: list[Fitted], view_width_px: int) -> Fitted | None:
    """Take the place that is best supported and nearest the middle."""
    return max(fitted, key=lambda one: one.sure - 0.5 * _pitches_off(one, view_width_px), default=None)


REFINED = 5
"""So many different places are looked at closely; the evidence then decides."""
APART = 0.02
"""Places nearer to each other than this share of the frame's length come out as one."""
LEAST_VIEW_PX = 64
"""Below this height or width nothing is looked for."""
WELL_PLACED = 2.5
"""Score of a place that needs no second search without what the perforations seem to say."""


def _rank(one: _Place) -> float:
    """Sort by score; of formats with the same shape (36 x 24 and 84 x 56) the smaller film wins where nothing tells
    them apart.
    """
    hypothesis, rows = one
    return -hypothesis.score + (0.0 if rows is not None else 0.002 * hypothesis.film_format.strip_width_mm)


def _different(found: list[_Place]) -> list[_Place]:
    """Keep the best few that differ from each other."""
    chosen: list[_Place] = []
    for hypothesis, rows in sorted(found, key=_rank):
        if len(chosen) == REFINED:
            break
        corners, size = hypothesis.corners(), hypothesis.film_format.along_mm * hypothesis.px_per_mm
        if all(np.abs(other.corners() - corners).max() > APART * size for other, _ in chosen):
            chosen.append((hypothesis, rows))
    return chosen


def _polarities(film_kind: FilmKind | None, rows: PerforationRows | None) -> tuple[bool, ...]:
    """Whether to look for a negative, a slide, or both: between its perforations a slide is black, a negative clear."""
    if film_kind is not None:
        return (film_kind.is_negative,)
    if rows is not None and rows.film_share >= CLEAR_FILM:
        return (True,)
    if rows is not None and rows.rows_seen == BOTH_ROWS and rows.film_share <= BLACK_FILM:
        return (False,)
    return True, False


BLACK_FILM, CLEAR_FILM = 0.3, 0.45
"""Levels, in display codes, of film between perforations over that of the light in them."""


def as_answer(fitted: Fitted, film_kind: FilmKind | None, mm_per_px: float | None) -> FrameEdges | NotSeen:
    """Say what was found, or what is missing."""
    evidence = evidence_of(fitted.fits)
    kind = film_kind or kind_of(fitted.hypothesis.base, inverted=fitted.hypothesis.inverted)
    missing = _missing(evidence)
    if fitted.kind_sure < KIND_SURE:
        missing = "a slide, or film in a holder's opening? Name the kind of film"
    if missing:
        return NotSeen((Reason(ReasonCode.EDGES_NOT_SEEN, missing),), True, kind)
    film_format, corners = fitted.hypothesis.film_format, fitted.corners
    scale = mm_per_px or film_format.along_mm / float(np.hypot(*(corners[1] - corners[0])))
    return FrameEdges(QuadPx.from_array(corners), evidence, scale, kind, film_format.id, fitted.sure)


KIND_SURE = 0.55
"""How likely the film must be of its kind for an answer to be given."""


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


def evidence_of(fits: tuple[SideFit, ...]) -> tuple[EdgeEvidence, ...]:
    """Evidence for each edge: top, right, bottom, left."""
    return tuple(
        EdgeEvidence(side, fit.seen_share, float(fit.contrast), fit.ragged_px, inferred=not is_seen(fit))
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
