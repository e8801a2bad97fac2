"""Finding the frame from nothing: lines paired by known size, judged by what lies on both sides of them.

Everything here sees a negative: the bright side of an edge is clear base, the dark side picture. A slide is inverted first.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tethercap.film.formats import FilmFormat
from tethercap.pictures import F32Array
from tethercap.watch.lines import Lines, candidate_lines, steps, support_map
from tethercap.watch.reduced import ReducedView, segment_columns, segment_rows

LARGEST_TILT_DEG = 6.0
ACROSS_SEGMENTS = 24
ALONG_SEGMENTS = 14
_SLOPES = np.tan(np.radians(np.arange(-LARGEST_TILT_DEG, LARGEST_TILT_DEG + 0.1, 0.3))).astype(np.float32)
_KEYSTONE_SLOPES = np.tan(np.radians(np.arange(-1.2, 1.3, 0.4))).astype(np.float32)
OUTSIDE_PX = 3.0
"""Where the tone on either side of a line is read, small px from it."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line: position = at + slope * (place along - middle), small px."""

    at: float
    slope: float


@dataclass(frozen=True, slots=True, eq=False)
class SideTones:
    """What lies along one side of a hypothetical frame, in equal shares of its length."""

    outside: F32Array
    """Shape (segments, 3); NaN where out of view."""
    inside: F32Array
    """Shape (segments, 3); NaN where out of view."""


@dataclass(frozen=True, slots=True)
class SideScore:
    """Shares of one side's length, 0..1 each."""

    seen: float
    """Clear base outside, darker inside."""
    against: float
    """Something outside that is not clear base nor dark."""
    dark: float
    """Darkness outside: holder, or dense picture."""
    clear: float
    """Clear base on both sides."""


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
    brighter_inside: float
    """Share of the inside brighter than clear base, which no negative is."""
    score: float
    middle: tuple[float, float]
    """Where the lines' positions are stated, small px."""

    def corners(self) -> F32Array:
        """Shape (4, 2), small px, clockwise from the top left."""
        mx, my = self.middle
        rows = [(self.top, self.left), (self.top, self.right), (self.bottom, self.right), (self.bottom, self.left)]
        return np.array([_meet(across, along, mx, my) for across, along in rows], np.float32)


def _meet(horizontal: Line, vertical: Line, mx: float, my: float) -> tuple[float, float]:
    """Intersect y = h.at + h.slope (x - mx) with x = v.at + v.slope (y - my)."""
    x = (vertical.at + vertical.slope * (horizontal.at - horizontal.slope * mx - my)) / (
        1 - vertical.slope * horizontal.slope
    )
    return x, horizontal.at + horizontal.slope * (x - mx)


@dataclass(frozen=True, slots=True)
class Scale:
    """What is known about the scale."""

    px_per_mm: float | None
    """Small px per mm; None when unknown."""
    slack: float = 0.02
    """How far it may be off, as a share."""


def search(view: ReducedView, formats: tuple[FilmFormat, ...], scale: Scale, *, most: int = 6) -> list[Hypothesis]:
    """List places where the frame may be, best first.

    Parameters
    ----------
    view : ReducedView
        Already inverted for a slide.
    formats : tuple of FilmFormat
        Formats that come into question.
    scale : Scale
        What is known about it.
    most : int
        At most so many pairs of long edges are followed up.
    """
    profiles, centres = segment_rows(view.pixels, ACROSS_SEGMENTS)
    middle_x = (view.width - 1) / 2
    support = support_map(steps(profiles), centres, middle_x, _SLOPES)
    tilt = dominant_slope(support)
    near = np.abs(_SLOPES - tilt) < np.tan(np.radians(1.0))
    tops = candidate_lines(support[near], _SLOPES[near], -1, least=0.08, most=10)
    bottoms = candidate_lines(support[near], _SLOPES[near], +1, least=0.08, most=10)
    found: list[Hypothesis] = []
    pairs = sorted(_pairs(tops, bottoms, formats, scale, across=True), key=lambda pair: -pair[0])
    for _, top, bottom, film_format, px_per_mm in pairs[:most]:
        found.extend(_follow_up(view, profiles, centres, (top, bottom), film_format, px_per_mm, tilt, scale))
    return sorted(found, key=lambda hypothesis: -hypothesis.score)


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


Pair = tuple[float, Line, Line, FilmFormat, float]


def _pairs(
    first: Lines, second: Lines, formats: tuple[FilmFormat, ...], scale: Scale, *, across: bool
) -> Iterator[Pair]:
    """Yield pairs of long edges with a strength, and single edges with a partner placed by the known size."""
    for film_format in formats:
        size_mm = film_format.across_mm if across else film_format.along_mm
        for i in range(len(first)):
            for j in range(len(second)):
                gap = float(second.at[j] - first.at[i])
                px_per_mm = gap / size_mm
                if gap < 20 or not _plausible(px_per_mm, scale, film_format.size_tolerance_mm / size_mm):
                    continue
                strength = float(abs(first.support[i]) + abs(second.support[j]))
                lines = (
                    Line(float(first.at[i]), float(first.slope[i])),
                    Line(float(second.at[j]), float(second.slope[j])),
                )
                yield strength, *lines, film_format, scale.px_per_mm or px_per_mm
        if scale.px_per_mm is not None:
            size = size_mm * scale.px_per_mm
            for i in range(len(first)):
                line = Line(float(first.at[i]), float(first.slope[i]))
                yield (
                    0.6 * float(abs(first.support[i])),
                    line,
                    Line(line.at + size, line.slope),
                    film_format,
                    scale.px_per_mm,
                )
            for j in range(len(second)):
                line = Line(float(second.at[j]), float(second.slope[j]))
                yield (
                    0.6 * float(abs(second.support[j])),
                    Line(line.at - size, line.slope),
                    line,
                    film_format,
                    scale.px_per_mm,
                )


def _plausible(px_per_mm: float, scale: Scale, tolerance: float) -> bool:
    if scale.px_per_mm is None:
        return True
    return abs(px_per_mm / scale.px_per_mm - 1) <= scale.slack + tolerance


def _follow_up(
    view: ReducedView,
    profiles: F32Array,
    centres: F32Array,
    long_edges: tuple[Line, Line],
    film_format: FilmFormat,
    px_per_mm: float,
    tilt: float,
    scale: Scale,
) -> Iterator[Hypothesis]:
    """Look for the short edges between two long ones, and judge each pair."""
    top, bottom = long_edges
    rows = _rows_between(view, top, bottom)
    if rows.stop - rows.start < 12:
        return
    columns, offsets = segment_columns(view.pixels[rows], ALONG_SEGMENTS)
    heights = offsets + rows.start
    middle_y = float((rows.start + rows.stop - 1) / 2)
    slopes = _KEYSTONE_SLOPES - np.float32(tilt)
    support = support_map(steps(columns), heights, middle_y, slopes)
    lefts = candidate_lines(support, slopes, -1, least=0.08, most=8)
    rights = candidate_lines(support, slopes, +1, least=0.08, most=8)
    narrow = Scale(px_per_mm, scale.slack if scale.px_per_mm else 0.03)
    for _, left, right, _, _ in _pairs(lefts, rights, (film_format,), narrow, across=False):
        yield _judge(
            view, (profiles, centres), (columns, heights), (top, bottom, left, right), film_format, px_per_mm, middle_y
        )


def _rows_between(view: ReducedView, top: Line, bottom: Line) -> slice:
    inset = 0.04 * (bottom.at - top.at)
    return slice(max(0, int(np.ceil(top.at + inset))), min(view.height, int(bottom.at - inset) + 1))


def _judge(
    view: ReducedView,
    rows: tuple[F32Array, F32Array],
    columns: tuple[F32Array, F32Array],
    lines: tuple[Line, Line, Line, Line],
    film_format: FilmFormat,
    px_per_mm: float,
    middle_y: float,
) -> Hypothesis:
    top, bottom, left, right = lines
    middle_x = (view.width - 1) / 2
    inside = (rows[1] > left.at) & (rows[1] < right.at)
    visible = float(np.clip(min(right.at, view.width - 1) - max(left.at, 0), 0, None) / max(right.at - left.at, 1))
    tones = (
        side_tones(rows[0][inside], rows[1][inside] - middle_x, top, +1),
        side_tones(columns[0], columns[1] - middle_y, right, -1),
        side_tones(rows[0][inside], rows[1][inside] - middle_x, bottom, -1),
        side_tones(columns[0], columns[1] - middle_y, left, +1),
    )
    base = base_tone(tones)
    scores = tuple(score_side(side, base) for side in tones)
    brighter = _brighter_inside(view, lines, base)
    score = sum(s.seen - 0.8 * s.against - 0.25 * s.dark for s in scores) * (0.5 + 0.5 * visible) - 2.0 * brighter
    centre = np.array([(left.at + right.at) / 2 - middle_x, (top.at + bottom.at) / 2 - (view.height - 1) / 2])
    size = np.array([right.at - left.at, bottom.at - top.at])
    expected = np.array([film_format.along_mm, film_format.across_mm]) * px_per_mm
    score -= 1.2 * float(np.abs(centre[0]) / expected[0]) + 0.4 * float(np.abs(centre[1]) / expected[1])
    score -= 4.0 * float(np.abs(size / expected - 1).sum())
    return Hypothesis(
        top, bottom, left, right, film_format, px_per_mm, base, (scores[0], scores[1], scores[2], scores[3]),
        brighter, float(score), (middle_x, middle_y),
    )  # fmt: skip


def side_tones(profiles: F32Array, places: F32Array, line: Line, inward: int) -> SideTones:
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
    """
    at = line.at + line.slope * places
    return SideTones(_read(profiles, at - inward * OUTSIDE_PX), _read(profiles, at + inward * OUTSIDE_PX))


def _read(profiles: F32Array, at: F32Array) -> F32Array:
    length = profiles.shape[1]
    nearest = np.rint(at).astype(np.intp)
    out = (nearest < 1) | (nearest > length - 2)
    safe = np.clip(nearest, 1, max(length - 2, 1))
    each = np.arange(profiles.shape[0])
    tone: F32Array = (profiles[each, safe - 1] + profiles[each, safe] + profiles[each, safe + 1]) / np.float32(3)
    tone[out] = np.nan
    return tone


def base_tone(sides: tuple[SideTones, ...]) -> F32Array:
    """Tone of the clear base: the middle one among all bright sides of visible steps; NaN when there is none."""
    outside = np.concatenate([side.outside for side in sides])
    step = outside.mean(axis=1) - np.concatenate([side.inside for side in sides]).mean(axis=1)
    stepped = outside[step > 6.0]
    if len(stepped) == 0:
        return np.full(3, np.nan, np.float32)
    bright = stepped.mean(axis=1)
    upper = stepped[bright >= np.median(bright) * 0.9]
    return np.asarray(np.median(upper, axis=0), np.float32)


def like_base(tone: F32Array, base: F32Array) -> np.ndarray:
    """Whether tones are those of clear base, shape (n,): light fall-off may change all channels together, and a little each."""
    return np.asarray(np.abs(tone - base).max(axis=1) <= 8.0 + 0.13 * base.max())


def score_side(tones: SideTones, base: F32Array) -> SideScore:
    """Judge what lies along one side."""
    count = len(tones.outside)
    if count == 0 or bool(np.isnan(base).any()):
        return SideScore(0.0, 0.0, 0.0, 0.0)
    visible = ~(np.isnan(tones.outside[:, 0]) | np.isnan(tones.inside[:, 0]))
    out_tone, in_tone = tones.outside[visible], tones.inside[visible]
    clear_out = like_base(out_tone, base)
    step = out_tone.mean(axis=1) - in_tone.mean(axis=1)
    dark = out_tone.mean(axis=1) < 0.3 * base.mean()
    seen = clear_out & (step > 5.0)
    return SideScore(
        seen=float(seen.sum() / count),
        against=float((~clear_out & ~dark).sum() / count) + float((clear_out & (step < -8.0)).sum() / count),
        dark=float(dark.sum() / count),
        clear=float((clear_out & (np.abs(step) <= 5.0)).sum() / count),
    )


def _brighter_inside(view: ReducedView, lines: tuple[Line, Line, Line, Line], base: F32Array) -> float:
    top, bottom, left, right = lines
    rows = slice(max(0, int(top.at) + 4), max(0, int(bottom.at) - 3), 3)
    columns = slice(max(0, int(left.at) + 4), max(0, int(right.at) - 3), 3)
    patch = view.pixels[rows, columns]
    if patch.size == 0 or bool(np.isnan(base).any()):
        return 1.0
    return float((patch.mean(axis=2) > 1.12 * base.mean() + 8.0).mean())
