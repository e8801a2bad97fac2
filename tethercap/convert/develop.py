"""From the mosaic of a RAW to pixels, a band of rows at a time: everything that is done to every pixel.

Bands are independent of each other, so any number of them may be worked at once, and memory does not grow with the
picture.
"""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from tethercap.convert.demosaic import MARGIN_PX, demosaic
from tethercap.convert.flat_field import FlatField
from tethercap.pictures import F32Array, F64Array, RawPicture, U16Array

Mat = np.ndarray[Any, np.dtype[np.integer[Any] | np.floating[Any]]]
"""What OpenCV hands out."""
BAND_ROWS = 64
"""Rows worked at once; with 6,000 columns the working set stays in the processor's cache."""
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
    """Shape (3, 5), see `FilmModel.density_bows`; None where there are none."""
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
    height = raw.mosaic.shape[0] // 2 * 2
    for start in range(first, last, BAND_ROWS):
        stop = min(start + BAND_ROWS, last)
        top, bottom = max(start - MARGIN_PX, 0), min(stop + MARGIN_PX, height)
        band = _band_of_density(raw, tables, flat, top, bottom)
        layers = _layers(demosaic(band, raw.pattern), tables, mosaic=True)[start - top : stop - top]
        _finish(layers, tables, out[start - first : stop - first])


def develop_half(
    raw: RawPicture, tables: DevelopTables, flat: FlatField | None, first: int, last: int, out: U16Array
) -> None:
    """Develop rows at half size, one pixel for each cell of the mosaic; parameters as in `develop_rows`.

    `out` has shape ((last - first) // 2, width // 2, 3).
    """
    for start in range(first, last, 2 * BAND_ROWS):
        stop = min(start + 2 * BAND_ROWS, last)
        planes: list[list[F32Array]] = [[], [], []]
        for row in (0, 1):
            for column in (0, 1):
                plane = _plane_of_density(raw, tables, flat, start, stop, row, column)
                planes[int(raw.pattern[row, column])].append(plane)
        merged = cv2.merge(
            [plane[0] if len(plane) == 1 else cv2.addWeighted(plane[0], 0.5, plane[1], 0.5, 0) for plane in planes]
        )
        layers = _layers(np.asarray(merged, np.float32), tables)
        _finish(layers, tables, out[(start - first) // 2 : (stop - first) // 2])


def _plane_of_density(
    raw: RawPicture, tables: DevelopTables, flat: FlatField | None, top: int, bottom: int, row: int, column: int
) -> F32Array:
    width = raw.mosaic.shape[1] // 2 * 2
    counts = np.ascontiguousarray(raw.mosaic[top + row : bottom : 2, column:width:2])
    density = np.asarray(cv2.LUT(counts, tables.counts_to_density[row, column]), np.float32)
    colour = int(raw.pattern[row, column])
    if flat is not None:
        if tables.exposure is None:
            density = density * (10.0 ** flat.rows(top + row, bottom, colour))
        else:
            density = density - flat.rows(top + row, bottom, colour)
    if tables.equalise is not None:
        density = np.asarray(cv2.LUT(_index(density), tables.equalise[colour]), np.float32)
    return density


def _band_of_density(raw: RawPicture, tables: DevelopTables, flat: FlatField | None, top: int, bottom: int) -> F32Array:
    width = raw.mosaic.shape[1] // 2 * 2
    band = np.empty((bottom - top, width), np.float32)
    for row in (0, 1):
        for column in (0, 1):
            band[row::2, column::2] = _plane_of_density(raw, tables, flat, top, bottom, row, column)
    return band


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
    pixels = density
    if tables.equalise is not None:
        planes = [
            cv2.LUT(_index(plane), table) for plane, table in zip(cv2.split(density), tables.equalise, strict=True)
        ]
        pixels = np.asarray(cv2.merge(planes), np.float32)
    out = np.empty(density.shape, np.uint16)
    _finish(_layers(pixels, tables), tables, out)
    return out


def _layers(pixels: F32Array, tables: DevelopTables, *, mosaic: bool = False) -> Mat:
    """Equalised densities to those of the film's layers; light of film that is a positive passes.

    Where the pixels come from a mosaic, terms of second order are worked out once for each of its cells: colour is not
    known any finer.
    """
    if tables.exposure is None:
        return pixels
    layers = cv2.transform(pixels, tables.density_matrix)
    if tables.density_bows is None:
        return layers
    rows, columns = pixels.shape[:2]
    cells = cv2.resize(pixels, (columns // 2, rows // 2), interpolation=cv2.INTER_AREA) if mosaic else pixels
    bowed = _bowed(cells, tables.density_bows)
    if mosaic:
        bowed = cv2.resize(bowed, (columns, rows), interpolation=cv2.INTER_LINEAR)
    return cv2.add(layers, bowed, dst=layers)


def _bowed(pixels: Mat, bows: F32Array) -> Mat:
    red, green, blue = cv2.split(pixels)
    u, v = cv2.subtract(red, green), cv2.subtract(blue, green)
    planes = []
    for uu, uv, vv, ug, vg in bows:
        of_u = cv2.scaleAdd(u, float(uu), cv2.addWeighted(v, float(uv), green, float(ug), 0.0))
        of_v = cv2.addWeighted(v, float(vv), green, float(vg), 0.0)
        planes.append(cv2.add(cv2.multiply(u, of_u), cv2.multiply(v, of_v)))
    return cv2.merge(planes)


def _finish(layers: Mat, tables: DevelopTables, out: U16Array) -> None:
    light = layers if tables.exposure is None else cv2.LUT(_index(layers), tables.exposure)
    light = cv2.transform(light, tables.light_matrix)
    np.maximum(light, 0.0, out=light)
    root = cv2.sqrt(light)
    index = cv2.addWeighted(root, (LUT_SIZE - 1) / (BRIGHTEST - DARKEST) ** 0.5, root, 0.0, 0.0, dtype=cv2.CV_16U)
    out[:] = cv2.LUT(index, tables.encode)


def encode_light() -> F64Array:
    """Linear light that each index of `DevelopTables.encode` stands for, shape (65536,)."""
    return np.asarray((np.arange(LUT_SIZE) / (LUT_SIZE - 1)) ** 2 * (BRIGHTEST - DARKEST) + DARKEST)
