"""In how small parts a RAW is measured."""

import numpy as np
import pytest

from tests.unit.convert.film_shots import BASE_COUNTS, raw_of
from tethercap.convert.cells import measure_cells


@pytest.mark.parametrize(
    ("width_px", "height_px", "cell_px"), [(1024, 680, 16), (1000, 660, 8), (340, 512, 8), (500, 330, 4), (200, 130, 4)]
)
def test_small_pictures_are_measured_in_smaller_cells(width_px: int, height_px: int, cell_px: int) -> None:
    cells = measure_cells(raw_of(np.broadcast_to(BASE_COUNTS, (height_px, width_px, 3))))
    assert cells.cell_px == cell_px
    assert cells.counts.shape == (height_px // cell_px, width_px // cell_px, 3)
    np.testing.assert_allclose(cells.counts, np.broadcast_to(BASE_COUNTS, cells.counts.shape), rtol=1e-3)
