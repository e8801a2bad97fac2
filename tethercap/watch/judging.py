"""One place where a frame may be, judged by what lies on both sides of its four lines."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tethercap.film.formats import FilmFormat
from tethercap.pictures import F32Array
from tethercap.watch.lines import Line
from tethercap.watch.reduced import ReducedView
from tethercap.watch.survey import Scene
from tethercap.watch.tones import SideScore, SideTones, score_sides, summed_up

RIM_MM = 0.4
"""Where the tone on either side of a line is read: outside a soft edge, before the perforations 0.68 mm away."""
PLACE_PX = 2.0
"""How far the distance of two coarse lines may be off, small px."""
LEAST_SCORE = 0.15
"""Places that score less do not come into question."""


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


class SideReader:
    """Reads the tones beside frames between two long edges.

    Parameters
    ----------
    scene : Scene
        Already inverted for a slide.
    columns : tuple of ndarray
        Profiles along the picture between the long edges, and the place of each from their middle.
    top, bottom : Line
        The long edges.
    px_per_mm : float
        Small px.
    """

    def __init__(
        self, scene: Scene, columns: tuple[F32Array, F32Array], top: Line, bottom: Line, px_per_mm: float
    ) -> None:
        self._rim = float(np.clip(RIM_MM * px_per_mm, 1.6, 4.0))
        self._profiles, self._places = columns
        self._centres = scene.centres
        places = scene.centres - (scene.view.width - 1) / 2
        self._top = _beside(scene.profiles, places, [top], +1, self._rim)
        self._bottom = _beside(scene.profiles, places, [bottom], -1, self._rim)
        along, across = len(scene.centres), len(self._places)
        self._side = np.repeat(np.arange(4), [along, across, along, across])
        # The levels between the long edges, of every third pixel row.
        rows = slice(max(0, int(top.at) + 4), max(0, int(bottom.at) - 3), 3)
        self._sums = summed_up(scene.view.pixels[rows])

    def sides(self, pairs: Sequence[tuple[Line, Line]]) -> SideTones:
        """Tones beside the frames that left and right edges make with the long ones, clockwise around each."""
        lefts, rights = [left for left, _ in pairs], [right for _, right in pairs]
        right = _beside(self._profiles, self._places, rights, -1, self._rim)
        left = _beside(self._profiles, self._places, lefts, +1, self._rim)
        shape = (len(pairs), *self._top[0].shape[1:])
        outside, inside = (
            np.concatenate(
                [
                    np.broadcast_to(self._top[way], shape),
                    right[way],
                    np.broadcast_to(self._bottom[way], shape)[:, ::-1],
                    left[way][:, ::-1],
                ],
                axis=1,
            )
            for way in (0, 1)
        )
        between = (self._centres > _at(lefts)) & (self._centres < _at(rights))
        short = np.ones((len(pairs), len(self._places)), bool)
        return SideTones(outside, inside, self._side, np.concatenate([between, short, between[:, ::-1], short], axis=1))

    def brighter_inside(self, left: Line, right: Line, base: F32Array) -> float:
        """Share of the inside brighter than clear base of this tone; 1 where there is no inside or no base."""
        patch = self._sums[:, max(0, int(left.at) + 4) : max(0, int(right.at) - 3) : 3]
        if patch.size == 0 or bool(np.isnan(base).any()):
            return 1.0
        return float((patch > 3.36 * base.mean() + 24.0).mean())


def _at(lines: Sequence[Line]) -> F32Array:
    """Where each line crosses the middle, shape (lines, 1)."""
    return np.array([line.at for line in lines], np.float32)[:, None]


def judge(
    scene: Scene,
    read: SideReader,
    long_edges: tuple[Line, Line],
    pairs: Sequence[tuple[Line, Line, FilmFormat]],
    px_per_mm: float,
    middle_y: float,
    *,
    negative: bool,
) -> list[Hypothesis]:
    """Judge places between two long edges, all at once.

    Parameters
    ----------
    scene : Scene
        Already inverted for a slide.
    read : SideReader
        For these long edges.
    long_edges : tuple of Line
        Top and bottom.
    pairs : sequence
        Left edge, right edge and format of each, at least one.
    px_per_mm : float
        Small px.
    middle_y : float
        Where the short lines' places are stated, small px.
    negative : bool
        False when the scene is inverted.

    Returns
    -------
    list of Hypothesis
        Those that come into question.
    """
    top, bottom = long_edges
    tones = read.sides([(left, right) for left, right, _ in pairs])
    scores, bases = score_sides(tones, inverted=not negative, light=scene.light)
    judged = []
    for (left, right, film_format), values, base in zip(pairs, scores.tolist(), bases, strict=True):
        sides = [SideScore(*of_side) for of_side in values]
        touching = [i % 2 == 1 and s.against > 0.5 and s.any_step > 0.6 for i, s in enumerate(sides)]
        shown = min(right.at, scene.view.width - 1) - max(left.at, 0)
        visible = max(shown, 0.0) / max(right.at - left.at, 1)
        score = sum(_worth(s, t) for s, t in zip(sides, touching, strict=True)) * (0.5 + 0.5 * visible)
        score -= _off_place((top, bottom, left, right), scene.view, film_format, px_per_mm)
        if score < LEAST_SCORE:
            continue
        brighter = read.brighter_inside(left, right, base)
        score -= 2.0 * brighter
        if score < LEAST_SCORE:
            continue
        judged.append(
            Hypothesis(
                top, bottom, left, right, film_format, px_per_mm, base, (sides[0], sides[1], sides[2], sides[3]),
                (touching[0], touching[1], touching[2], touching[3]), brighter, score,
                ((scene.view.width - 1) / 2, middle_y), not negative,
            )
        )  # fmt: skip
    return judged


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


def _beside(
    profiles: F32Array, places: F32Array, lines: Sequence[Line], inward: int, rim: float
) -> tuple[F32Array, F32Array]:
    """Read the tones on both sides of lines, segment by segment.

    Parameters
    ----------
    profiles : ndarray
        Shape (segments, length, 3).
    places : ndarray
        Place of each segment along the lines, from the middle, shape (segments,).
    lines : sequence of Line
        All near one direction.
    inward : int
        +1 when the frame lies at higher positions, else -1.
    rim : float
        How far from the line, small px.

    Returns
    -------
    outside, inside : ndarray
        Shape (lines, segments, 3), NaN where out of view.
    """
    slopes = np.array([line.slope for line in lines], np.float32)
    at = np.asarray(_at(lines) + slopes[:, None] * places, np.float32)
    return _read(profiles, at - inward * rim), _read(profiles, at + inward * rim)


def _read(profiles: F32Array, at: F32Array) -> F32Array:
    """Tones at places along each profile, shape (lines, segments, 3)."""
    length = profiles.shape[1]
    low = np.floor(at).astype(np.intp)
    out = (low < 0) | (low > length - 2)
    share = (at - low)[..., None].astype(np.float32)
    flat = profiles.reshape(-1, 3)
    start = np.clip(low, 0, length - 2) + np.arange(profiles.shape[0]) * length
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


def shows_bare_light(view: ReducedView, hypothesis: Hypothesis) -> bool:
    """Whether the inside of a would-be slide is nothing but the light: even, white, as bright as anything in view.

    Parameters
    ----------
    view : ReducedView
        Not inverted.
    hypothesis : Hypothesis
        Found in the inverted view.
    """
    tones = _inside(view, (hypothesis.top, hypothesis.bottom, hypothesis.left, hypothesis.right)).reshape(-1, 3)
    if tones.size == 0:
        return False
    grey = tones.sum(axis=1) / np.float32(3)
    low, middle, high = np.percentile(grey, [5, 50, 95])
    brightest = float(view.pixels[::4, ::4].max(axis=(0, 1)).mean())
    even = (high - low) < LIGHT_UNEVEN * middle and float(np.ptp(np.median(tones, axis=0))) < LIGHT_TINT
    return bool(even and middle > 0.93 * brightest)


LIGHT_UNEVEN = 0.1
"""Fall-off of a light panel in display codes, from the darkest to the brightest twentieth, as a share."""
LIGHT_TINT = 10.0
"""Codes between the channels of light the camera is balanced for."""
