"""Points, sizes and quadrilaterals, each with its unit in the name.

Pixel centres lie at integers: the middle of the first pixel is (0, 0), its left edge -0.5. x to the right, y down.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt


class PointPx(NamedTuple):
    """A point in a picture, px."""

    x_px: float
    y_px: float


class SizePx(NamedTuple):
    """A size in whole pixels."""

    width_px: int
    height_px: int


class RectPx(NamedTuple):
    """An upright rectangle of whole pixels: left, top, width, height."""

    x_px: int
    y_px: int
    width_px: int
    height_px: int


class SizeMm(NamedTuple):
    """A size in millimetres on the film."""

    width_mm: float
    height_mm: float


class OffsetMm(NamedTuple):
    """A displacement in millimetres on the film, x right and y down as the picture shows it."""

    x_mm: float
    y_mm: float


class QuadPx(NamedTuple):
    """Four corners, clockwise from the top left as the picture shows them."""

    top_left: PointPx
    top_right: PointPx
    bottom_right: PointPx
    bottom_left: PointPx

    def as_array(self) -> npt.NDArray[np.float64]:
        """Corners as an array, shape (4, 2), columns x and y in px."""
        return np.array(self, dtype=np.float64)

    @classmethod
    def from_array(cls, corners_px: npt.ArrayLike) -> "QuadPx":
        """Build from anything of shape (4, 2), columns x and y in px.

        Raises
        ------
        ValueError
            If the shape is not (4, 2).
        """
        array = np.asarray(corners_px, dtype=np.float64)
        if array.shape != (4, 2):
            raise ValueError(f"four corners of two coordinates are needed, got shape {array.shape}")
        return cls(*(PointPx(float(x), float(y)) for x, y in array))

    def scaled(self, factor: float) -> "QuadPx":
        """Give the same corners in a picture resized by `factor`, pixel centres at integers in both."""
        return QuadPx.from_array((self.as_array() + 0.5) * factor - 0.5)

    @property
    def centre(self) -> PointPx:
        """Mean of the corners."""
        x_px, y_px = self.as_array().mean(axis=0)
        return PointPx(float(x_px), float(y_px))


def crossing(
    a: tuple[float, float], b: tuple[float, float], c: tuple[float, float], d: tuple[float, float]
) -> tuple[float, float]:
    """Where the line through a and b meets the line through c and d.

    Raises
    ------
    ZeroDivisionError
        If they are parallel.
    """
    (ax, ay), (bx, by), (cx, cy), (dx, dy) = a, b, c, d
    one_x, one_y, other_x, other_y = bx - ax, by - ay, dx - cx, dy - cy
    share = ((cx - ax) * other_y - (cy - ay) * other_x) / (one_x * other_y - one_y * other_x)
    return ax + share * one_x, ay + share * one_y
