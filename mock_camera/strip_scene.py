"""The strip of film in millimetres: where its frames, perforations and dust are, and what light it lets through.

Film coordinates: x along the film from its left cut end, y across it from its middle, downwards; seen from the base
side, so that edge lettering reads the right way round and frame numbers rise from left to right (ISO 897).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from mock_camera import edge_print
from mock_camera import film_stock as stock
from mock_camera.film_stock import FilmFormat, FilmKind, FloatPicture

SceneSource = Callable[["Frame"], FloatPicture]
"""Gives the scene (h, w, 3), linear light, that was photographed on a frame."""

FULL_T = 65535.0
"""Transmittance 1 in the 16-bit canvases."""
GATE_SOFTNESS_MM = 0.010
"""Half-shadow at the frame's edge: the camera's gate does not touch the emulsion."""


@dataclass(frozen=True)
class Frame:
    """One frame: where it lies on the film and what was photographed."""

    index: int
    label: str
    x_mm: float
    y_mm: float
    tilt_deg: float
    scene: str
    seed: int
    exposure_stops: float
    blank: bool


@dataclass(frozen=True)
class Speck:
    """Dust or a hair on the film: a line through points in mm, so thick, letting so much light through."""

    points_mm: NDArray[np.float64]
    width_mm: float
    passes: float


@dataclass(frozen=True)
class Strip:
    """A cut strip of film."""

    index: int
    film_format: FilmFormat
    kind: FilmKind
    seed: int
    length_mm: float
    frames: tuple[Frame, ...]
    perforation_phase_mm: float
    specks: tuple[Speck, ...] = field(repr=False)

    def nearest_frame(self, position_mm: float) -> Frame:
        """Frame whose centre is nearest to a place along the film."""
        return min(self.frames, key=lambda frame: abs(frame.x_mm - position_mm))


@dataclass(frozen=True)
class StripPlan:
    """What a strip shall hold; `scenes` are names, taken in turn."""

    film_format: FilmFormat
    kind: FilmKind
    frames: int
    scenes: tuple[str, ...]
    first_label: int
    seed: int
    blank: frozenset[int] = frozenset()
    exposure_spread_stops: float = 0.3
    dust: float = 1.0


def make_strip(plan: StripPlan, index: int) -> Strip:
    """Lay out strip `index` of a roll: frame places, gaps and dust follow from the plan's seed alone."""
    random = np.random.default_rng([plan.seed, index])
    film_format, frames = plan.film_format, []
    gap = _gap(random, film_format)
    x = gap * float(random.uniform(0.35, 0.65))
    for number in range(plan.frames):
        count = index * plan.frames + number
        frames.append(
            Frame(
                index=number,
                label=str(plan.first_label + count),
                x_mm=x + film_format.along_mm / 2,
                y_mm=float(random.normal(0.0, 0.04)),
                tilt_deg=float(random.normal(0.0, 0.04)),
                scene=plan.scenes[count % len(plan.scenes)],
                seed=plan.seed * 1000 + count,
                exposure_stops=float(np.clip(random.normal(0.0, plan.exposure_spread_stops), -1.0, 1.0)),
                blank=number in plan.blank,
            )
        )
        gap = _gap(random, film_format)
        x += film_format.along_mm + gap
    length = x - gap * float(random.uniform(0.35, 0.65))
    phase = float(random.uniform(0.0, stock.PERFORATION_PITCH_MM))
    specks = _dust(random, length, film_format.film_width_mm, plan.dust)
    return Strip(index, film_format, plan.kind, plan.seed, length, tuple(frames), phase, specks)


def _gap(random: np.random.Generator, film_format: FilmFormat) -> float:
    spread = film_format.gap_spread_mm
    return film_format.gap_mm + float(np.clip(random.normal(0.0, spread), -2.5 * spread, 2.5 * spread))


def _dust(random: np.random.Generator, length_mm: float, width_mm: float, amount: float) -> tuple[Speck, ...]:
    specks = []
    area = length_mm * width_mm / 1000.0
    for _ in range(random.poisson(6.0 * area * amount)):
        place = random.uniform((0.0, -width_mm / 2), (length_mm, width_mm / 2))
        size = float(np.clip(random.lognormal(math.log(0.030), 0.5), 0.01, 0.12))
        end = place + random.normal(0.0, 0.5 * size, 2)
        specks.append(Speck(np.array([place, end]), size, float(random.uniform(0.05, 0.6))))
    for _ in range(random.poisson(0.35 * area * amount)):
        place = random.uniform((0.0, -width_mm / 2), (length_mm, width_mm / 2))
        turn = np.cumsum(random.normal(0.0, 0.25, 24)) + random.uniform(0.0, 2 * math.pi)
        steps = np.stack([np.cos(turn), np.sin(turn)], axis=1) * random.uniform(0.03, 0.12)
        specks.append(Speck(place + np.cumsum(steps, axis=0), 0.022, 0.25))
    return tuple(specks)


# --- pictures of the film ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Canvas:
    """A picture of part of a strip: transmittance as uint16 (h, w, 3), 65535 = 1, linear RGB.

    Pixel (i, j) covers the square from left + j/px_per_mm to left + (j + 1)/px_per_mm.
    """

    pixels: NDArray[np.uint16] = field(repr=False)
    left_mm: float
    top_mm: float
    px_per_mm: float

    def covers(self, left_mm: float, right_mm: float) -> bool:
        """Whether the canvas holds all of the film from left to right."""
        return self.left_mm <= left_mm and right_mm <= self.left_mm + self.pixels.shape[1] / self.px_per_mm


@dataclass(frozen=True)
class Region:
    """A rectangle of film and the scale to draw it at."""

    left_mm: float
    right_mm: float
    top_mm: float
    bottom_mm: float
    px_per_mm: float

    def axes(self) -> tuple[FloatPicture, FloatPicture]:
        """Film coordinates of the pixel centres: x (1, w), y (h, 1)."""
        width = round((self.right_mm - self.left_mm) * self.px_per_mm)
        height = round((self.bottom_mm - self.top_mm) * self.px_per_mm)
        x = self.left_mm + (np.arange(width) + 0.5) / self.px_per_mm
        y = self.top_mm + (np.arange(height) + 0.5) / self.px_per_mm
        return x.astype(np.float32).reshape(1, -1), y.astype(np.float32).reshape(-1, 1)


def compose(strip: Strip, region: Region, scene_of: SceneSource) -> Canvas:
    """Draw part of a strip.

    Parameters
    ----------
    strip : Strip
    region : Region
        May reach beyond the film; there is bare light.
    scene_of : SceneSource

    Returns
    -------
    Canvas
    """
    x, y = region.axes()
    picture = np.empty((y.size, x.size, 3), np.float32)
    picture[:] = stock.rebate_transmittance(strip.kind)
    edge_print.draw(picture, strip, x, y)
    for frame in strip.frames:
        _lay_frame(picture, strip, frame, region, scene_of)
    _lay_dust(picture, strip, region)
    _cut_holes(picture, strip, x, y)
    pixels = np.empty(picture.shape, np.uint16)
    np.multiply(np.clip(picture, 0.0, 1.0, out=picture), FULL_T, out=pixels, casting="unsafe")
    return Canvas(pixels, region.left_mm, region.top_mm, region.px_per_mm)


def _lay_frame(picture: FloatPicture, strip: Strip, frame: Frame, region: Region, scene_of: SceneSource) -> None:
    """Blend one frame's developed picture into the canvas, within its soft, slightly ragged gate."""
    film_format, scale = strip.film_format, region.px_per_mm
    reach_x, reach_y = film_format.along_mm / 2 + 0.5, film_format.across_mm / 2 + 0.5
    x0 = max(0, math.floor((frame.x_mm - reach_x - region.left_mm) * scale))
    x1 = min(picture.shape[1], math.ceil((frame.x_mm + reach_x - region.left_mm) * scale))
    y0 = max(0, math.floor((frame.y_mm - reach_y - region.top_mm) * scale))
    y1 = min(picture.shape[0], math.ceil((frame.y_mm + reach_y - region.top_mm) * scale))
    if x1 <= x0 or y1 <= y0 or frame.blank:
        return
    scene = scene_of(frame)
    part = Region(region.left_mm + x0 / scale, region.left_mm + x1 / scale, region.top_mm + y0 / scale,
                  region.top_mm + y1 / scale, scale)  # fmt: skip
    developed = stock.transmittance(scene * np.float32(2.0**frame.exposure_stops), strip.kind)
    inside = gate_coverage(frame, film_format, part)[:, :, np.newaxis]
    target = picture[y0:y1, x0:x1]
    target += inside * (_place_scene(developed, frame, film_format, part) - target)


def _place_scene(developed: FloatPicture, frame: Frame, film_format: FilmFormat, part: Region) -> FloatPicture:
    """Resample the developed scene into a part of the canvas, turned and shifted as the frame is."""
    width, height = film_format.along_mm * part.px_per_mm, film_format.across_mm * part.px_per_mm
    if developed.shape[1] > 1.3 * width:
        # Area averaging first, or a finer scene would alias.
        size = round(width), round(height)
        developed = np.asarray(cv2.resize(developed, size, interpolation=cv2.INTER_AREA), np.float32)
    scene_x = developed.shape[1] / film_format.along_mm
    scene_y = developed.shape[0] / film_format.across_mm
    turn = math.radians(frame.tilt_deg)
    c, s = math.cos(turn), math.sin(turn)
    dx = part.left_mm + 0.5 / part.px_per_mm - frame.x_mm
    dy = part.top_mm + 0.5 / part.px_per_mm - frame.y_mm
    step = 1.0 / part.px_per_mm
    matrix = np.array([
        [c * step * scene_x, s * step * scene_x, (c * dx + s * dy + film_format.along_mm / 2) * scene_x - 0.5],
        [-s * step * scene_y, c * step * scene_y, (-s * dx + c * dy + film_format.across_mm / 2) * scene_y - 0.5],
    ])  # fmt: skip
    x, y = part.axes()
    return np.asarray(
        cv2.warpAffine(
            developed, matrix, (x.size, y.size),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE,
        ),
        dtype=np.float32,
    )  # fmt: skip


def gate_coverage(frame: Frame, film_format: FilmFormat, part: Region) -> FloatPicture:
    """Share of light (0 to 1) that the camera's gate let onto each pixel: rounded corners, a little ragged.

    The raggedness has zero mean along each side, so that the straight line through a side is the frame's edge.
    """
    x, y = part.axes()
    turn = math.radians(frame.tilt_deg)
    dx, dy = x - np.float32(frame.x_mm), y - np.float32(frame.y_mm)
    u = np.float32(math.cos(turn)) * dx + np.float32(math.sin(turn)) * dy
    v = np.float32(math.cos(turn)) * dy - np.float32(math.sin(turn)) * dx
    random = np.random.default_rng([frame.seed, 11])
    radius = 0.35 + 0.3 * float(random.random())
    along = film_format.along_mm / 2 + _ragged(random, dy.ravel(), film_format.across_mm).reshape(-1, 1)
    across = film_format.across_mm / 2 + _ragged(random, dx.ravel(), film_format.along_mm).reshape(1, -1)
    qx, qy = np.abs(u) - along + radius, np.abs(v) - across + radius
    outside = cv2.magnitude(np.maximum(qx, 0.0), np.maximum(qy, 0.0))
    distance = outside + np.minimum(np.maximum(qx, qy), 0.0) - np.float32(radius)
    width = math.hypot(2.5 * GATE_SOFTNESS_MM, 1.0 / part.px_per_mm)
    return np.asarray(np.clip(0.5 - distance / np.float32(width), 0.0, 1.0), dtype=np.float32)


def _ragged(random: np.random.Generator, place_mm: FloatPicture, length_mm: float) -> FloatPicture:
    """Unevenness of a gate's side in mm: a few micrometres of file marks, and a burr now and then."""
    knots = np.arange(-length_mm / 2 - 1.0, length_mm / 2 + 1.0, 0.15)
    rough = random.normal(0.0, 0.004, knots.size)
    for _ in range(random.poisson(1.0)):
        rough[int(random.integers(knots.size))] -= float(random.uniform(0.03, 0.09))
    # A straight line through the side must stay where it is: neither shift nor slope is left.
    inside = np.abs(knots) < length_mm / 2
    rough -= np.polyval(np.polyfit(knots[inside], rough[inside], 1), knots)
    return np.interp(place_mm, knots, rough).astype(np.float32)


def _lay_dust(picture: FloatPicture, strip: Strip, region: Region) -> None:
    """Darken the canvas where dust and hairs lie."""
    scale, shift = region.px_per_mm, 4
    height, width = picture.shape[:2]
    for speck in strip.specks:
        points = (speck.points_mm - (region.left_mm, region.top_mm)) * scale - 0.5
        margin = math.ceil(speck.width_mm * scale) + 2
        low, high = points.min(axis=0) - margin, points.max(axis=0) + margin
        x0, y0 = max(0, int(low[0])), max(0, int(low[1]))
        x1, y1 = min(width, int(high[0]) + 1), min(height, int(high[1]) + 1)
        if x1 <= x0 or y1 <= y0:
            continue
        mask = np.zeros((y1 - y0, x1 - x0), np.uint8)
        line = np.round((points - (x0, y0)) * 2**shift).astype(np.int32).reshape(-1, 1, 2)
        thick = speck.width_mm * scale
        cv2.polylines(mask, [line], False, 255, max(1, round(thick)), cv2.LINE_AA, shift)
        dark = np.float32((1.0 - speck.passes) * min(1.0, thick) / 255.0)
        picture[y0:y1, x0:x1] *= (1.0 - dark * mask.astype(np.float32))[:, :, np.newaxis]


def _cut_holes(picture: FloatPicture, strip: Strip, x: FloatPicture, y: FloatPicture) -> None:
    """Let bare light through the perforations and beyond the film's edges and ends."""
    px_per_mm = 1.0 / float(x[0, 1] - x[0, 0])
    hard = np.float32(px_per_mm)
    if strip.film_format.perforated:
        middle = stock.FILM_135_WIDTH_MM / 2 - stock.PERFORATION_EDGE_MM - stock.PERFORATION_ACROSS_MM / 2
        pitch, radius = stock.PERFORATION_PITCH_MM, stock.PERFORATION_RADIUS_MM
        rows = np.abs(np.abs(y[:, 0]) - middle) < stock.PERFORATION_ACROSS_MM / 2 + 2.0 / px_per_mm
        along = np.abs((x - strip.perforation_phase_mm + pitch / 2) % pitch - pitch / 2)
        qx = along - np.float32(stock.PERFORATION_ALONG_MM / 2 - radius)
        qy = np.abs(np.abs(y[rows]) - np.float32(middle)) - np.float32(stock.PERFORATION_ACROSS_MM / 2 - radius)
        distance = np.hypot(np.maximum(qx, 0), np.maximum(qy, 0)) + np.minimum(np.maximum(qx, qy), 0) - radius
        hole = np.clip(0.5 - distance * hard, 0.0, 1.0)[:, :, np.newaxis]
        picture[rows] += hole * (1.0 - picture[rows])
    beyond_y = np.clip(0.5 + (np.abs(y) - strip.film_format.film_width_mm / 2) * hard, 0.0, 1.0)
    beyond_x = np.clip(0.5 + np.maximum(-x, x - strip.length_mm) * hard, 0.0, 1.0)
    for rows_or_columns in (beyond_y, beyond_x):
        if rows_or_columns.max() > 0.0:
            picture += rows_or_columns[:, :, np.newaxis] * (1.0 - picture)
