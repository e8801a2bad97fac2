"""Dust on the film: compact, hard-edged, darker than the film around it in all channels alike, against the grain.

Dust blocks light, so that it adds density; it is as sharp as the camera is, while the film's own detail went through
another lens first; and it has no colour. What a picture has many of, such as leaves, stars or glitter on water, is
texture and no dust. Where this cannot be told, the film is left alone: a speck that stays does less harm than a
picture that is painted over.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from tethercap.convert.flat_field import colour_planes
from tethercap.geometry import QuadPx, SizePx
from tethercap.pictures import F32Array, F64Array, RawPicture, U8Array

BAND_CELLS = 384
"""Rows of cells looked at together; memory does not grow with the picture."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DustLimits:
    """What is taken for dust. Found on simulated film with invented pictures; `tests/dust/score.py` tells how well."""

    widest_mm: float = 0.30
    """Specks are no larger than this; hairs may be."""
    hair_mm: float = 0.07
    """Hairs and fibres are no wider than this on the average; common practice: hair 0.02 to 0.1 mm."""
    least_density: float = 0.14
    """A speck blocks at least so much light somewhere."""
    rim_density: float = 0.05
    """To its rim belongs what blocks so much."""
    over_roughness: float = 8.0
    """A speck's density over the mean density of all narrow dense things around it."""
    rim_over_roughness: float = 3.0
    over_edges: float = 6.0
    """A speck's density over the mean step from one cell to the next around it."""
    over_span: float = 2.0
    """A speck's density over the range of densities of the picture close to it."""
    hardness: float = 0.5
    """Steepest rise from one cell to the next, as a share of the speck's density."""
    neutral: float = 0.3
    """Least density added in any channel over the most; glare in dark channels takes some of it away."""
    most_per_mm2: float = 0.15
    """Where there are more specks than this, they may be the picture's own: stars, sand, snow."""
    most_hairs_per_mm2: float = 0.03
    """The same for hairs: glints on water, grass and blinds come in numbers, hairs seldom do."""
    around_mm: float = 1.5
    """Reach of "around"; specks are counted over twice this."""


@dataclass(frozen=True, slots=True, eq=False)
class DustMask:
    """Where dust lies, per 2 x 2 cell of the mosaic."""

    cells: U8Array
    """Shape (mosaic height // 2, mosaic width // 2), 1 = dust."""
    specks: int
    """How many there are."""
    left_alone: int = 0
    """Specks that may as well be the picture's own, since there are so many side by side; not in `cells`."""


_DARKEST = 0.5
"""Counts over black below which a value is taken for it: logarithms need some."""
_FEWEST_CELLS = 2
"""A single cell may be a dead photosite."""
_GREEN = 1


def find_dust(raw: RawPicture, corners: QuadPx | None, mm_per_px: float, limits: DustLimits | None = None) -> DustMask:
    """Find dust in a picture of film.

    Parameters
    ----------
    raw : RawPicture
    corners : QuadPx or None
        The picture on the film, mosaic pixels; dust outside it is not looked for. None looks everywhere.
    mm_per_px : float
        Size of a mosaic pixel on the film.
    limits : DustLimits, optional
    """
    limits = limits or DustLimits()
    size = SizePx(raw.mosaic.shape[1] // 2, raw.mosaic.shape[0] // 2)
    mm_per_cell = 2.0 * mm_per_px
    cells = np.zeros((size.height_px, size.width_px), np.uint8)
    inside = None if corners is None else inside_of(corners.scaled(0.5), size)
    margin = _reach(limits.around_mm, mm_per_cell) + _reach(limits.widest_mm, mm_per_cell)
    for first, last in _bands(size.height_px):
        top, bottom = max(first - margin, 0), min(last + margin, size.height_px)
        density = _density(raw, top, bottom)
        found = _candidates(density, None if inside is None else inside[top:bottom], mm_per_cell, limits)
        cells[first:last] = found[first - top : last - top]
    return _without_crowds(cells, mm_per_cell, limits)


def _bands(height: int) -> Iterator[tuple[int, int]]:
    for first in range(0, height, BAND_CELLS):
        yield first, min(first + BAND_CELLS, height)


def _reach(mm: float, mm_per_cell: float) -> int:
    return max(round(mm / mm_per_cell), 2)


def _density(raw: RawPicture, top: int, bottom: int) -> F32Array:
    """Density over saturation of rows of cells, shape (rows, columns, 3)."""
    part = RawPicture(
        mosaic=raw.mosaic[2 * top : 2 * bottom],
        pattern=raw.pattern,
        black=raw.black,
        white=raw.white,
        camera_to_xyz=None,
        daylight_multipliers=raw.daylight_multipliers,
    )
    sums: list[F32Array | None] = [None, None, None]
    for plane, channel in zip(colour_planes(part), raw.pattern.ravel(), strict=True):
        before = sums[int(channel)]
        sums[int(channel)] = plane if before is None else np.asarray((before + plane) * np.float32(0.5))
    planes = [-np.log10(np.maximum(plane, _DARKEST)) for plane in sums if plane is not None]
    return np.asarray(np.dstack(planes), np.float32)


def _candidates(density: F32Array, inside: U8Array | None, mm_per_cell: float, limits: DustLimits) -> U8Array:
    """Specks among rows of cells, shape (rows, columns), 1 = dust."""
    widest = _reach(limits.widest_mm, mm_per_cell) | 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (widest, widest))
    # What an opening takes away is narrower than the disc somewhere and denser than what is beside it.
    channels = [np.ascontiguousarray(plane) for plane in cv2.split(density)]
    opened = [np.asarray(cv2.morphologyEx(plane, cv2.MORPH_OPEN, disc), np.float32) for plane in channels]
    added = [plane - bare for plane, bare in zip(channels, opened, strict=True)]
    least, most = np.minimum.reduce(added), np.maximum.reduce(added)
    around = 2 * _reach(limits.around_mm, mm_per_cell) + 1
    roughness = _mean(np.minimum(least, np.float32(0.1)), around)
    edges = _mean(np.minimum(_steps(cv2.GaussianBlur(channels[_GREEN], (0, 0), 1.0)), np.float32(0.5)), around)
    span = _steps(cv2.blur(opened[_GREEN], (3, 3)), widest + 4)
    is_rim = least > np.maximum(limits.rim_density, limits.rim_over_roughness * roughness)
    rim: U8Array = np.asarray(is_rim, np.uint8)
    if inside is not None:
        rim *= inside
    number, labels, sizes, _ = cv2.connectedComponentsWithStats(rim, connectivity=8)
    if number < 2:
        return np.zeros_like(rim)
    stats = np.asarray(sizes, np.int32)
    here = rim > 0
    places = np.asarray(labels, np.int32)[here]

    def highest(values: F32Array) -> F64Array:
        found = np.zeros(number)
        np.maximum.at(found, places, values[here])
        return found

    def mean(values: F32Array) -> F64Array:
        total = np.bincount(places, weights=values[here], minlength=number)
        return np.asarray(total / np.maximum(stats[:, cv2.CC_STAT_AREA], 1))

    peak = highest(least)
    is_dust = (
        (peak >= limits.least_density)
        & (stats[:, cv2.CC_STAT_AREA] >= _FEWEST_CELLS)
        & (peak >= limits.over_roughness * mean(roughness))
        & (peak >= limits.over_edges * mean(edges))
        & (peak >= limits.over_span * mean(span))
        & (highest(_steps(least)) >= limits.hardness * peak)
        & (mean(least) >= limits.neutral * mean(most))
        & _is_speck_or_hair(stats, mm_per_cell, limits)
    )
    is_dust[0] = False
    return np.asarray(is_dust.astype(np.uint8)[labels], np.uint8)


def _is_speck_or_hair(stats: npt.NDArray[np.int32], mm_per_cell: float, limits: DustLimits) -> npt.NDArray[np.bool_]:
    length = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT])
    width_mm = stats[:, cv2.CC_STAT_AREA] / length * mm_per_cell
    # A cell on either side of a hair is half dark.
    return np.asarray((length * mm_per_cell <= 1.5 * limits.widest_mm) | (width_mm <= limits.hair_mm + mm_per_cell))


def _mean(values: F32Array, side: int) -> F32Array:
    return np.asarray(cv2.blur(values, (side, side), borderType=cv2.BORDER_REFLECT), np.float32)


def _steps(values: npt.NDArray[Any], side: int = 3) -> F32Array:
    """Range of the values in a square around each cell."""
    return np.asarray(cv2.morphologyEx(values, cv2.MORPH_GRADIENT, np.ones((side, side), np.uint8)), np.float32)


def _without_crowds(cells: U8Array, mm_per_cell: float, limits: DustLimits) -> DustMask:
    """Leave out specks that lie among so many others that they may be the picture's own texture."""
    number, labels, sizes, centres = cv2.connectedComponentsWithStats(cells, connectivity=8)
    if number < 2:
        return DustMask(cells, 0)
    stats, places = np.asarray(sizes, np.int32)[1:], np.rint(centres[1:]).astype(np.intp)
    length_mm = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) * mm_per_cell
    is_hair = length_mm > 1.5 * limits.widest_mm
    side = 4 * _reach(limits.around_mm, mm_per_cell) + 1
    area_mm2 = (side * mm_per_cell) ** 2
    crowded = _neighbours(cells.shape, places, side) > limits.most_per_mm2 * area_mm2
    hairs = _neighbours(cells.shape, places[is_hair], side)
    crowded[is_hair] |= hairs > limits.most_hairs_per_mm2 * area_mm2
    kept = np.concatenate([[False], ~crowded])
    return DustMask(np.asarray(kept.astype(np.uint8)[labels]), int((~crowded).sum()), int(crowded.sum()))


def _neighbours(shape: tuple[int, ...], places: npt.NDArray[np.intp], side: int) -> F64Array:
    """How many others lie in a square around each, shape (n,); places are columns and rows."""
    points = np.zeros(shape, np.float32)
    np.add.at(points, (places[:, 1], places[:, 0]), 1.0)
    counted = cv2.boxFilter(points, -1, (side, side), normalize=False, borderType=cv2.BORDER_CONSTANT)
    return np.asarray(counted[places[:, 1], places[:, 0]] - 1.0, np.float64)


def inside_of(corners: QuadPx, size: SizePx) -> U8Array:
    """Cells of a picture, shape (rows, columns): 1 inside the frame, a little off its edge, which is hard and dark."""
    inside = np.zeros((size.height_px, size.width_px), np.uint8)
    cv2.fillConvexPoly(inside, np.rint(corners.as_array()).astype(np.int32), 1)
    return np.asarray(cv2.erode(inside, np.ones((5, 5), np.uint8), borderValue=0), np.uint8)
