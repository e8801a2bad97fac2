"""How the frame lies in the view: millimetres off centre, degrees of tilt and keystone, what is cut off."""

import math

import cv2
import numpy as np

from tethercap.geometry import OffsetMm, PointPx, QuadPx, SizePx, crossing
from tethercap.pictures import F32Array
from tethercap.watch.sighting import Alignment, FrameEdges


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
    tl, tr, br, bl = edges.corners
    x_px, y_px = _centre(edges.corners)
    offset_mm = (x_px - (view.width_px - 1) / 2) * edges.mm_per_px, (y_px - (view.height_px - 1) / 2) * edges.mm_per_px
    top, right, bottom, left = (
        _direction_deg(start, end, side) for side, (start, end) in enumerate(((tl, tr), (tr, br), (br, bl), (bl, tl)))
    )
    cut_off = _cut_off_fraction(edges.corners, view)
    return Alignment(
        offset=OffsetMm(*offset_mm),
        # Only the edges along the film: keystone turns the short ones by more, and leaves the mean of a pair as it was.
        tilt_deg=(top + bottom) / 2,
        keystone_deg=max(abs(top - bottom), abs(left - right)),
        whole=cut_off == 0.0,
        cut_off_fraction=cut_off,
        mm_per_px=edges.mm_per_px,
    )


def _centre(corners: QuadPx) -> tuple[float, float]:
    """Intersection of the diagonals: the picture of the frame's centre under any perspective."""
    tl, tr, br, bl = corners
    try:
        return crossing(tl, br, tr, bl)
    except ZeroDivisionError:
        return corners.centre


def _direction_deg(start: PointPx, end: PointPx, side: int) -> float:
    """Angle of one edge against its nominal direction (right, down, left, up), clockwise positive, degrees."""
    angle_deg = math.degrees(math.atan2(end.y_px - start.y_px, end.x_px - start.x_px))
    return (angle_deg - 90.0 * side + 180.0) % 360.0 - 180.0


def _cut_off_fraction(corners: QuadPx, view: SizePx) -> float:
    """Share of the quadrilateral's area outside the view, 0..1; 0 for a sliver thinner than a quarter of a pixel."""
    slack_px = 0.25
    rim = -0.5 - slack_px
    right, bottom = view.width_px - 1 - rim, view.height_px - 1 - rim
    if all(rim <= x_px <= right and rim <= y_px <= bottom for x_px, y_px in corners):
        return 0.0
    frame = corners.as_array().astype(np.float32)
    whole = abs(cv2.contourArea(frame))
    if whole <= 0:
        return 0.0
    view_corners: F32Array = np.array([(rim, rim), (right, rim), (right, bottom), (rim, bottom)], np.float32)
    inside, _ = cv2.intersectConvexConvex(frame, view_corners)
    return float(np.clip(1.0 - inside / whole, 0.0, 1.0))
