"""In how small parts a RAW is measured."""

import numpy as np
import pytest

from tests.unit.convert.film_shots import BASE_COUNTS, colour_patches, raw_of, shoot
from tethercap.convert.cells import exposure_trouble, measure_cells
from tethercap.geometry import QuadPx


@pytest.mark.parametrize(
    ("width_px", "height_px", "cell_px"), [(1024, 680, 16), (1000, 660, 8), (340, 512, 8), (500, 330, 4), (200, 130, 4)]
)
def test_small_pictures_are_measured_in_smaller_cells(width_px: int, height_px: int, cell_px: int) -> None:
    cells = measure_cells(raw_of(np.broadcast_to(BASE_COUNTS, (height_px, width_px, 3))))
    assert cells.cell_px == cell_px
    assert cells.counts.shape == (height_px // cell_px, width_px // cell_px, 3)
    np.testing.assert_allclose(cells.counts, np.broadcast_to(BASE_COUNTS, cells.counts.shape), rtol=1e-3)


@pytest.mark.parametrize(("level", "words"), [(0.0, "no light"), (1e6, "limit"), (0.02, ""), (1.0, "")])
def test_a_picture_of_which_nothing_can_be_made_is_told(level: float, words: str) -> None:
    counts = np.broadcast_to(level * BASE_COUNTS, (400, 600, 3))
    told = " ".join(exposure_trouble(raw_of(counts), None))
    assert words in told
    assert bool(told) == bool(words)


def test_only_the_frame_itself_is_looked_at() -> None:
    shot = shoot(colour_patches(side=40))
    assert not exposure_trouble(shot.raw, shot.corners)
    lit = np.broadcast_to(1e6, (400, 600, 3)).copy()
    lit[100:300, 150:450] = BASE_COUNTS
    inside = QuadPx.from_array([[150, 100], [449, 100], [449, 299], [150, 299]])
    assert exposure_trouble(raw_of(lit), None)
    assert not exposure_trouble(raw_of(lit), inside)
    outside = QuadPx.from_array([[700, 500], [800, 500], [800, 600], [700, 600]])
    assert not exposure_trouble(raw_of(lit), outside)
