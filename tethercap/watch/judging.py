"""One place where a frame may be, judged by what lies on both sides of its four lines."""

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
    """Reads the tones beside lines, each short edge once.

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


def judge(
    scene: Scene,
    read: SideReader,
    lines: tuple[Line, Line, Line, Line],
    film_format: FilmFormat,
    px_per_mm: float,
    middle_y: float,
    *,
    negative: bool,
) -> Hypothesis:
    """Judge one place.

    Parameters
    ----------
    scene : Scene
        Already inverted for a slide.
    read : SideReader
        For these long edges.
    lines : tuple of Line
        Top, bottom, left, right.
    film_format : FilmFormat
        The format in question.
    px_per_mm : float
        Small px.
    middle_y : float
        Where the short lines' places are stated, small px.
    negative : bool
        False when the scene is inverted.
    """
    top, bottom, left, right = lines
    scores, base = score_sides(read(left, right), inverted=not negative, light=scene.light)
    touching = tuple(i % 2 == 1 and s.against > 0.5 and s.any_step > 0.6 for i, s in enumerate(scores))
    patch = _inside(scene.view, lines)
    brighter = _brighter_inside(patch, base)
    shown = min(right.at, scene.view.width - 1) - max(left.at, 0)
    visible = max(shown, 0.0) / max(right.at - left.at, 1)
    score = sum(_worth(s, t) for s, t in zip(scores, touching, strict=True)) * (0.5 + 0.5 * visible) - 2.0 * brighter
    score -= _off_place(lines, scene.view, film_format, px_per_mm)
    return Hypothesis(
        top, bottom, left, right, film_format, px_per_mm, base, (scores[0], scores[1], scores[2], scores[3]),
        (touching[0], touching[1], touching[2], touching[3]), brighter, float(score),
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


def _brighter_inside(patch: F32Array, base: F32Array) -> float:
    if patch.size == 0 or bool(np.isnan(base).any()):
        return 1.0
    return float((summed_up(patch) > 3.36 * base.mean() + 24.0).mean())


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
