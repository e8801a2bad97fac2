"""Dust painted over from what lies around it: in the mosaic, before anything else, so that all later steps see film."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

import cv2
import numpy as np
import numpy.typing as npt

from tethercap.convert.dust import DustLimits, inside_of
from tethercap.geometry import QuadPx, SizePx
from tethercap.pictures import F32Array, RawPicture, U8Array, U16Array

STILL_LIMITS = DustLimits(
    least_density=0.06, rim_density=0.03, over_roughness=4.0, over_edges=2.5, over_span=0.7, most_per_mm2=2.0
)
"""What may be dust on the rig: looked for more boldly, since it has to be in the same place in most frames."""
FEWEST_FRAMES = 4
_STILL_SHARE = 0.6
"""Share of a roll's frames that dust on the rig is seen in; on the others the picture hides it."""
_MARGIN_CELLS = 14
"""Film around a speck that is looked at: as far as grain is taken from (`_SHIFTS`), and some more."""
_INPAINT_CELLS = 3.0
"""Reach from which each painted cell is continued."""
_GRAIN_SIGMA_CELLS = 1.5
"""What is finer than this blur counts as grain."""


def still_dust(masks: Iterable[U8Array], frames: int) -> U8Array | None:
    """Find dust that sits still on the rig: in the same cells in most frames of a roll.

    Parameters
    ----------
    masks : iterable of ndarray
        What may be dust in each frame, found by `STILL_LIMITS`, all of one shape; used one at a time.
    frames : int
        How many there are.

    Returns
    -------
    ndarray or None
        Same shape, 1 = dust; None for fewer than four frames, which cannot tell.
    """
    if frames < FEWEST_FRAMES:
        return None
    counts: npt.NDArray[np.uint16] | None = None
    for mask in masks:
        # A rim more, since grain moves a speck's edge by a cell.
        wider = cv2.dilate(mask, np.ones((3, 3), np.uint8))
        counts = wider.astype(np.uint16) if counts is None else np.asarray(counts + wider, np.uint16)
    if counts is None:
        return None
    needed = max(3, int(np.ceil(_STILL_SHARE * frames)))
    return np.asarray(counts >= needed, np.uint8)


def repair(raw: RawPicture, cells: U8Array, corners: QuadPx | None = None) -> RawPicture:
    """Paint dust over.

    Parameters
    ----------
    raw : RawPicture
        Is not changed.
    cells : ndarray
        Shape (mosaic height // 2, mosaic width // 2), 1 = dust.
    corners : QuadPx, optional
        The picture on the film, mosaic pixels: what lies outside it is not continued into it.

    Returns
    -------
    RawPicture
        With a mosaic of its own; photosites away from dust are as they were. Each colour plane is continued into the
        speck from its rim (Telea, Journal of Graphics Tools 9, 2004), with grain taken from beside it.
    """
    mosaic = raw.mosaic.copy()
    wider = np.asarray(cv2.dilate(cells, np.ones((3, 3), np.uint8)), np.uint8)
    outside = np.zeros_like(wider)
    if corners is not None:
        outside[:] = 1 - inside_of(corners.scaled(0.5), SizePx(wider.shape[1], wider.shape[0]))
    number, _, stats, _ = cv2.connectedComponentsWithStats(wider, connectivity=8)
    for speck in stats[1:number]:
        left, top, width, height = (int(value) for value in speck[:4])
        rows = slice(max(top - _MARGIN_CELLS, 0), min(top + height + _MARGIN_CELLS, wider.shape[0]))
        columns = slice(max(left - _MARGIN_CELLS, 0), min(left + width + _MARGIN_CELLS, wider.shape[1]))
        _repair_part(mosaic, wider[rows, columns], outside[rows, columns], rows, columns)
    return replace(raw, mosaic=mosaic)


def _repair_part(mosaic: U16Array, mask: U8Array, outside: U8Array, rows: slice, columns: slice) -> None:
    planes = [
        mosaic[2 * rows.start + row : 2 * rows.stop : 2, 2 * columns.start + column : 2 * columns.stop : 2]
        for row in (0, 1)
        for column in (0, 1)
    ]
    unknown = mask | outside
    painted = [_continued(plane, unknown) for plane in planes]
    shift = _beside(unknown, mask, _grain(painted[1]))
    for plane, values in zip(planes, painted, strict=True):
        if shift is not None:
            values = values + np.roll(_grain(values), shift, (0, 1))
        finished = np.clip(np.rint(values), 0, 65535).astype(np.uint16)
        plane[mask > 0] = finished[mask > 0]


def _continued(plane: U16Array, unknown: U8Array) -> F32Array:
    painted = cv2.inpaint(np.ascontiguousarray(plane), unknown, _INPAINT_CELLS, cv2.INPAINT_TELEA)
    return np.asarray(painted, np.float32)


def _grain(values: F32Array) -> F32Array:
    smooth = cv2.GaussianBlur(values, (0, 0), _GRAIN_SIGMA_CELLS)
    return np.asarray(values - smooth, np.float32)


def _beside(unknown: U8Array, mask: U8Array, grain: F32Array) -> tuple[int, int] | None:
    """The shift that lays the quietest undisturbed film over the dust, rows and columns; None where none is near."""
    rows, columns = np.nonzero(mask)
    best, least = None, np.inf
    for shift in _SHIFTS:
        from_rows, from_columns = rows - shift[0], columns - shift[1]
        height, width = mask.shape
        if min(from_rows.min(), from_columns.min()) < 0 or from_rows.max() >= height or from_columns.max() >= width:
            continue
        if unknown[from_rows, from_columns].any():
            continue
        # An edge of the picture would be copied as a second edge; even grain is not taken for one.
        spread = float(np.abs(grain[from_rows, from_columns]).max())
        if spread < least:
            best, least = shift, spread
    return best


_SHIFTS: Sequence[tuple[int, int]] = [
    (row, column)
    for reach in (4, 7, 11)
    for row, column in ((0, reach), (reach, 0), (0, -reach), (-reach, 0), (reach, reach), (-reach, -reach))
]
