from __future__ import annotations

import math

import pytest

from mock_camera.film_stock import FORMATS
from mock_camera.placing import corners_px, end_poses, frame_offset_mm, pose_for
from tests.unit.mock_camera.film_bench import clean_strip, middle_frame


@pytest.mark.parametrize("wanted", [(0.0, 0.0, 0.0), (0.5, -0.3, 0.6), (-3.0, 1.0, -2.0)])
def test_a_frame_lies_where_it_was_asked_to(wanted: tuple[float, float, float]) -> None:
    strip = clean_strip()
    frame = middle_frame(strip)
    pose = pose_for(strip, frame, *wanted)
    assert frame_offset_mm(pose, frame) == pytest.approx(wanted[:2], abs=1e-9)
    assert pose.tilt_deg + frame.tilt_deg == pytest.approx(wanted[2])


def test_corners_of_a_centred_frame_are_symmetrical() -> None:
    strip = clean_strip()
    frame = middle_frame(strip)
    corners = corners_px(pose_for(strip, frame, 0.0, 0.0, 0.0), strip, frame, (1024, 680))
    scale = 1024 / FORMATS["135-36x24"].view_width_mm
    assert corners[0] == pytest.approx([511.5 - 18 * scale, 339.5 - 12 * scale])
    assert corners[2] == pytest.approx([511.5 + 18 * scale, 339.5 + 12 * scale])


def test_a_positive_turn_is_clockwise() -> None:
    strip = clean_strip()
    frame = middle_frame(strip)
    (x0, y0), (x1, y1) = corners_px(pose_for(strip, frame, 0.0, 0.0, 1.0), strip, frame, (1024, 680))[:2]
    assert math.degrees(math.atan2(y1 - y0, x1 - x0)) == pytest.approx(1.0)


def test_outside_the_view_no_film_is_seen() -> None:
    strip = clean_strip()
    right, left = end_poses(strip)
    half = strip.film_format.view_width_mm / 2
    assert 0.0 - right.position_mm > half
    assert strip.length_mm - left.position_mm < -half
