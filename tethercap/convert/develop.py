"""From the mosaic of a RAW to pixels, a tile at a time: everything that is done to every pixel.

Tiles are independent of each other, so any number of them may be worked at once, and memory does not grow with the
picture.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from tethercap.convert.bows import steps_to_bows
from tethercap.convert.demosaic import COLOURS, MARGIN_CELLS, Planes
from tethercap.convert.flat_field import FLAT_CELL_PX, FlatField
from tethercap.convert.printing import (
    LOWEST_DENSITY,
    STEPS_PER_DENSITY,
    Mat,
    Printer,
    PrintTables,
    density_index,
    steps_to_layers,
)
from tethercap.pictures import F32Array, RawPicture, U16Array

BAND_ROWS, TILE_COLUMNS = 256, 1024
"""Rows, and columns of them, worked at once: what is made of them stays in the processor's cache, and is enough that
threads seldom wait for each other between two passes over it."""
LARGEST_BAND_PX = 2_000_000
"""Wider pictures are worked in half as many rows, so that they take no more memory."""
FLAT_CELLS = FLAT_CELL_PX // 2
"""Cells of the mosaic along a cell of the flat field."""
FLAT_ROOM = 0.1
"""How much brighter than its bright part a flat field may be somewhere, density."""


@dataclass(frozen=True, slots=True, eq=False)
class DevelopTables:
    """All that is done to the pixels of one picture, as tables and matrices."""

    counts: F32Array | U16Array
    """Shape (2, 2, 65536): what raw counts become, per place in the mosaic's cell.

    Where there is a flat field to take from it: index of density over base and `FLAT_ROOM`; else what `equalise`
    gives."""
    equalise: F32Array | None
    """Shape (3, 65536): density index to density on the green scale; None where `counts` gives that already."""
    bows: F32Array | None
    """Shape (3, 5), from `bows.bows_before`; None where the film's dyes add up straight."""
    printing: PrintTables


class Tray:
    """Memory in which one tile of a picture after the other is developed, by one thread at a time.

    Parameters
    ----------
    raw : RawPicture
    tables : DevelopTables
    flat : FlatField or None
    half_size : bool
        One pixel for each cell of the mosaic, not interpolated.
    """

    def __init__(self, raw: RawPicture, tables: DevelopTables, flat: FlatField | None, *, half_size: bool) -> None:
        self._raw, self._tables, self._flat = raw, tables, flat
        self._half_size, self._margin = half_size, 0 if half_size else MARGIN_CELLS
        height, width = even_sides(raw)
        self._rows = min(band_rows(width), height)
        self._columns = -(-width // -(-width // TILE_COLUMNS) // 2) * 2
        rows, columns = (side // 2 + 2 * self._margin for side in (self._rows, self._columns))
        self._planes = planes = Planes(rows, columns, raw.pattern, tables.bows, half_size=half_size)
        places = tuple(tuple(planes.places.index((row, column)) for column in (0, 1)) for row in (0, 1))
        self._printer = Printer(tables.printing, planes.colours, planes.shape, ((0,),) if half_size else places)
        self._pairs, self._counts = np.empty((rows, columns, 2), np.uint16), np.empty((2, rows, columns), np.uint16)
        self._densities = np.empty((rows, columns), np.uint16)
        if flat is not None:
            cells_of_flat = flat.density.shape[1] + 2
            self._wide = np.empty((3, rows + 3 * FLAT_CELLS, cells_of_flat * FLAT_CELLS), np.uint16)

    def develop(self, first: int, last: int, out: Mat) -> None:
        """Develop whole rows of the mosaic.

        Parameters
        ----------
        first, last : int
            Rows first <= row < last, both even.
        out : ndarray
            Shape (last - first, even width, 3), of the type of `PrintTables.encode`, filled here; half as many rows and
            columns at half size.
        """
        height, width = even_sides(self._raw)
        scale = 2 if self._half_size else 1
        for start in range(first, last, self._rows):
            stop = min(start + self._rows, last)
            # The last tiles reach back over those before them, so that all are of one size.
            top = min(start, height - self._rows)
            uneven = None if self._flat is None else self._unevenness(self._flat, top)
            rows = out[(start - first) // scale : (stop - first) // scale]
            for place in range(0, width, self._columns):
                left = min(place, width - self._columns)
                self._read(top, left, uneven)
                self._planes.complete()
                self._printer.print()
                self._hand_out((start - top) // 2, rows[:, left // scale : (left + self._columns) // scale])

    def _unevenness(self, flat: FlatField, top: int) -> Mat:
        """What is taken from the density of red, green and blue in a band's cells, an index over `FLAT_ROOM`.

        Shape (3, rows, columns).
        """
        start, number = top // 2 - self._margin, self._planes.shape[0]
        # Between the middles of the outer cells of a part it is interpolated as in the whole.
        above = (start - FLAT_CELLS // 2) // FLAT_CELLS
        below = -(-(start + number + FLAT_CELLS // 2) // FLAT_CELLS)
        part = np.moveaxis(flat.around(above, below), 2, 0)
        values = density_index(part + FLAT_ROOM + LOWEST_DENSITY)
        wide = self._wide[:, : (below - above) * FLAT_CELLS]
        for plane, target in zip(values, wide, strict=True):
            cv2.resize(plane, target.shape[::-1], target, interpolation=cv2.INTER_LINEAR)
        return wide[:, start - above * FLAT_CELLS :, FLAT_CELLS - self._margin :][:, :number]

    def _read(self, top: int, left: int, uneven: Mat | None) -> None:
        """Read what the mosaic recorded, in balance."""
        around = self._counts_around(top, left)
        equalise = self._tables.equalise
        for row in (0, 1):
            # Copied in one piece and taken apart by OpenCV, which is quicker than steps of two.
            np.copyto(self._pairs, around[row::2].reshape(self._pairs.shape))
            cv2.split(self._pairs, list(self._counts))
            for column, counts in enumerate(self._counts):
                place = self._planes.places.index((row, column))
                colour, known, table = COLOURS[place], self._planes.known[place], self._tables.counts[row, column]
                if uneven is None or equalise is None:
                    cv2.LUT(counts, table, known)
                    continue
                here = uneven[colour][:, left // 2 : left // 2 + counts.shape[1]]
                cv2.LUT(counts, table, self._densities)
                cv2.subtract(self._densities, here, self._densities)
                cv2.LUT(self._densities, equalise[colour], known)

    def _counts_around(self, top: int, left: int) -> U16Array:
        """Counts of a tile and its margin, mirrored at the picture's edges so that every colour stays in its place."""
        margin, (height, width) = 2 * self._margin, even_sides(self._raw)
        north, west = min(margin, top), min(margin, left)
        south, east = min(margin, height - top - self._rows), min(margin, width - left - self._columns)
        inside = self._raw.mosaic[top - north : top + self._rows + south, left - west : left + self._columns + east]
        if (north, west, south, east) == (margin,) * 4:
            return inside
        missing = (margin - north, margin - south, margin - west, margin - east)
        return np.asarray(cv2.copyMakeBorder(inside, *missing, cv2.BORDER_REFLECT_101), np.uint16)

    def _hand_out(self, first_cell: int, out: Mat) -> None:
        """Give the tile's pixels, from one row of cells on."""
        scale, beside = 1 if self._half_size else 2, self._margin
        above = beside + first_cell
        rows = slice(above, above + out.shape[0] // scale)
        columns = slice(beside * scale, beside * scale + out.shape[1])
        for row in range(scale):
            self._printer.encode(row, rows, columns, out[row::scale])


def band_rows(width_px: int) -> int:
    """Rows of a picture so wide that are worked at once."""
    return BAND_ROWS if BAND_ROWS * width_px <= LARGEST_BAND_PX else BAND_ROWS // 2


def even_sides(raw: RawPicture) -> tuple[int, int]:
    """Height and width of the whole cells of a mosaic."""
    height, width = raw.mosaic.shape
    return height // 2 * 2, width // 2 * 2


def layers_of(density: F32Array, tables: DevelopTables) -> U16Array:
    """Give the layers of the film in a small picture that is not a mosaic any more.

    Parameters
    ----------
    density : ndarray
        Shape (rows, columns, 3), density over base per camera channel; equalised already where `tables` do not do so.
    tables : DevelopTables

    Returns
    -------
    ndarray
        Of the same shape, density indices, as `printing.print_layers` takes them.
    """
    planes = list(cv2.split(density))
    if tables.equalise is not None:
        planes = [cv2.LUT(_index(plane), table) for plane, table in zip(planes, tables.equalise, strict=True)]
    red, green, blue = (np.asarray(plane.ravel(), np.float32) for plane in planes)
    colours = (green, red - green, blue - green)
    if tables.bows is not None:
        added, steps = steps_to_bows(tables.bows, colours)
        for step in steps:
            step()
        colours = (green + added[0], colours[1] + added[1], colours[2] + added[2])
    layers = np.empty((3, green.size), np.uint16)
    for step in steps_to_layers(colours, tables.printing.density_matrix, layers):
        step()
    return np.asarray(cv2.merge(list(layers.reshape(3, *density.shape[:2]))), np.uint16)


def _index(density: Mat) -> Mat:
    offset = -LOWEST_DENSITY * STEPS_PER_DENSITY
    return cv2.addWeighted(density, STEPS_PER_DENSITY, density, 0.0, offset, dtype=cv2.CV_16U)
