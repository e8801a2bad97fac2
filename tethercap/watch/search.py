"""Finding the frame from nothing: lines paired by known size, judged by what lies on both sides of them."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from tethercap.film.formats import FilmFormat
from tethercap.pictures import F32Array
from tethercap.watch.judging import PLACE_PX, Hypothesis, SideReader, judge
from tethercap.watch.lines import Line, Lines, any_steps, candidate_lines, joined, standing_out, steps, support_map
from tethercap.watch.perforations import PerforationRows
from tethercap.watch.reduced import ReducedView, segment_columns
from tethercap.watch.survey import SLOPES, Scale, Scene

ALONG_SEGMENTS = 14
_KEYSTONE_SLOPES = np.tan(np.radians(np.arange(-1.2, 1.3, 0.4))).astype(np.float32)
_NEAR_SLOPE = float(np.tan(np.radians(1.0)))
LEAST_SUPPORT = 0.08
LEAST_FRAME_PX = 20
SAME_PX = 1.2
SAME_SLOPE = float(np.tan(np.radians(0.35)))
SHORT_PAIRS = 8
"""So many pairs of short edges are judged for each pair of long ones."""
LONG_PAIRS = (12, 5, 4)
"""So many pairs of long edges are followed up in the likeliest direction and the ones after it."""
SCALES, LEAST_PROMISE = 2, 0.85
"""So many scales are tried that two short edges may tell; and how much must be seen of the two, in heights of the view
(a panoramic frame fills half of it), less what they are off the middle."""
LEAST_ALONG = 0.3
"""Share of the view's width that a frame is long at least."""
SAME_SCALE = 0.02
STRIP_OFF_MM, EXACT_OFF_MM = 1.6, 1.0
"""How far a frame's middle may be from the strip's: camera gates differ by some tenths, and where holes do not tell the
strip's exactly, a hidden part of a hole by more."""


def search(
    scene: Scene, formats: Sequence[FilmFormat], scale: Scale, rows: PerforationRows | None, *, negative: bool
) -> list[Hypothesis]:
    """List places where the frame may be, best first.

    Parameters
    ----------
    scene : Scene
        Already inverted for a slide.
    formats : sequence of FilmFormat
        The formats in question.
    scale : Scale
        What is known about it.
    rows : PerforationRows or None
        Where the strip's middle is, if it is known.
    negative : bool
        False when the scene is inverted.
    """
    found: list[Hypothesis] = []
    heights = {(each.across_mm, each.size_tolerance_mm): each for each in formats}
    looked_between: dict[tuple[Line, Line], _Between | None] = {}
    for height, of_height in heights.items():
        tried: list[tuple[Line, Line]] = []
        for tilt, most in zip(scene.tilts, LONG_PAIRS, strict=False):
            new = 0
            for _, top, bottom, px_per_mm in _long_pairs(scene, tilt, of_height, scale, rows):
                if new == most:
                    break
                if any(_is_same(top, other[0]) and _is_same(bottom, other[1]) for other in tried):
                    continue
                new += 1
                tried.append((top, bottom))
                if (top, bottom) not in looked_between:
                    looked_between[top, bottom] = _look_between(scene, top, bottom)
                between = looked_between[top, bottom]
                if between is not None:
                    same = [each for each in formats if (each.across_mm, each.size_tolerance_mm) == height]
                    found.extend(_follow_up(scene, between, same, px_per_mm, scale, negative))
    return sorted(found, key=lambda hypothesis: -hypothesis.score)


def scales_by_short_edges(scene: Scene, film_format: FilmFormat) -> list[float]:
    """Scales that make two lines across the film a frame's short edges, likeliest first.

    Where the holder hides one of the long edges nothing else tells the scale.

    Parameters
    ----------
    scene : Scene
        Already inverted for a slide.
    film_format : FilmFormat
        Says how far apart they are.

    Returns
    -------
    list of float
        Small px per mm.
    """
    view = scene.view
    columns, heights = segment_columns(view.pixels, ALONG_SEGMENTS)
    slopes = _KEYSTONE_SLOPES - np.float32(scene.tilt)
    support = support_map(steps(columns), heights, (view.height - 1) / 2, slopes)
    lefts, rights = (
        candidate_lines(support, slopes, sign, least=2 * LEAST_SUPPORT, most=4, likely=-scene.tilt) for sign in (-1, +1)
    )
    pairs = _pairs(lefts, rights, film_format.along_mm, film_format.size_tolerance_mm, Scale(None))
    wide = [pair for pair in pairs if pair[2].at - pair[1].at > LEAST_ALONG * view.width]
    scales: list[float] = []
    for promise, px_per_mm in sorted(((_promise(pair, view), pair[3]) for pair in wide), reverse=True):
        if promise > LEAST_PROMISE and all(abs(px_per_mm / other - 1) > SAME_SCALE for other in scales):
            scales.append(px_per_mm)
    return scales[:SCALES]


def _is_same(line: Line, other: Line) -> bool:
    """Whether two lines cannot be told apart at this size."""
    return abs(line.at - other.at) < SAME_PX and abs(line.slope - other.slope) < SAME_SLOPE


def _long_pairs(
    scene: Scene, tilt: float, film_format: FilmFormat, scale: Scale, rows: PerforationRows | None
) -> list["Pair"]:
    """Pairs of long edges that run about in one direction, strongest first."""
    near = np.abs(SLOPES - tilt) < _NEAR_SLOPE
    tops, bottoms = (
        candidate_lines(scene.support[near], SLOPES[near], sign, least=LEAST_SUPPORT, most=12, likely=tilt)
        for sign in (-1, +1)
    )
    most_off_mm = EXACT_OFF_MM if rows is not None and rows.is_exact else STRIP_OFF_MM
    pairs = [
        pair
        for pair in _pairs(tops, bottoms, film_format.across_mm, film_format.size_tolerance_mm, scale)
        if rows is None or abs((pair[1].at + pair[2].at) / 2 - rows.middle_y) < most_off_mm * pair[3]
    ]
    return sorted(pairs, key=lambda pair: -pair[0])


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


@dataclass(frozen=True, slots=True, eq=False)
class _Between:
    """What lies between two long edges."""

    top: Line
    bottom: Line
    columns: F32Array
    """Profiles along the picture, shape (segments, width, 3)."""
    heights: F32Array
    """Middle row of each, shape (segments,)."""
    middle_y: float
    """Where the places of the lines across are stated, small px."""
    lefts: Lines
    """Lines across that may be a frame's left edge."""
    rights: Lines


def _look_between(scene: Scene, top: Line, bottom: Line) -> _Between | None:
    """Look for short edges between two long ones; None where hardly anything lies between."""
    between = _rows_between(scene.view, top, bottom)
    if between.stop - between.start < ALONG_SEGMENTS:
        return None
    columns, offsets = segment_columns(scene.view.pixels[between], ALONG_SEGMENTS)
    heights = offsets + between.start
    middle_y = float((between.start + between.stop - 1) / 2)
    tilt = (top.slope + bottom.slope) / 2
    slopes = _KEYSTONE_SLOPES - np.float32(tilt)
    support = support_map(steps(columns), heights, middle_y, slopes)
    both_ways = standing_out(support_map(any_steps(columns), heights, middle_y, slopes))
    either = candidate_lines(both_ways, slopes, +1, least=0.25, most=6)
    lefts, rights = (
        joined(candidate_lines(support, slopes, sign, least=LEAST_SUPPORT, most=8, likely=-tilt), either)
        for sign in (-1, +1)
    )
    return _Between(top, bottom, columns, heights, middle_y, lefts, rights)


def _follow_up(
    scene: Scene,
    between: _Between,
    formats: Sequence[FilmFormat],
    px_per_mm: float,
    scale: Scale,
    negative: bool,
) -> list[Hypothesis]:
    """Pair the short edges between two long ones for each of some formats of one height, and judge each pair."""
    top, bottom, middle_y = between.top, between.bottom, between.middle_y
    narrow = Scale(px_per_mm, scale.slack if scale.px_per_mm else 0.03)
    judged: list[tuple[Line, Line, FilmFormat]] = []
    for film_format in formats:
        pairs = sorted(
            _pairs(between.lefts, between.rights, film_format.along_mm, film_format.size_tolerance_mm, narrow),
            key=lambda pair: -_promise(pair, scene.view),
        )[:SHORT_PAIRS]
        judged.extend((left, right, film_format) for _, left, right, _ in pairs)
    if not judged:
        return []
    read = SideReader(scene, (between.columns, between.heights - middle_y), top, bottom, px_per_mm)
    return judge(scene, read, (top, bottom), judged, px_per_mm, middle_y, negative=negative)


def _promise(pair: Pair, view: ReducedView) -> float:
    """Rank short edges by what is seen of them and how near the middle they are."""
    strength, left, right, _ = pair
    return strength - 0.8 * abs((left.at + right.at) / 2 - (view.width - 1) / 2) / (right.at - left.at)


def _rows_between(view: ReducedView, top: Line, bottom: Line) -> slice:
    inset = 0.04 * (bottom.at - top.at)
    return slice(max(0, int(np.ceil(top.at + inset))), min(view.height, int(bottom.at - inset) + 1))
