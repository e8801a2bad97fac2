"""Several exposures of one frame made into one RAW: laid over each other, added up in linear light.

Photons are counted: the best estimate of the light is all counts over all exposure (maximum likelihood for Poisson
noise), leaving out what is clipped. A bracket so gains in the dark parts, repeats gain everywhere.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from tethercap.convert.flat_field import colour_planes
from tethercap.convert.printing import Mat
from tethercap.errors import ConversionError
from tethercap.pictures import F32Array, F64Array, RawPicture

_FULL, _CLIPPED = 0.90, 0.97
"""Shares of saturation between which a value loses its weight."""
_DARK = 0.01
"""Share of saturation below which noise outweighs a measured exposure."""
_WHOLE, _FEWEST_BLOCKS = 0.999, 100
"""Share of a block of 8 x 8 cells that has to be usable, and so many blocks, for exposures to be measured on them."""
_TILE_CELLS, _TILES = 256, (4, 5)
"""Side of the parts whose movement is measured, cells of 2 x 2 of the mosaic; and rows and columns of them."""
_FEWEST_TILES, _LEAST_AGREEING = 4, 0.4
"""So many parts have to tell their movement, and this share of them has to agree."""
_LEAST_RESPONSE = 0.03
"""Height of the peak of phase correlation, 0..1, below which a part tells nothing."""
_AGREE_CELLS = 0.5
"""How far a part may be off the common movement and still agree."""
_SMOOTH_CELLS, _ROUNDS, _FURTHEST_CELLS = 1.5, 6, 1.5
"""Sigma of the blur under which slopes are measured, steps of least squares, and how far they may lead from where phase
correlation put a part."""
_MOST_TURN = 0.05
"""Most that one picture may be turned or scaled against another, as a change of its matrix: the film was not moved."""
_STILL_PX = 0.03
"""Smaller movements are not worth a resampling."""
_HIGHEST = 65535.0


@dataclass(frozen=True, slots=True, eq=False)
class Merged:
    """Several exposures as one."""

    raw: RawPicture
    """At the shortest exposure, its range spread over 16 bits."""
    movement_px: tuple[float, ...]
    """How far each picture had moved against the first, mosaic pixels, at its middle."""
    exposures: tuple[float, ...]
    """Exposure of each, 1 = the shortest, as measured."""


def merge_exposures(raws: Sequence[RawPicture]) -> Merged:
    """Merge exposures of one frame.

    Parameters
    ----------
    raws : sequence of RawPicture
        At least one; the same camera, film and place but for a small movement, any exposures.

    Raises
    ------
    ConversionError
        If they are not pictures of the same thing.
    """
    first = raws[0]
    for raw in raws[1:]:
        if raw.mosaic.shape != first.mosaic.shape or not np.array_equal(raw.pattern, first.pattern):
            raise ConversionError("The pictures to be merged are not of one camera and size.")
    exposures = _relative_exposures(raws)
    shortest = int(np.argmin(exposures))
    placed: list[F64Array] = [np.eye(3)] + [_placement(first, raw) for raw in raws[1:]]
    scale = _HIGHEST / first.white
    mosaic = np.empty(first.mosaic.shape, np.uint16)
    rows, columns = first.mosaic.shape
    height, width = rows // 2 * 2, columns // 2 * 2
    mosaic[:] = np.clip(np.rint(raws[shortest].mosaic * scale), 0, _HIGHEST)  # an odd last row or column
    for row in (0, 1):
        for column in (0, 1):
            merged = _merge_plane(raws, exposures, placed, row, column, shortest)
            counts = (merged + first.black[row, column]) * scale
            mosaic[row:height:2, column:width:2] = np.clip(np.rint(counts), 0, _HIGHEST)
    raw = replace(
        first, mosaic=mosaic, black=first.black * scale, white=_HIGHEST, shot=raws[shortest].shot, scale=scale
    )
    middle = np.array([width / 2, height / 2, 1.0])
    moved = tuple(float(np.hypot(*((matrix @ middle)[:2] - middle[:2]))) for matrix in placed)
    return Merged(raw, moved, tuple(float(value) for value in exposures))


def _merge_plane(
    raws: Sequence[RawPicture],
    exposures: F64Array,
    placed: Sequence[F64Array],
    row: int,
    column: int,
    shortest: int,
) -> F32Array:
    """Counts over black at the shortest exposure, for one place in the mosaic's cell."""
    total: F32Array | None = None
    weight: F32Array | None = None
    plain: F32Array | None = None
    for number, (raw, exposure, matrix) in enumerate(zip(raws, exposures, placed, strict=True)):
        height, width = raw.mosaic.shape[0] // 2 * 2, raw.mosaic.shape[1] // 2 * 2
        counts = raw.mosaic[row:height:2, column:width:2].astype(np.float32)
        unclipped = np.clip((_CLIPPED * raw.white - counts) / ((_CLIPPED - _FULL) * raw.white), 0.0, 1.0)
        counts -= np.float32(raw.black[row, column])
        if not _is_still(matrix, raw):
            counts, unclipped = _moved(counts, unclipped, matrix, row, column)
        if number == shortest:
            plain = counts / np.float32(exposure)
        share = unclipped.astype(np.float32)
        total = share * counts if total is None else total + share * counts
        weight = share * np.float32(exposure) if weight is None else weight + share * np.float32(exposure)
    if total is None or weight is None or plain is None:
        raise ConversionError("There is nothing to merge.")
    return np.asarray(np.where(weight > 1e-3, total / np.maximum(weight, np.float32(1e-3)), plain), np.float32)


def _moved(
    counts: F32Array, unclipped: np.ndarray, matrix: F64Array, row: int, column: int
) -> tuple[F32Array, np.ndarray]:
    """Lay a plane over that of the first picture; beyond its edge it has no weight."""
    to_mosaic = np.array([[2.0, 0, column], [0, 2.0, row], [0, 0, 1.0]])
    mapping = (np.linalg.inv(to_mosaic) @ matrix @ to_mosaic)[:2]
    size = (counts.shape[1], counts.shape[0])
    inverse = cv2.WARP_INVERSE_MAP
    laid = cv2.warpAffine(counts, mapping, size, flags=cv2.INTER_CUBIC | inverse, borderMode=cv2.BORDER_REPLICATE)
    # A clipped value spreads to its neighbours in the resampling, so they lose their weight as well.
    wider = cv2.erode(unclipped.astype(np.float32), np.ones((3, 3), np.uint8))
    share = cv2.warpAffine(wider, mapping, size, flags=cv2.INTER_LINEAR | inverse, borderValue=(0.0,))
    return np.asarray(laid, np.float32), np.asarray(share)


def _is_still(matrix: F64Array, raw: RawPicture) -> bool:
    height, width = raw.mosaic.shape
    corners = np.array([[0, 0, 1], [width, 0, 1], [width, height, 1], [0, height, 1]], np.float64)
    return bool(np.abs((corners @ matrix.T)[:, :2] - corners[:, :2]).max() < _STILL_PX)


def _relative_exposures(raws: Sequence[RawPicture]) -> F64Array:
    """Exposures over the shortest, measured on what no picture clips, shape (n,)."""
    greens = [_green(raw) for raw in raws]
    small = [_eighth(green) for green in greens]
    usable = np.ones(small[0].shape, np.bool_)
    for raw, green in zip(raws, greens, strict=True):
        room = raw.white - float(raw.black.mean())
        within = ((green > _DARK * room) & (green < _FULL * room)).astype(np.float32)
        # Whole blocks, and those beside them: one clipped value would lower the mean, and the film may have moved.
        usable &= cv2.erode(_eighth(within), np.ones((3, 3), np.uint8)) > _WHOLE
    if usable.sum() < _FEWEST_BLOCKS:
        raise ConversionError(
            "The pictures to be merged have no part that all of them show without clipping.",
            todo="Take them with less between their exposures.",
        )
    # Means and not single pixels: a small movement between the pictures then does not matter.
    levels = np.array([float(green[usable].mean()) for green in small])
    return np.asarray(levels / levels.min())


def _eighth(plane: F32Array) -> F32Array:
    size = (max(plane.shape[1] // 8, 1), max(plane.shape[0] // 8, 1))
    return np.asarray(cv2.resize(plane, size, interpolation=cv2.INTER_AREA), np.float32)


def _green(raw: RawPicture) -> F32Array:
    planes = [plane for plane, colour in zip(colour_planes(raw), raw.pattern.ravel(), strict=True) if int(colour) == 1]
    return np.asarray(sum(planes) / len(planes), np.float32)


def _placement(first: RawPicture, other: RawPicture) -> F64Array:
    """Affine matrix (3, 3) from mosaic pixels of the first picture to those of the other.

    Parts of the two are laid over each other by the phase of their spectra (Kuglin and Hines, 1975), to a fraction of a
    cell, and a movement with turn and scale is fitted to all parts.

    Raises
    ------
    ConversionError
        If they do not fit each other.
    """
    here, there = _flattened(first), _flattened(other)
    smooth_here, smooth_there = (cv2.GaussianBlur(each, (0, 0), _SMOOTH_CELLS) for each in (here, there))
    places, shifts = [], []
    tile = min(_TILE_CELLS, *(side // 2 for side in here.shape))
    window = cv2.createHanningWindow((tile, tile), cv2.CV_32F)
    for top in np.linspace(0, here.shape[0] - tile, _TILES[0]).astype(int):
        for left in np.linspace(0, here.shape[1] - tile, _TILES[1]).astype(int):
            part = (slice(top, top + tile), slice(left, left + tile))
            (dx, dy), response = cv2.phaseCorrelate(
                np.ascontiguousarray(here[part]), np.ascontiguousarray(there[part]), window
            )
            if response > _LEAST_RESPONSE and max(abs(dx), abs(dy)) < tile / 4:
                places.append((left + (tile - 1) / 2, top + (tile - 1) / 2))
                shifts.append(_refined(smooth_here[part], smooth_there, places[-1], (dx, dy), window))
    return _fit_placement(np.array(places), np.array(shifts))


def _refined(
    here: Mat, there: Mat, place: tuple[float, float], start: tuple[float, float], window: Mat
) -> tuple[float, float]:
    """Shift of a part by least squares on its slopes (Lucas and Kanade, 1981), from a start within about a cell."""
    slopes = [cv2.Sobel(here, cv2.CV_32F, *order, scale=1 / 8) * window for order in ((1, 0), (0, 1))]
    normal = np.array([[float((a * b).sum()) for b in slopes] for a in slopes])
    if np.linalg.cond(normal) > 1e4:
        return start
    shift = np.array(start)
    for _ in range(_ROUNDS):
        laid = cv2.getRectSubPix(there, (here.shape[1], here.shape[0]), (place[0] + shift[0], place[1] + shift[1]))
        difference = (here - laid) * window
        shift = shift + np.linalg.solve(normal, np.array([float((slope * difference).sum()) for slope in slopes]))
    if np.abs(shift - np.array(start)).max() > _FURTHEST_CELLS:
        return start
    return float(shift[0]), float(shift[1])


def _fit_placement(places: F64Array, shifts: F64Array) -> F64Array:
    trouble = ConversionError(
        "The pictures to be merged do not show the same frame in nearly the same place.",
        todo="Give only exposures of one frame, taken without moving the film.",
    )
    if len(places) < _FEWEST_TILES:
        raise trouble
    matrix, inliers = cv2.estimateAffinePartial2D(
        places, places + shifts, method=cv2.RANSAC, ransacReprojThreshold=_AGREE_CELLS
    )
    if matrix is None or inliers.sum() < max(_FEWEST_TILES, _LEAST_AGREEING * len(places)):
        raise trouble
    if np.abs(matrix[:, :2] - np.eye(2)).max() > _MOST_TURN:
        raise trouble
    cells = np.vstack([matrix, [0.0, 0.0, 1.0]])
    # A cell's middle is half a pixel from the middle of its first photosite.
    to_cells = np.array([[0.5, 0, -0.25], [0, 0.5, -0.25], [0, 0, 1.0]])
    return np.asarray(np.linalg.inv(to_cells) @ cells @ to_cells)


def _flattened(raw: RawPicture) -> F32Array:
    """Logarithm of the green, so that exposures look alike; clipped at the same ends."""
    green = _green(raw)
    room = float(raw.white - raw.black.mean())
    logarithm = np.log(np.clip(green, _DARK * room, _FULL * room))
    return np.asarray(logarithm - cv2.GaussianBlur(logarithm, (0, 0), 12.0), np.float32)
