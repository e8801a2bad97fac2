"""How much film a light table shows of each frame."""

import numpy as np
import pytest

from tests.unit.convert.film_shots import raw_of
from tethercap.convert.light_table import lit_part, stretch_of, stretch_seen
from tethercap.geometry import QuadPx, RectPx
from tethercap.profile_files import load_film_format

FORMAT = load_film_format("135-36x24")


def corners(left: float, top: float, px_per_mm: float) -> QuadPx:
    across, down = 36 * px_per_mm, 24 * px_per_mm
    points = np.array([[0, 0], [across, 0], [across, down], [0, down]])
    return QuadPx.from_array(points + np.array([left, top]))


def test_the_holders_opening_is_found_within_a_cell() -> None:
    counts = np.full((640, 960, 3), 20.0)
    counts[80:560, 160:800] = (3000.0, 1800.0, 900.0)
    counts[100:110, 170:180] = 9000.0
    seen = lit_part(raw_of(counts))
    wanted = RectPx(160, 80, 640, 480)
    assert np.abs(np.array(seen) - np.array(wanted)).max() <= 16


def test_a_picture_that_is_dark_all_over_is_taken_whole() -> None:
    assert lit_part(raw_of(np.zeros((640, 960, 3)))) == RectPx(0, 0, 960, 640)


def test_every_frame_shows_the_stretch() -> None:
    seen = RectPx(100, 50, 800, 600)
    far, near = corners(150, 150, 20), corners(110, 150, 20)
    stretch = stretch_seen([far, near], seen, FORMAT)
    assert stretch.along_mm == pytest.approx(10 / 20, abs=0.06)
    assert stretch.across_mm <= stretch_of(FORMAT).across_mm
    assert stretch_seen([], seen, FORMAT) == stretch_of(FORMAT)
