"""The view made small, and cut into segments whose mean profiles show straight lines through noise and texture."""

from dataclasses import dataclass

import cv2
import numpy as np

from tethercap.pictures import F32Array, U8Array

WIDTH_PX = 320
"""Width aimed at. One small pixel is then about 0.13 mm on a 42 mm view: finer than the narrowest gap worth finding."""


@dataclass(frozen=True, slots=True, eq=False)
class ReducedView:
    """A view at a whole-numbered reduction, as floats."""

    pixels: F32Array
    """Shape (height, width, 3), 0..255, blue, green, red."""
    factor: int
    """Full px per small px."""

    @property
    def width(self) -> int:
        """Small px."""
        return int(self.pixels.shape[1])

    @property
    def height(self) -> int:
        """Small px."""
        return int(self.pixels.shape[0])

    def to_full(self, small_px: float) -> float:
        """Coordinate in the full picture of a coordinate in this one, pixel centres at integers in both."""
        return (small_px + 0.5) * self.factor - 0.5

    def turned(self) -> "ReducedView":
        """Give the same view with x and y exchanged, for film that lies upright."""
        return ReducedView(np.ascontiguousarray(self.pixels.transpose(1, 0, 2)), self.factor)

    def inverted(self) -> "ReducedView":
        """Give the same view with light and dark exchanged, so that a slide's black rebate is the bright side of its edges."""
        return ReducedView(255.0 - self.pixels, self.factor)


def reduce_view(pixels_bgr: U8Array) -> ReducedView:
    """Make a view small by area averaging.

    Parameters
    ----------
    pixels_bgr : ndarray
        Shape (height, width, 3), uint8.
    """
    height, width = pixels_bgr.shape[:2]
    factor = max(1, round(width / WIDTH_PX))
    size = (max(1, width // factor), max(1, height // factor))
    trimmed = pixels_bgr[: size[1] * factor, : size[0] * factor]
    small = cv2.resize(trimmed, size, interpolation=cv2.INTER_AREA) if factor > 1 else trimmed
    return ReducedView(small.astype(np.float32), factor)


def segment_rows(pixels: F32Array, count: int) -> tuple[F32Array, F32Array]:
    """Average runs of columns, giving profiles down the picture.

    Parameters
    ----------
    pixels : ndarray
        Shape (height, width, 3).
    count : int
        Segments wanted.

    Returns
    -------
    profiles : ndarray
        Shape (count, height, 3).
    centres : ndarray
        Middle column of each segment, shape (count,).
    """
    starts = np.linspace(0, pixels.shape[1], count + 1).astype(np.intp)
    lengths = np.diff(starts).astype(np.float32)
    sums = np.add.reduceat(pixels, starts[:-1], axis=1)
    profiles = (sums / lengths[None, :, None]).transpose(1, 0, 2)
    centres = (starts[:-1] + (lengths - 1) / 2).astype(np.float32)
    return np.ascontiguousarray(profiles), centres


def segment_columns(pixels: F32Array, count: int) -> tuple[F32Array, F32Array]:
    """Average runs of rows, giving profiles along the picture: `segment_rows` with x and y exchanged.

    Returns
    -------
    profiles : ndarray
        Shape (count, width, 3).
    centres : ndarray
        Middle row of each segment, shape (count,).
    """
    starts = np.linspace(0, pixels.shape[0], count + 1).astype(np.intp)
    lengths = np.diff(starts).astype(np.float32)
    profiles = np.add.reduceat(pixels, starts[:-1], axis=0) / lengths[:, None, None]
    return profiles, (starts[:-1] + (lengths - 1) / 2).astype(np.float32)
