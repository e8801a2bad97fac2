"""From the found frame to the finished rectangle: squared, cropped, turned, by one resampling."""

from dataclasses import dataclass
from typing import TypeVar

import cv2
import numpy as np

from tethercap.convert.recipe import Border, Recipe, Turn
from tethercap.geometry import QuadPx, SizePx
from tethercap.pictures import F64Array, U8Array, U16Array

_Pixels = TypeVar("_Pixels", U8Array, U16Array)
_MARGIN_MM = {Border.FRAME: -0.12, Border.HAIR: 0.35, Border.REBATE: 2.0}
"""How far beyond the found edge the cut is made, mm on the film."""
_FRAME_MM = 36.0
_QUARTERS = {Turn.NONE: 0, Turn.QUARTER: 3, Turn.HALF: 2, Turn.THREE_QUARTERS: 1}


@dataclass(frozen=True, slots=True)
class Layout:
    """Where the pixels of the finished picture come from."""

    size: SizePx
    """Size before turning."""
    to_source: tuple[tuple[float, float, float], ...] | None
    """Homography from finished to mosaic pixels; None where nothing is squared."""
    quarters: int
    """Quarter turns to the left that the finished picture is given."""
    mirrored: bool
    half_size: bool = False
    """A pixel, of the finished picture and of its source, stands for a cell of 2 x 2 of the mosaic."""

    @property
    def turned_size(self) -> SizePx:
        """Size of the finished picture."""
        return SizePx(self.size.height_px, self.size.width_px) if self.quarters % 2 else self.size

    def turned(self, pixels: _Pixels) -> _Pixels:
        """Mirror and turn the squared picture, or rows of it, as the finished one is."""
        view = pixels[:, ::-1] if self.mirrored else pixels
        return np.rot90(view, self.quarters)


def lay_out(
    mosaic: SizePx,
    corners: QuadPx | None,
    recipe: Recipe,
    frame_long_mm: float = _FRAME_MM,
    *,
    half_size: bool | None = None,
) -> Layout:
    """Plan the cut.

    Parameters
    ----------
    mosaic : SizePx
    corners : QuadPx or None
        The found frame, mosaic pixels; None keeps the whole picture.
    recipe : Recipe
        Border, trim, turn, mirror and size are read.
    frame_long_mm : float
        Length of the frame's longer side on the film, mm.
    half_size : bool, optional
        Overrides the recipe's.
    """
    is_half = recipe.half_size if half_size is None else half_size
    quarters, scale = _QUARTERS[recipe.turn], 0.5 if is_half else 1.0
    whole = SizePx(int(mosaic.width_px // 2 * 2 * scale), int(mosaic.height_px // 2 * 2 * scale))
    if corners is None or recipe.border is Border.WHOLE:
        return Layout(whole, None, quarters, recipe.mirrored, is_half)
    points = corners.scaled(scale).as_array()
    top, right, bottom, left = (np.hypot(*(np.roll(points, -1, axis=0)[i] - points[i])) for i in range(4))
    width, height = (top + bottom) / 2, (left + right) / 2
    px_per_mm = max(width, height) / frame_long_mm
    margins = (_MARGIN_MM[recipe.border] - np.array(_trim_before_turning(recipe))) * px_per_mm
    size = SizePx(max(round(width + margins[0] + margins[2]), 2), max(round(height + margins[1] + margins[3]), 2))
    corner = np.array([[0, 0], [width, 0], [width, height], [0, height]])
    rectangle = corner + margins[:2] - 0.5
    homography: F64Array = cv2.getPerspectiveTransform(rectangle.astype(np.float32), points.astype(np.float32)).astype(
        np.float64
    )
    rows = tuple((float(a), float(b), float(c)) for a, b, c in homography)
    return Layout(size, rows, quarters, recipe.mirrored, is_half)


def _trim_before_turning(recipe: Recipe) -> tuple[float, float, float, float]:
    """Cut at left, top, right, bottom of the picture as the camera saw it, mm."""
    left, top, right, bottom = recipe.trim_mm
    for _ in range(_QUARTERS[recipe.turn]):
        # A quarter turn to the left brings the right side to the top.
        left, top, right, bottom = bottom, left, top, right
    return (right, top, left, bottom) if recipe.mirrored else (left, top, right, bottom)


def source_rows(layout: Layout, first: int, last: int, source: SizePx, margin_px: int = 4) -> tuple[int, int]:
    """Rows of the source that rows first <= row < last of the finished picture are made from; both even.

    The finished picture may reach beyond the source; at least two rows are given all the same.
    """
    if layout.to_source is None:
        return first, last
    edge = np.array([[x, y, 1.0] for x in (0, layout.size.width_px - 1) for y in (first, last - 1)])
    mapped = edge @ np.array(layout.to_source).T
    rows = mapped[:, 1] / mapped[:, 2]
    top = int(np.clip(np.floor(rows.min()) - margin_px, 0, source.height_px - 2)) // 2 * 2
    bottom = int(np.clip(np.ceil(rows.max()) + margin_px, top + 2, source.height_px))
    return top, min(bottom + bottom % 2, source.height_px)


def resample_rows(layout: Layout, pixels: _Pixels, top: int, first: int, last: int) -> _Pixels:
    """Resample source rows into rows of the finished picture: cubic, or linear where they are of 8 bits, for a screen.

    Parameters
    ----------
    layout : Layout
        With a homography.
    pixels : ndarray
        Source rows from `top` on, shape (rows, width, 3), uint16 or uint8.
    top : int
        First source row in `pixels`.
    first, last : int
        Finished rows wanted.
    """
    shift_in = np.array([[1, 0, 0], [0, 1, first], [0, 0, 1]], np.float64)
    shift_out = np.array([[1, 0, 0], [0, 1, -top], [0, 0, 1]], np.float64)
    mapping = shift_out @ np.array(layout.to_source) @ shift_in
    # A cubic takes three times as long, and is most of the work of a small picture.
    flags = (cv2.INTER_CUBIC if pixels.dtype == np.uint16 else cv2.INTER_LINEAR) | cv2.WARP_INVERSE_MAP
    size = (layout.size.width_px, last - first)
    warped = cv2.warpPerspective(pixels, mapping, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    return warped.astype(pixels.dtype, copy=False)


def quad_or_none(corners_px: object) -> QuadPx | None:
    """Corners as a record holds them, or None where it holds none."""
    if corners_px is None or not np.size(np.asarray(corners_px)):
        return None
    return QuadPx.from_array(np.asarray(corners_px, dtype=np.float64))
