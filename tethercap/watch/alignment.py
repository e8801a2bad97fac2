"""How the frame lies in the view: millimetres off centre, degrees of tilt and keystone, what is cut off."""

import math

import cv2
import numpy as np
import numpy.typing as npt

from tethercap.geometry import OffsetMm, QuadPx, SizePx
from tethercap.pictures import F32Array
from tethercap.watch.sighting import Alignment, FrameEdges

_Array = npt.NDArray[np.float64]


def measure_alignment(edges: FrameEdges, view: SizePx) -> Alignment:
    """Measure how a found frame lies in the view.

    Parameters
    ----------
    edges : FrameEdges
        The found frame, corners in px of the view.
    view : SizePx
        Size of the picture the corners refer to.

    Returns
    -------
    Alignment
        Offset of the frame's centre from the view's centre (x right, y down), tilt clockwise positive.
    """
    corners = edges.corners.as_array()
    centre = _centre(corners)
    middle = np.array([(view.width_px - 1) / 2, (view.height_px - 1) / 2])
    offset_mm = (centre - middle) * edges.mm_per_px
    top, right, bottom, left = (_direction_deg(corners[i], corners[(i + 1) % 4], i) for i in range(4))
    cut_off = _cut_off_fraction(corners, view)
    return Alignment(
        offset=OffsetMm(float(offset_mm[0]), float(offset_mm[1])),
        tilt_deg=_tilt_deg(edges.corners),
        keystone_deg=max(abs(top - bottom), abs(left - right)),
        whole=cut_off == 0.0,
        cut_off_fraction=cut_off,
        mm_per_px=edges.mm_per_px,
    )


def _centre(corners: _Array) -> _Array:
    """Intersection of the diagonals: the picture of the frame's centre under any perspective."""
    a, b, c, d = corners
    one, other, apart = c - a, d - b, b - a
    turn = float(one[0] * other[1] - one[1] * other[0])
    if abs(turn) < 1e-9:
        return np.asarray(corners.mean(axis=0))
    return np.asarray(a + float(apart[0] * other[1] - apart[1] * other[0]) / turn * one)


def _direction_deg(start: _Array, end: _Array, side: int) -> float:
    """Angle of one edge against its nominal direction (right, down, left, up), clockwise positive, degrees."""
    dx, dy = (end - start).tolist()
    return (math.degrees(math.atan2(dy, dx)) - 90.0 * side + 180.0) % 360.0 - 180.0


def _tilt_deg(corners: QuadPx) -> float:
    """Mean direction of the two edges along the film.

    Only these two: keystone turns the short edges by more than the long ones, and leaves the mean of a pair as it was.
    """
    tl, tr, br, bl = corners.as_array()
    return float((_direction_deg(tl, tr, 0) + _direction_deg(br, bl, 2)) / 2)


def _cut_off_fraction(corners: _Array, view: SizePx) -> float:
    """Share of the quadrilateral's area outside the view, 0..1; 0 for a sliver thinner than a quarter of a pixel."""
    slack_px = 0.25
    width, height = view.width_px, view.height_px
    rim = -0.5 - slack_px
    right, bottom = width - 1 - rim, height - 1 - rim
    if np.all((corners >= rim) & (corners <= (right, bottom))):
        return 0.0
    frame = corners.astype(np.float32)
    whole = abs(cv2.contourArea(frame))
    if whole <= 0:
        return 0.0
    view_corners: F32Array = np.array([(rim, rim), (right, rim), (right, bottom), (rim, bottom)], np.float32)
    inside, _ = cv2.intersectConvexConvex(frame, view_corners)
    return float(np.clip(1.0 - inside / whole, 0.0, 1.0))
