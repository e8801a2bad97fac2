"""Where a frame lies in the picture for a pose of the film, and the pose that puts it there.

View axes: x right, y down, millimetres on the film from the view's middle; turns are clockwise positive.
"""

from __future__ import annotations

import math

from mock_camera.hand import Pose
from mock_camera.strip_scene import Frame, Strip


def pose_for(strip: Strip, frame: Frame, along_mm: float, across_mm: float, tilt_deg: float) -> Pose:
    """Pose of the film that puts a frame's centre at (along, across) from the view's middle, the frame turned so."""
    film_tilt = tilt_deg - frame.tilt_deg
    c, s = math.cos(math.radians(film_tilt)), math.sin(math.radians(film_tilt))
    reach = (along_mm + frame.y_mm * s) / c
    return Pose(strip.index, frame.x_mm - reach, across_mm - reach * s - frame.y_mm * c, film_tilt)


def frame_offset_mm(pose: Pose, frame: Frame) -> tuple[float, float]:
    """Frame centre minus view middle."""
    turn = math.radians(pose.tilt_deg)
    c, s = math.cos(turn), math.sin(turn)
    x, y = frame.x_mm - pose.position_mm, frame.y_mm
    return c * x - s * y, s * x + c * y + pose.across_mm


def corners_px(pose: Pose, strip: Strip, frame: Frame, size_px: tuple[int, int]) -> list[list[float]]:
    """The frame's corners in a picture of a size, clockwise from top left, pixel centres at integers."""
    film_format = strip.film_format
    px_per_mm = size_px[0] / film_format.view_width_mm
    turn = math.radians(pose.tilt_deg + frame.tilt_deg)
    c, s = math.cos(turn), math.sin(turn)
    middle = frame_offset_mm(pose, frame)
    corners = []
    for x, y in ((-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)):
        dx, dy = x * film_format.along_mm, y * film_format.across_mm
        at = middle[0] + c * dx - s * dy, middle[1] + s * dx + c * dy
        corners.append([at[0] * px_per_mm + (size_px[0] - 1) / 2, at[1] * px_per_mm + (size_px[1] - 1) / 2])
    return corners


def end_poses(strip: Strip) -> tuple[Pose, Pose]:
    """Poses with the strip just outside the view: on the right (about to be fed), on the left (pulled out)."""
    reach = strip.film_format.view_width_mm / 2 + 2.0
    return Pose(strip.index, -reach, 0.0, 0.0), Pose(strip.index, strip.length_mm + reach, 0.0, 0.0)
