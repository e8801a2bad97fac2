"""The view made small, and cut into segments whose mean profiles show straight lines through noise and texture."""

from dataclasses import dataclass

import cv2
import numpy as np

from tethercap.pictures import F32Array, U8Array

LEAST_WIDTH_PX = 250
"""Least width of the reduced view. One small pixel is then about 0.16 mm on a 42 mm view: finer than the narrowest
gap worth finding."""


LEAST_PX_PER_MM = 3.6
"""The base beside the frames of 120 film is 2.7 mm wide: several small px, where the full picture has them."""


def reduction_for(width_px: int) -> int:
    """Halvings leave at least `LEAST_WIDTH_PX`: averaging two by two is several times faster than any other area."""
    factor = 1
    while width_px // (2 * factor) >= LEAST_WIDTH_PX:
        factor *= 2
    return factor


def _halved(pixels: U8Array, factor: int) -> U8Array:
    """Average two by two until reduced by `factor`, a power of two."""
    while factor > 1:
        height, width = pixels.shape[0] // 2 * 2, pixels.shape[1] // 2 * 2
        half = cv2.resize(pixels[:height, :width], (width // 2, height // 2), interpolation=cv2.INTER_AREA)
        pixels, factor = half.astype(np.uint8, copy=False), factor // 2
    return pixels


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
        """Give the same view with light and dark exchanged, so that a slide's black rebate is the bright side of its
        edges.
        """
        return ReducedView(255.0 - self.pixels, self.factor)


def reduce_view(pixels_bgr: U8Array, px_per_mm: float | None = None) -> ReducedView:
    """Make a view small by area averaging.

    Parameters
    ----------
    pixels_bgr : ndarray
        Shape (height, width, 3), uint8.
    px_per_mm : float or None
        Full px; where many frames are in view it keeps them from becoming too small.
    """
    factor = reduction_for(pixels_bgr.shape[1])
    while factor > 1 and px_per_mm is not None and px_per_mm / factor < LEAST_PX_PER_MM:
        factor //= 2
    return ReducedView(_halved(pixels_bgr, factor).astype(np.float32), factor)


class Reducer:
    """Makes small grey pictures of live pictures of one size, into the same memory again and again.

    They alternate between two places, so that the one before stays whole while the next is made.
    """

    def __init__(self) -> None:
        self._size = (0, 0)
        self._full: U8Array = np.empty((0, 0), np.uint8)
        self._halves: list[U8Array] = []
        self._greys: list[F32Array] = []
        self._turn = 0
        self.factor = 1
        """Full px per small px, of the last picture."""

    def grey(self, pixels_bgr: U8Array) -> F32Array:
        """Reduce one picture.

        Returns
        -------
        ndarray
            Luminance, shape (height, width), float32, 0..255; stays until the call after the next.
        """
        if self._size != pixels_bgr.shape[:2]:
            self._allocate(pixels_bgr.shape[0], pixels_bgr.shape[1])
        cv2.cvtColor(pixels_bgr, cv2.COLOR_BGR2GRAY, dst=self._full)
        source = self._full
        for half in self._halves:
            height, width = half.shape
            cv2.resize(source[: 2 * height, : 2 * width], (width, height), dst=half, interpolation=cv2.INTER_AREA)
            source = half
        self._turn = 1 - self._turn
        grey = self._greys[self._turn]
        np.copyto(grey, source)
        return grey

    def _allocate(self, height: int, width: int) -> None:
        self._size, self.factor = (height, width), reduction_for(width)
        self._full = np.empty((height, width), np.uint8)
        self._halves = []
        factor = self.factor
        while factor > 1:
            height, width, factor = height // 2, width // 2, factor // 2
            self._halves.append(np.empty((height, width), np.uint8))
        self._greys = [np.empty((height, width), np.float32) for _ in range(2)]


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
    profiles = np.asarray(np.add.reduceat(pixels, starts[:-1], axis=0) / lengths[:, None, None], np.float32)
    return profiles, (starts[:-1] + (lengths - 1) / 2).astype(np.float32)
