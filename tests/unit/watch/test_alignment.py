import numpy as np
import pytest

from tests.unit.watch.pictures import PX_PER_MM, SIZE, corners_at
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx, SizePx
from tethercap.watch.alignment import measure_alignment
from tethercap.watch.sighting import FrameEdges

VIEW = SizePx(*SIZE)


def edges(corners: np.ndarray) -> FrameEdges:
    return FrameEdges(QuadPx.from_array(corners), (), 1 / PX_PER_MM, FilmKind.SLIDE, "135-36x24", 1.0)


@pytest.mark.parametrize(("x_mm", "y_mm", "tilt_deg"), [(0, 0, 0), (1.5, -0.4, 0), (-0.3, 0.2, 1.7), (0, 0, -3)])
def test_offset_and_tilt_come_back(x_mm: float, y_mm: float, tilt_deg: float) -> None:
    found = measure_alignment(edges(corners_at(x_mm, y_mm, tilt_deg)), VIEW)
    assert found.offset == pytest.approx((x_mm, y_mm), abs=1e-9)
    assert found.tilt_deg == pytest.approx(tilt_deg, abs=1e-9)
    assert found.keystone_deg == pytest.approx(0, abs=1e-9)


def test_clockwise_is_positive() -> None:
    corners = corners_at()
    corners[1, 1] += 5  # the right end hangs lower: clockwise as the picture shows it
    corners[2, 1] += 5
    assert measure_alignment(edges(corners), VIEW).tilt_deg > 0


def test_keystone_is_the_larger_lack_of_parallel() -> None:
    corners = corners_at()
    corners[1, 1] += np.tan(np.radians(0.5)) * 36 * PX_PER_MM
    assert measure_alignment(edges(corners), VIEW).keystone_deg == pytest.approx(0.5, abs=0.01)


def test_whole_and_cut_off() -> None:
    assert measure_alignment(edges(corners_at()), VIEW).whole
    cut = measure_alignment(edges(corners_at(x_mm=6.0)), VIEW)
    # 6 mm to the right of a view 42.5 mm wide: 2.75 mm of 36 are outside.
    assert cut.cut_off_fraction == pytest.approx(2.75 / 36, abs=0.002)
    assert not cut.whole


def test_frame_wholly_outside() -> None:
    assert measure_alignment(edges(corners_at(x_mm=90.0)), VIEW).cut_off_fraction == 1.0


def test_perspective_does_not_move_the_middle() -> None:
    homography = np.array([[1, 0.01, 3], [0.0, 1, 2], [1e-5, 2e-5, 1]])
    corners = np.column_stack([corners_at(), np.ones(4)]) @ homography.T
    middle = homography @ np.array([(SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2, 1])
    found = measure_alignment(edges(corners[:, :2] / corners[:, 2:]), VIEW)
    expected = (middle[:2] / middle[2] - (np.array(SIZE) - 1) / 2) / PX_PER_MM
    assert found.offset == pytest.approx(tuple(expected), abs=1e-6)
