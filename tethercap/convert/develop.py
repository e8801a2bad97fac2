"""From the mosaic of a RAW to pixels, a band of rows at a time: everything that is done to every pixel.

Bands are independent of each other, so any number of them may be worked at once, and memory does not grow with the
picture.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from tethercap.convert.demosaic import MARGIN_PX, demosaic, second_order
from tethercap.convert.flat_field import FlatField
from tethercap.pictures import F32Array, F64Array, RawPicture, U16Array

Mat = np.ndarray[Any, np.dtype[np.integer[Any] | np.floating[Any]]]
"""What OpenCV hands out."""
BAND_ROWS, TILE_COLUMNS = 128, 1024
"""Rows, and columns of them, worked at once: some twenty planes of that size stay in the processor's cache."""
LUT_SIZE = 65536
LOWEST_DENSITY, HIGHEST_DENSITY = -0.5, 4.5
"""Range of densities over base that a 16-bit index spans, in steps of 0.00008."""
BRIGHTEST = 16.0
"""Linear print light at the top of the last table's index, whose square root is spread over 16 bits."""
DARKEST = -0.008
"""Linear print light at its bottom; colours outside the output space have some negative light."""


@dataclass(frozen=True, slots=True, eq=False)
class DevelopTables:
    """All that is done to the pixels of one picture, as tables and matrices."""

    counts_to_density: F32Array
    """Shape (2, 2, 65536): raw counts to density over base, per place in the mosaic's cell.

    To light, where `exposure` is None."""
    equalise: F32Array | None
    """Shape (3, 65536): density index to density on the green scale.

    None where `counts_to_density` gives that already."""
    density_matrix: F32Array
    """Shape (3, 3), on equalised densities."""
    density_bows: F32Array | None
    """Shape (3, 5), `FilmModel.density_bows` before the matrix, on equalised densities; None where there are none."""
    exposure: F32Array | None
    """Shape (65536,): density index to linear light; None for film that is a positive already."""
    light_matrix: F32Array
    """Shape (3, 4), linear light to linear light of the output space over `DARKEST`; the last column is an offset."""
    encode: U16Array
    """Shape (65536,): index of the root of linear light to the encoded value."""


def density_at(index: npt.ArrayLike) -> F64Array:
    """Density that a 16-bit index stands for."""
    return LOWEST_DENSITY + np.asarray(index, dtype=np.float64) * (HIGHEST_DENSITY - LOWEST_DENSITY) / (LUT_SIZE - 1)


def develop_rows(
    raw: RawPicture, tables: DevelopTables, flat: FlatField | None, first: int, last: int, out: U16Array
) -> None:
    """Develop whole rows of the mosaic at full size.

    Parameters
    ----------
    raw : RawPicture
    tables : DevelopTables
    flat : FlatField or None
    first, last : int
        Rows first <= row < last, both even; last at most the (even) height.
    out : ndarray
        Shape (last - first, even width, 3), uint16, filled here.
    """
    height, width = (side // 2 * 2 for side in raw.mosaic.shape)
    tile_px = -(-width // -(-width // TILE_COLUMNS) // 2) * 2
    for start in range(first, last, BAND_ROWS):
        stop = min(start + BAND_ROWS, last)
        top, bottom = max(start - MARGIN_PX, 0), min(stop + MARGIN_PX, height)
        uneven = None if flat is None else _unevenness(raw, flat, tables, top, bottom)
        for left in range(0, width, tile_px):
            right = min(left + tile_px, width)
            west, east = max(left - MARGIN_PX, 0), min(right + MARGIN_PX, width)
            tile = _tile_of_density(raw, tables, uneven, (top, bottom), (west, east))
            pixels = demosaic(tile, raw.pattern, tables.density_bows)
            inner = pixels[start - top : stop - top, left - west : right - west]
            _finish(inner, tables, out[start - first : stop - first, left:right])


def develop_half(
    raw: RawPicture, tables: DevelopTables, flat: FlatField | None, first: int, last: int, out: U16Array
) -> None:
    """Develop rows at half size, one pixel for each cell of the mosaic; parameters as in `develop_rows`.

    `out` has shape ((last - first) // 2, width // 2, 3).
    """
    width = raw.mosaic.shape[1] // 2 * 2
    for start in range(first, last, BAND_ROWS):
        stop = min(start + BAND_ROWS, last)
        uneven = None if flat is None else _unevenness(raw, flat, tables, start, stop)
        planes: list[list[F32Array]] = [[], [], []]
        for place in PLACES:
            plane = _plane_of_density(raw, tables, uneven, place, (start, stop), (0, width))
            planes[int(raw.pattern[place])].append(plane)
        colours: list[Mat] = [
            plane[0] if len(plane) == 1 else cv2.addWeighted(plane[0], 0.5, plane[1], 0.5, 0) for plane in planes
        ]
        _finish(_bowed(colours, tables), tables, out[(start - first) // 2 : (stop - first) // 2])


PLACES = ((0, 0), (0, 1), (1, 0), (1, 1))
"""Row and column of the four places of the mosaic's cell."""
Uneven = dict[tuple[int, int], F32Array]
"""For each place what is taken from the density there, or the light is multiplied by."""


def _unevenness(raw: RawPicture, flat: FlatField, tables: DevelopTables, top: int, bottom: int) -> Uneven:
    by_colour = {
        (row, int(raw.pattern[row, column])): flat.rows(top + row, bottom, int(raw.pattern[row, column]))
        for row, column in PLACES
    }
    planes = {place: by_colour[place[0], int(raw.pattern[place])] for place in PLACES}
    return planes if tables.exposure is not None else {place: 10.0**plane for place, plane in planes.items()}


def _plane_of_density(
    raw: RawPicture,
    tables: DevelopTables,
    uneven: Uneven | None,
    place: tuple[int, int],
    rows: tuple[int, int],
    columns: tuple[int, int],
) -> F32Array:
    row, column = place
    counts = np.ascontiguousarray(raw.mosaic[rows[0] + row : rows[1] : 2, columns[0] + column : columns[1] : 2])
    density: Mat = cv2.LUT(counts, tables.counts_to_density[place])
    if uneven is not None:
        here = uneven[place][:, columns[0] // 2 : columns[1] // 2]
        density = cv2.multiply(density, here) if tables.exposure is None else cv2.subtract(density, here)
    if tables.equalise is not None:
        density = cv2.LUT(_index(density), tables.equalise[int(raw.pattern[place])])
    return np.asarray(density, np.float32)


def _tile_of_density(
    raw: RawPicture, tables: DevelopTables, uneven: Uneven | None, rows: tuple[int, int], columns: tuple[int, int]
) -> F32Array:
    tile = np.empty((rows[1] - rows[0], columns[1] - columns[0]), np.float32)
    for place in PLACES:
        tile[place[0] :: 2, place[1] :: 2] = _plane_of_density(raw, tables, uneven, place, rows, columns)
    return tile


_INDEX_SCALE = (LUT_SIZE - 1) / (HIGHEST_DENSITY - LOWEST_DENSITY)


def _index(density: Mat) -> Mat:
    return cv2.addWeighted(density, _INDEX_SCALE, density, 0.0, -LOWEST_DENSITY * _INDEX_SCALE, dtype=cv2.CV_16U)


def finish_density(density: F32Array, tables: DevelopTables) -> U16Array:
    """Print densities of a small picture that is not a mosaic any more.

    Parameters
    ----------
    density : ndarray
        Shape (rows, columns, 3), density over base per camera channel; light over base for film that is a positive.
    tables : DevelopTables
        With `equalise`, unless the film is a positive.
    """
    planes = list(cv2.split(density))
    if tables.equalise is not None:
        planes = [cv2.LUT(_index(plane), table) for plane, table in zip(planes, tables.equalise, strict=True)]
    out = np.empty(density.shape, np.uint16)
    _finish(_bowed(planes, tables), tables, out)
    return out


def _bowed(planes: Sequence[Mat], tables: DevelopTables) -> Mat:
    """Put planes of red, green and blue together, terms of second order added."""
    if tables.density_bows is None:
        return cv2.merge(planes)
    added = second_order(planes, tables.density_bows)
    return cv2.merge([cv2.add(plane, more) for plane, more in zip(planes, added, strict=True)])


def _finish(pixels: Mat, tables: DevelopTables, out: U16Array) -> None:
    light = pixels
    if tables.exposure is not None:
        light = cv2.LUT(_index(cv2.transform(pixels, tables.density_matrix)), tables.exposure)
    light = cv2.transform(light, tables.light_matrix)
    cv2.threshold(light, 0.0, 0.0, cv2.THRESH_TOZERO, dst=light)
    root = cv2.sqrt(light, dst=light)
    index = cv2.addWeighted(root, (LUT_SIZE - 1) / (BRIGHTEST - DARKEST) ** 0.5, root, 0.0, 0.0, dtype=cv2.CV_16U)
    cv2.LUT(index, tables.encode, dst=out)


def encode_light() -> F64Array:
    """Linear light that each index of `DevelopTables.encode` stands for, shape (65536,)."""
    return np.asarray((np.arange(LUT_SIZE) / (LUT_SIZE - 1)) ** 2 * (BRIGHTEST - DARKEST) + DARKEST)
