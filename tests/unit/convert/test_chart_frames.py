import numpy as np
import pytest

from tests.unit.convert.film_shots import PLAIN, density_of
from tethercap.convert.chart_frames import chart_exposure, fields_alike
from tethercap.convert.charts import CHART_COLUMNS, CHART_ROWS, chart_linear_srgb
from tethercap.pictures import F64Array


def chart_scene(patch: int = 9, gap: int = 2) -> F64Array:
    """A chart on black, linear sRGB of each cell."""
    step = patch + gap
    scene = np.full((CHART_ROWS * step + 12, CHART_COLUMNS * step + 12, 3), 0.03)
    for number, colour in enumerate(chart_linear_srgb()):
        row, column = divmod(number, CHART_COLUMNS)
        scene[6 + row * step : 6 + row * step + patch, 6 + column * step : 6 + column * step + patch] = colour
    return scene


@pytest.mark.parametrize("stops", [-1.0, 0.0, 2.0])
def test_a_chart_says_how_its_frame_was_exposed(stops: float) -> None:
    found = chart_exposure(density_of(chart_scene() * 2.0**stops), PLAIN)
    assert found is not None
    assert np.log2(found.gain) == pytest.approx(-stops, abs=0.05)
    assert found.doubt_stops < 0.1


def test_a_chart_that_is_cut_by_the_frame_is_none() -> None:
    density = density_of(chart_scene())
    density[:, :30] = np.nan
    assert chart_exposure(density, PLAIN) is None


def test_patches_of_other_colours_are_no_chart() -> None:
    scene = chart_scene()[:, ::-1, ::-1]
    assert chart_exposure(density_of(scene), PLAIN) is None


def test_leaves_are_not_looked_at_twice() -> None:
    leaves = np.random.default_rng(1).uniform(0.05, 0.8, (60, 90, 1)) * np.array([0.25, 0.4, 0.08])
    assert fields_alike(density_of(leaves)) == 0
