"""What every guess about one view shares: its mean profiles, the directions its lines run in, its perforations."""

from dataclasses import dataclass

import numpy as np

from tethercap.film.formats import FilmFormat, Perforations
from tethercap.pictures import F32Array
from tethercap.watch.lines import steps, support_map
from tethercap.watch.perforations import PerforationRows, find_perforations
from tethercap.watch.reduced import ReducedView, segment_columns, segment_rows

LARGEST_TILT_DEG = 6.0
ACROSS_SEGMENTS = 24
SLOPES = np.tan(np.radians(np.arange(-LARGEST_TILT_DEG, LARGEST_TILT_DEG + 0.1, 0.3))).astype(np.float32)
"""Directions in which lines are looked for, rise over run."""
_STEP = float(SLOPES[1] - SLOPES[0])
UPRIGHT_SEGMENTS = 14
DIRECTIONS = 3
"""So many directions are tried: holder, film and what is pictured need not be parallel."""
WEAKEST_DIRECTION = 0.05
"""Least strength of a direction, as a share of the strongest."""
APART_SLOPES = 2
"""Directions nearer to each other than this many slopes are one."""
HOLE_RIM_MM = 0.35
"""A hole's blurred rim; a frame's edge lies 0.68 mm off."""


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
    light: float
    """Level of the brightest light in view, 0..255, as the scene shows it: near 0 in an inverted one."""
    tilts: tuple[float, ...]
    """Directions in which most lines run, strongest first, rise over run."""

    @property
    def tilt(self) -> float:
        """The likeliest direction of the film, rise over run."""
        return self.tilts[0]


def survey(view: ReducedView) -> Scene:
    """Prepare what the search needs of a view."""
    profiles, centres = segment_rows(view.pixels, ACROSS_SEGMENTS)
    support = support_map(steps(profiles), centres, (view.width - 1) / 2, SLOPES)
    # What is pictured seldom fools both directions at once: the film also turns as upright lines do.
    columns, heights = segment_columns(view.pixels, UPRIGHT_SEGMENTS)
    upright = main_slopes(support_map(steps(columns), heights, (view.height - 1) / 2, SLOPES))[0]
    tilts = main_slopes(support)
    if all(abs(tilt + upright) > APART_SLOPES * _STEP for tilt in tilts):
        tilts = (*tilts[: DIRECTIONS - 1], -upright)
    return Scene(view, profiles, centres, support, light_in(view), tilts)


def light_in(view: ReducedView) -> float:
    """Level of the brightest places, but for single ones."""
    return float(np.percentile(view.pixels[::3, ::3].sum(axis=2), 99.0)) / 3


def inverted(scene: Scene) -> Scene:
    """Give the same scene with light and dark exchanged."""
    return Scene(
        scene.view.inverted(),
        np.float32(255) - scene.profiles,
        scene.centres,
        -scene.support,
        255.0 - scene.light,
        scene.tilts,
    )


def main_slopes(support: F32Array) -> tuple[float, ...]:
    """Slopes along which the most lines agree, strongest first: the film's direction is likely among them."""
    energy = (support * support).sum(axis=1)
    chosen: list[int] = []
    for index in np.argsort(-energy).tolist():
        if energy[index] < WEAKEST_DIRECTION * energy[chosen[0] if chosen else index] or len(chosen) == DIRECTIONS:
            break
        around = energy[max(0, index - 1) : index + 2]
        if energy[index] >= around.max() and all(abs(index - other) > APART_SLOPES for other in chosen):
            chosen.append(index)
    return tuple(_between(energy, index) for index in chosen)


def _between(energy: F32Array, best: int) -> float:
    """Place of a peak between the slopes."""
    if not 0 < best < len(SLOPES) - 1:
        return float(SLOPES[best])
    before, here, after = (float(value) for value in energy[best - 1 : best + 2])
    curve = before - 2 * here + after
    step = float(SLOPES[1] - SLOPES[0])
    return float(SLOPES[best]) + (0.5 * (before - after) / curve if curve < 0 else 0.0) * step


def perforations_in(scene: Scene, film_format: FilmFormat, scale: Scale) -> PerforationRows | None:
    """Find the perforations of a scene that is not inverted."""
    if film_format.perforations is None:
        return None
    grey = np.asarray(scene.view.pixels.mean(axis=2), np.float32)
    for tilt in scene.tilts:
        rows = find_perforations(grey, film_format, tilt, scale.px_per_mm)
        if rows is not None:
            return rows
    return None


def without_holes(scene: Scene, rows: PerforationRows, holes: Perforations) -> Scene:
    """Give the scene, not inverted, with the holes filled by what lies between them, so that none is taken for an edge.

    Half a pitch beside a hole there is none; of the two places the darker one is film.
    """
    pixels = scene.view.pixels
    height, width = pixels.shape[:2]
    half_pitch = max(1, round(0.5 * holes.pitch_mm * rows.px_per_mm))
    tall = (0.5 * holes.across_mm + HOLE_RIM_MM) * rows.px_per_mm
    x = np.arange(width) - (width - 1) / 2
    beside = np.arange(width) - half_pitch
    beside = np.where(beside < 0, beside + 2 * half_pitch, beside).clip(0, width - 1)
    filled = pixels.copy()
    for row in rows.rows_y:
        middle = row + rows.slope * x
        first = max(0, int(np.floor(middle.min() - tall)))
        last = min(height, int(np.ceil(middle.max() + tall)) + 1)
        band = pixels[first:last]
        within = np.abs(np.arange(first, last)[:, None] - middle) < tall
        filled[first:last] = np.where(within[..., None], np.minimum(band, band[:, beside]), filled[first:last])
    again = survey(ReducedView(filled, scene.view.factor))
    others = (tilt for tilt in scene.tilts if abs(tilt - rows.slope) > APART_SLOPES * _STEP)
    tilts = (rows.slope, *again.tilts[:1], *others)[:DIRECTIONS]
    return Scene(again.view, again.profiles, again.centres, again.support, scene.light, tilts)
