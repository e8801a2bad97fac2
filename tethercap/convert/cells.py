"""A RAW in small: the mean of each colour over square cells, which is what measurements are made on."""

from dataclasses import dataclass

import cv2
import numpy as np

from tethercap.convert.flat_field import FlatField
from tethercap.geometry import QuadPx
from tethercap.pictures import F32Array, RawPicture

CELL_PX = 16
"""Side of a cell, mosaic pixels: small beside a rebate, and 32 values of each colour quiet the noise."""
_FINER_CELLS_PX = (8, 4)
_FEWEST_ACROSS = 64
"""Cells along the longer side from which on a picture's bright end and a chart's fields are told as in larger ones:
photographs of 32 cells are printed a fifth of a stop brighter than of 64, those of 64 as of 375."""
HOLDER_SHARE = 0.002
"""Share of the full range below which a cell shows a black holder: some light comes through the densest film."""
_STRAY_SHARE, _OVER_STRAY = 0.05, 2.5
"""Most light that lens and film scatter onto a black holder, as a share of the mean of all cells; and how many times as
much film lets through, at least, beside such a holder."""
_OPENING_SHARE, _BESIDE_SHARE = 0.9, 0.05
"""What is brighter than stray light is a holder's opening if it fills at least the first share of a rectangle, and at
most the second of what is around that."""
_CLIPPED = 0.97
"""Share of saturation from which on the mean of a cell may hold a value that is clipped."""
_NO_LIGHT, _LOOKED_AT = 0.001, 150
"""Share of the range below which there is no picture; and how many rows and columns are looked at for that."""
_STRIP_PX = 256
"""Rows of the mosaic measured at once, so that they stay in the processor's cache."""


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Means over cells of the mosaic."""

    counts: F32Array
    """Shape (rows, columns, 3), counts over black for red, green, blue, unevenness of the rig taken out."""
    roughness: F32Array
    """Shape (rows, columns), standard deviation of the green counts in a cell over their mean."""
    clipped: np.ndarray
    """Shape (rows, columns), bool: some colour is at saturation."""
    cell_px: int


def usual_cell_px(raw: RawPicture) -> int:
    """Side of the cells that a RAW is measured in, mosaic pixels: `CELL_PX`, and less for a small one."""
    long_side_px = max(raw.mosaic.shape)
    fitting = (side for side in (CELL_PX, *_FINER_CELLS_PX) if long_side_px >= _FEWEST_ACROSS * side)
    return next(fitting, _FINER_CELLS_PX[-1])


def measure_cells(raw: RawPicture, flat: FlatField | None = None, cell_px: int | None = None) -> Cells:
    """Average a RAW over cells.

    Parameters
    ----------
    raw : RawPicture
    flat : FlatField, optional
        Unevenness to take out.
    cell_px : int, optional
        Side of a cell, a multiple of 4; as `usual_cell_px` says where it is left out.

    Raises
    ------
    ConversionError
        If the flat field was measured on a RAW of another size.
    """
    if flat is not None:
        flat.refuse_other(raw)
    cell_px = cell_px or usual_cell_px(raw)
    rows, columns = (side // cell_px for side in raw.mosaic.shape)
    counts = np.zeros((rows, columns, 3), np.float32)
    roughness: F32Array = np.zeros((rows, columns), np.float32)
    clipped = np.zeros((rows, columns), np.bool_)
    at_once = max(_STRIP_PX // cell_px, 1)
    memory = np.empty((2, at_once * cell_px // 4, columns * cell_px // 2), np.float32)
    for first in range(0, rows, at_once):
        strip = slice(first, min(first + at_once, rows))
        _measure_strip(raw, strip, cell_px, memory, counts[strip], roughness[strip], clipped[strip])
    if flat is not None:
        counts *= 10.0 ** flat.in_small(columns, rows, cell_px)
    return Cells(counts, roughness, clipped, cell_px)


def _measure_strip(
    raw: RawPicture,
    strip: slice,
    cell_px: int,
    memory: F32Array,
    counts: F32Array,
    roughness: F32Array,
    clipped: np.ndarray,
) -> None:
    """Measure some rows of cells into the last three arguments."""
    rows, columns = roughness.shape
    some, squares = memory[:, : rows * cell_px // 4]
    seen = np.zeros(3, np.float32)
    for row, column in ((0, 0), (0, 1), (1, 0), (1, 1)):
        colour, black = int(raw.pattern[row, column]), np.float32(raw.black[row, column])
        # Every other row of a colour is enough for a mean and a spread.
        rows_px = slice(strip.start * cell_px + row, strip.stop * cell_px, 4)
        np.copyto(some, raw.mosaic[rows_px, column : columns * cell_px : 2])
        mean = cv2.resize(some, (columns, rows), interpolation=cv2.INTER_AREA) - black
        counts[:, :, colour] += mean
        seen[colour] += 1
        clipped |= mean > _CLIPPED * (raw.white - black)
        if colour == 1 and seen[1] == 1:
            np.subtract(some, black, out=some)
            np.multiply(some, some, out=squares)
            square = cv2.resize(squares, (columns, rows), interpolation=cv2.INTER_AREA)
            roughness[:] = np.sqrt(np.maximum(square - mean * mean, 0.0)) / np.maximum(mean, 1.0)
    counts /= seen


def shows_film(cells: Cells, white: float) -> np.ndarray:
    """Say which cells show film, or light, rather than a black holder that stray light may lie on.

    Parameters
    ----------
    cells : Cells
    white : float
        Saturation, raw counts.

    Returns
    -------
    ndarray
        Shape (rows, columns), bool.
    """
    brightest = cells.counts.max(axis=2)
    shown = brightest > HOLDER_SHARE * white
    rim = np.concatenate([brightest[0], brightest[-1], brightest[:, 0], brightest[:, -1]])
    stray = float(np.median(rim))
    lit = brightest > _OVER_STRAY * stray
    if stray > _STRAY_SHARE * brightest.mean() or not lit.any():
        return np.asarray(shown)
    rows, columns = (np.flatnonzero(lit.mean(axis=axis) > 0.5 * lit.mean(axis=axis).max()) for axis in (1, 0))
    # Cells at the edge of the opening show some of the holder.
    opening = np.zeros_like(lit)
    opening[rows[0] + 1 : rows[-1], columns[0] + 1 : columns[-1]] = True
    beside = np.zeros_like(lit)
    beside[max(rows[0] - 1, 0) : rows[-1] + 2, max(columns[0] - 1, 0) : columns[-1] + 2] = True
    is_holder = _share(lit, opening) > _OPENING_SHARE and _share(lit, ~beside) < _BESIDE_SHARE
    return np.asarray(shown & opening if is_holder else shown)


def exposure_trouble(raw: RawPicture, corners: QuadPx | None) -> tuple[str, ...]:
    """Say in words that a picture was copied so bright, or so dark, that nothing can be made of it.

    Parameters
    ----------
    raw : RawPicture
    corners : QuadPx or None
        The picture on the film, mosaic pixels; None looks at all there is.
    """
    rows, columns = slice(None), slice(None)
    if corners is not None:
        low, high = (np.maximum(edge(corners.as_array(), axis=0), 0).astype(int) for edge in (np.min, np.max))
        rows, columns = slice(low[1], high[1] + 1), slice(low[0], high[0] + 1)
    picture = raw.mosaic[rows, columns]
    # An odd step comes by all four places of the colour pattern.
    step = min(picture.shape) // _LOOKED_AT | 1
    some = picture[::step, ::step]
    if not some.size:
        return ()
    black = float(raw.black.mean())
    if np.mean(some > _CLIPPED * raw.white) > 0.5:
        return ("More than half of the picture is at the sensor's limit: copy it darker.",)
    if np.percentile(some, 99.5) - black < _NO_LIGHT * (raw.white - black):
        return (
            "There is next to no light in the picture: copy it brighter, and look whether its black level is right.",
        )
    return ()


def _share(marked: np.ndarray, among: np.ndarray) -> float:
    return float(marked[among].mean()) if among.any() else 0.0


def inside(cells: Cells, corners: QuadPx, grow_px: float) -> np.ndarray:
    """Say which cells lie wholly inside a quadrilateral that is grown (or shrunk) by some pixels.

    Parameters
    ----------
    cells : Cells
    corners : QuadPx
        In mosaic pixels.
    grow_px : float
        Outward positive, mosaic pixels.

    Returns
    -------
    ndarray
        Shape (rows, columns), bool.
    """
    points = corners.as_array()
    centre = points.mean(axis=0)
    outward = np.sign(points - centre)
    grown = points + outward * grow_px
    rows, columns = cells.roughness.shape
    x, y = (np.arange(number) * cells.cell_px + (cells.cell_px - 1) / 2 for number in (columns, rows))
    kept = np.ones((rows, columns), np.bool_)
    for here, there in zip(grown, np.roll(grown, -1, axis=0), strict=True):
        along = there - here
        distance = along[0] * (y[:, None] - here[1]) - along[1] * (x - here[0])
        kept &= distance / np.hypot(*along) >= cells.cell_px / 2
    return kept
