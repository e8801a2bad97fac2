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


class Reducer:
    """Reduces live pictures of one size into the same memory again and again.

    Grey pictures alternate between two places, so that the one before stays whole while the next is made.
    """

    def __init__(self) -> None:
        self._small: U8Array = np.empty((0, 0, 3), np.uint8)
        self._pixels: F32Array = np.empty((0, 0, 3), np.float32)
        self._greys: list[F32Array] = []
        self._turn = 0
        self.factor = 1
        """Full px per small px, of the last picture."""

    def reduce(self, pixels_bgr: U8Array) -> tuple[ReducedView, F32Array]:
        """Reduce one picture.

        Returns
        -------
        view : ReducedView
            Its pixels are overwritten by the next call.
        grey : ndarray
            Mean of the channels, shape (height, width); stays until the call after the next.
        """
        height, width = pixels_bgr.shape[:2]
        factor = self.factor = max(1, round(width / WIDTH_PX))
        size = (max(1, width // factor), max(1, height // factor))
        if self._small.shape[:2] != (size[1], size[0]):
            self._small = np.empty((size[1], size[0], 3), np.uint8)
            self._pixels = np.empty((size[1], size[0], 3), np.float32)
            self._greys = [np.empty((size[1], size[0]), np.float32) for _ in range(2)]
        trimmed = pixels_bgr[: size[1] * factor, : size[0] * factor]
        cv2.resize(trimmed, size, dst=self._small, interpolation=cv2.INTER_AREA)
        np.copyto(self._pixels, self._small)
        self._turn = 1 - self._turn
        grey = self._greys[self._turn]
        cv2.transform(self._pixels, _THIRDS, dst=grey)
        return ReducedView(self._pixels, factor), grey


_THIRDS: F32Array = np.full((1, 3), 1 / 3, np.float32)


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
