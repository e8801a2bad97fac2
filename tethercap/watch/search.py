"""Finding the frame from nothing: lines paired by known size, judged by what lies on both sides of them."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tethercap.film.formats import FilmFormat
from tethercap.pictures import F32Array
from tethercap.watch.lines import Line, Lines, candidate_lines, joined, steps, support_map
from tethercap.watch.perforations import PerforationRows, find_perforations
from tethercap.watch.reduced import ReducedView, segment_columns, segment_rows
from tethercap.watch.tones import SideScore, SideTones, score_sides

LARGEST_TILT_DEG = 6.0
ACROSS_SEGMENTS = 24
ALONG_SEGMENTS = 14
_SLOPES = np.tan(np.radians(np.arange(-LARGEST_TILT_DEG, LARGEST_TILT_DEG + 0.1, 0.3))).astype(np.float32)
_KEYSTONE_SLOPES = np.tan(np.radians(np.arange(-1.2, 1.3, 0.4))).astype(np.float32)
_NEAR_SLOPE = float(np.tan(np.radians(1.0)))
RIM_MM = 0.4
"""Where the tone on either side of a line is read: outside a soft edge, before the perforations 0.68 mm away."""
LEAST_SUPPORT = 0.08
LEAST_FRAME_PX = 20
PLACE_PX = 2.0
"""How far the distance of two coarse lines may be off, small px."""
SHORT_PAIRS = 6
"""So many pairs of short edges are judged for each pair of long ones."""
STRIP_OFF_MM = 1.6
"""How far a frame's middle may be from the strip's: camera gates differ by some tenths, and a hidden part of a hole
by more."""


@dataclass(frozen=True, slots=True)
class Scale:
    """What is known about the scale."""

    px_per_mm: float | None
    """Small px per mm; None when unknown."""
    slack: float = 0.02
    """How far it may be off, as a share."""


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """What every hypothesis about one view shares."""

    view: ReducedView
    profiles: F32Array
    """Profiles down the picture, shape (segments, height, 3)."""
    centres: F32Array
    """Middle column of each, shape (segments,)."""
    support: F32Array
    """Support of every near-horizontal line, shape (slopes, height)."""
    tilt: float
    """The film's direction, rise over run."""


@dataclass(frozen=True, slots=True, eq=False)
class Hypothesis:
    """One place where the frame may be."""

    top: Line
    bottom: Line
    left: Line
    right: Line
    film_format: FilmFormat
    px_per_mm: float
    """Small px."""
    base: F32Array
    """Tone of the clear base, shape (3,)."""
    sides: tuple[SideScore, SideScore, SideScore, SideScore]
    """Top, right, bottom, left."""
    touching: tuple[bool, bool, bool, bool]
    """Sides where the neighbour's picture begins at once."""
    brighter_inside: float
    """Share of the inside brighter than clear base, which no negative is."""
    light_inside: bool
    """The inside is as even, white and bright as bare light."""
    score: float
    middle: tuple[float, float]
    """Where the lines' positions are stated, small px."""
    inverted: bool
    """Found in the inverted view, as a slide."""

    def corners(self) -> F32Array:
        """Shape (4, 2), small px, clockwise from the top left."""
        mx, my = self.middle
        rows = [(self.top, self.left), (self.top, self.right), (self.bottom, self.right), (self.bottom, self.left)]
        return np.array([_meet(across, along, mx, my) for across, along in rows], np.float32)


def _meet(horizontal: Line, vertical: Line, mx: float, my: float) -> tuple[float, float]:
    """Intersect y = h.at + h.slope (x - mx) with x = v.at + v.slope (y - my)."""
    x = vertical.at + vertical.slope * (horizontal.at - horizontal.slope * mx - my)
    x /= 1 - vertical.slope * horizontal.slope
    return x, horizontal.at + horizontal.slope * (x - mx)


def survey(view: ReducedView) -> Scene:
    """Prepare what the search needs of a view."""
    profiles, centres = segment_rows(view.pixels, ACROSS_SEGMENTS)
    support = support_map(steps(profiles), centres, (view.width - 1) / 2, _SLOPES)
    return Scene(view, profiles, centres, support, dominant_slope(support))


def inverted(scene: Scene) -> Scene:
    """Give the same scene with light and dark exchanged."""
    return Scene(scene.view.inverted(), np.float32(255) - scene.profiles, scene.centres, -scene.support, scene.tilt)


def dominant_slope(support: F32Array) -> float:
    """Slope along which the most lines agree: the film's own direction."""
    energy = (support * support).sum(axis=1)
    best = int(energy.argmax())
    if 0 < best < len(_SLOPES) - 1:
        before, here, after = energy[best - 1 : best + 2]
        curve = before - 2 * here + after
        step = float(_SLOPES[1] - _SLOPES[0])
        return float(_SLOPES[best] + (0.5 * (before - after) / curve if curve < 0 else 0.0) * step)
    return float(_SLOPES[best])


def perforations_in(scene: Scene, film_format: FilmFormat, scale: Scale) -> PerforationRows | None:
    """Find the perforations of a scene that is not inverted."""
    grey = np.asarray(scene.view.pixels.mean(axis=2), np.float32)
    return find_perforations(grey, film_format, scene.tilt, scale.px_per_mm)


def search(
    scene: Scene, film_format: FilmFormat, scale: Scale, rows: PerforationRows | None, *, negative: bool, most: int = 12
) -> list[Hypothesis]:
    """List places where the frame may be, best first.

    Parameters
    ----------
    scene : Scene
        Already inverted for a slide.
    film_format : FilmFormat
        The format in question.
    scale : Scale
        What is known about it.
    rows : PerforationRows or None
        Where the strip's middle is, if it is known.
    negative : bool
        False when the scene is inverted.
    most : int
        At most so many pairs of long edges are followed up.
    """
    near = np.abs(_SLOPES - scene.tilt) < _NEAR_SLOPE
    tops = candidate_lines(scene.support[near], _SLOPES[near], -1, least=LEAST_SUPPORT, most=12)
    bottoms = candidate_lines(scene.support[near], _SLOPES[near], +1, least=LEAST_SUPPORT, most=12)
    pairs = [
        pair
        for pair in _pairs(tops, bottoms, film_format.across_mm, film_format.size_tolerance_mm, scale)
        if rows is None or abs((pair[1].at + pair[2].at) / 2 - rows.middle_y) < STRIP_OFF_MM * pair[3]
    ]
    pairs.sort(key=lambda pair: -pair[0])
    found: list[Hypothesis] = []
    for _, top, bottom, px_per_mm in pairs[:most]:
        found.extend(_follow_up(scene, (top, bottom), film_format, px_per_mm, scale, negative))
    return sorted(found, key=lambda hypothesis: -hypothesis.score)


Pair = tuple[float, Line, Line, float]
"""Strength, first line, second line, small px per mm."""


def _pairs(first: Lines, second: Lines, size_mm: float, tolerance_mm: float, scale: Scale) -> Iterator[Pair]:
    """Yield pairs of edges with a strength, and single edges with a partner placed by the known size."""
    for i in range(len(first)):
        for j in range(len(second)):
            gap = float(second.at[j] - first.at[i])
            px_per_mm = gap / size_mm
            if gap < LEAST_FRAME_PX or not _plausible(px_per_mm, scale, tolerance_mm / size_mm + PLACE_PX / gap):
                continue
            strength = float(abs(first.support[i]) + abs(second.support[j]))
            yield strength, first.line(i), second.line(j), scale.px_per_mm or px_per_mm
    if scale.px_per_mm is None:
        return
    size = size_mm * scale.px_per_mm
    for i in range(len(first)):
        at, slope = first.line(i)
        yield 0.6 * float(abs(first.support[i])), Line(at, slope), Line(at + size, slope), scale.px_per_mm
    for j in range(len(second)):
        at, slope = second.line(j)
        yield 0.6 * float(abs(second.support[j])), Line(at - size, slope), Line(at, slope), scale.px_per_mm


def _plausible(px_per_mm: float, scale: Scale, tolerance: float) -> bool:
    if scale.px_per_mm is None:
        return True
    return abs(px_per_mm / scale.px_per_mm - 1) <= scale.slack + tolerance


def _follow_up(
    scene: Scene, long_edges: tuple[Line, Line], film_format: FilmFormat, px_per_mm: float, scale: Scale, negative: bool
) -> Iterator[Hypothesis]:
    """Look for the short edges between two long ones, and judge each pair."""
    top, bottom = long_edges
    between = _rows_between(scene.view, top, bottom)
    if between.stop - between.start < ALONG_SEGMENTS:
        return
    columns, offsets = segment_columns(scene.view.pixels[between], ALONG_SEGMENTS)
    heights = offsets + between.start
    middle_y = float((between.start + between.stop - 1) / 2)
    slopes = _KEYSTONE_SLOPES - np.float32(scene.tilt)
    step = steps(columns)
    support = support_map(step, heights, middle_y, slopes)
    both_ways = support_map(np.abs(step), heights, middle_y, slopes)
    either = candidate_lines(both_ways, slopes, +1, least=0.7, most=4)
    lefts = joined(candidate_lines(support, slopes, -1, least=LEAST_SUPPORT, most=8), either)
    rights = joined(candidate_lines(support, slopes, +1, least=LEAST_SUPPORT, most=8), either)
    narrow = Scale(px_per_mm, scale.slack if scale.px_per_mm else 0.03)
    pairs = sorted(
        _pairs(lefts, rights, film_format.along_mm, film_format.size_tolerance_mm, narrow),
        key=lambda pair: -_promise(pair, scene.view),
    )[:SHORT_PAIRS]
    read = _SideReader(scene, (columns, heights - middle_y), top, bottom, px_per_mm)
    for _, left, right, _ in pairs:
        yield _judge(scene, read, (top, bottom, left, right), film_format, px_per_mm, middle_y, negative=negative)


def _promise(pair: Pair, view: ReducedView) -> float:
    """Rank short edges by what is seen of them and how near the middle they are."""
    strength, left, right, _ = pair
    return strength - 0.8 * abs((left.at + right.at) / 2 - (view.width - 1) / 2) / (right.at - left.at)


class _SideReader:
    """Reads the tones beside lines, each short edge once."""

    def __init__(
        self, scene: Scene, columns: tuple[F32Array, F32Array], top: Line, bottom: Line, px_per_mm: float
    ) -> None:
        self._rim = float(np.clip(RIM_MM * px_per_mm, 1.6, 4.0))
        self._columns = columns
        self._centres = scene.centres
        places = scene.centres - (scene.view.width - 1) / 2
        self._top = side_tones(scene.profiles, places, top, +1, self._rim)
        self._bottom = side_tones(scene.profiles, places, bottom, -1, self._rim)
        self._short: dict[tuple[Line, int], SideTones] = {}

    def __call__(self, left: Line, right: Line) -> tuple[SideTones, SideTones, SideTones, SideTones]:
        """Tones beside top, right, bottom, left; the long edges between the short ones only."""
        within = (self._centres > left.at) & (self._centres < right.at)
        long = (SideTones(side.outside[within], side.inside[within]) for side in (self._top, self._bottom))
        top, bottom = long
        return top, self._beside(right, -1), bottom, self._beside(left, +1)

    def _beside(self, line: Line, inward: int) -> SideTones:
        if (line, inward) not in self._short:
            self._short[line, inward] = side_tones(*self._columns, line, inward, self._rim)
        return self._short[line, inward]


def _rows_between(view: ReducedView, top: Line, bottom: Line) -> slice:
    inset = 0.04 * (bottom.at - top.at)
    return slice(max(0, int(np.ceil(top.at + inset))), min(view.height, int(bottom.at - inset) + 1))


def _judge(
    scene: Scene,
    read: _SideReader,
    lines: tuple[Line, Line, Line, Line],
    film_format: FilmFormat,
    px_per_mm: float,
    middle_y: float,
    *,
    negative: bool,
) -> Hypothesis:
    top, bottom, left, right = lines
    scores, base = score_sides(read(left, right), inverted=not negative)
    touching = tuple(i % 2 == 1 and s.against > 0.5 and s.any_step > 0.6 for i, s in enumerate(scores))
    patch = _inside(scene.view, lines)
    brighter = _brighter_inside(patch, base)
    light_inside = not negative and _is_bare_light(patch, scene.view)
    shown = min(right.at, scene.view.width - 1) - max(left.at, 0)
    visible = max(shown, 0.0) / max(right.at - left.at, 1)
    score = sum(_worth(s, t) for s, t in zip(scores, touching, strict=True)) * (0.5 + 0.5 * visible) - 2.0 * brighter
    score -= _off_place(lines, scene.view, film_format, px_per_mm)
    return Hypothesis(
        top, bottom, left, right, film_format, px_per_mm, base, (scores[0], scores[1], scores[2], scores[3]),
        (touching[0], touching[1], touching[2], touching[3]), brighter, light_inside, float(score),
        ((scene.view.width - 1) / 2, middle_y), not negative,
    )  # fmt: skip


def _worth(side: SideScore, touching: bool) -> float:
    if touching:
        return 0.5 * side.any_step
    return side.seen - 0.8 * side.against - 0.25 * side.dark


def _off_place(
    lines: tuple[Line, Line, Line, Line], view: ReducedView, film_format: FilmFormat, px_per_mm: float
) -> float:
    """What distance from the middle and a size that does not fit cost."""
    top, bottom, left, right = lines
    centre_x = (left.at + right.at) / 2 - (view.width - 1) / 2
    centre_y = (top.at + bottom.at) / 2 - (view.height - 1) / 2
    along, across = film_format.along_mm * px_per_mm, film_format.across_mm * px_per_mm
    slack = film_format.size_tolerance_mm * px_per_mm + PLACE_PX
    off_along = max(abs(right.at - left.at - along) - slack, 0.0) / along
    off_across = max(abs(bottom.at - top.at - across) - slack, 0.0) / across
    off_size = (
        off_along + off_across + 0.3 * (abs((right.at - left.at) / along - 1) + abs((bottom.at - top.at) / across - 1))
    )
    return 1.2 * abs(centre_x) / along + 0.4 * abs(centre_y) / across + 4.0 * off_size


def side_tones(profiles: F32Array, places: F32Array, line: Line, inward: int, rim: float) -> SideTones:
    """Read the tones on both sides of a line, segment by segment.

    Parameters
    ----------
    profiles : ndarray
        Shape (segments, length, 3).
    places : ndarray
        Place of each segment along the line, from the middle, shape (segments,).
    line : Line
        The line.
    inward : int
        +1 when the frame lies at higher positions, else -1.
    rim : float
        How far from the line, small px.
    """
    at = line.at + line.slope * places
    return SideTones(_read(profiles, at - inward * rim), _read(profiles, at + inward * rim))


def _read(profiles: F32Array, at: F32Array) -> F32Array:
    length = profiles.shape[1]
    low = np.floor(at).astype(np.intp)
    out = (low < 0) | (low > length - 2)
    safe = np.minimum(np.maximum(low, 0), length - 2)
    share = (at - low)[:, None].astype(np.float32)
    flat = profiles.reshape(-1, 3)
    start = safe + np.arange(profiles.shape[0]) * length
    first = flat[start]
    tone: F32Array = first + (flat[start + 1] - first) * share
    tone[out] = np.nan
    return tone


def _inside(view: ReducedView, lines: tuple[Line, Line, Line, Line]) -> F32Array:
    """Every third pixel between the lines, shape (rows, columns, 3)."""
    top, bottom, left, right = lines
    rows = slice(max(0, int(top.at) + 4), max(0, int(bottom.at) - 3), 3)
    columns = slice(max(0, int(left.at) + 4), max(0, int(right.at) - 3), 3)
    return view.pixels[rows, columns]


def _is_bare_light(patch: F32Array, view: ReducedView) -> bool:
    """Whether the inside of a would-be slide is nothing but the light; `patch` and `view` are inverted."""
    if patch.size == 0:
        return False
    tones = (np.float32(255) - patch).reshape(-1, 3)
    grey = tones.sum(axis=1) / np.float32(3)
    low, middle, high = np.percentile(grey, [5, 50, 95])
    brightest = 255.0 - float(view.pixels[::4, ::4].min(axis=(0, 1)).mean())
    even = (high - low) < LIGHT_UNEVEN * middle and float(np.ptp(np.median(tones, axis=0))) < LIGHT_TINT
    return bool(even and middle > 0.93 * brightest)


LIGHT_UNEVEN = 0.1
"""Fall-off of a light panel in display codes, from the darkest to the brightest twentieth, as a share."""
LIGHT_TINT = 10.0
"""Codes between the channels of light the camera is balanced for."""


def _brighter_inside(patch: F32Array, base: F32Array) -> float:
    if patch.size == 0 or bool(np.isnan(base).any()):
        return 1.0
    return float((patch.sum(axis=2) > 3.36 * base.mean() + 24.0).mean())
