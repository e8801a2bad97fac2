import dataclasses

import numpy as np
import pytest

from tests.unit.convert.film_shots import density_of
from tethercap.convert.calibrate import as_matrix, fit_chart, fit_greys, fit_neutral, free_of, matrix_from, whole_stops
from tethercap.convert.charts import GREY_PATCHES, chart_linear_srgb
from tethercap.convert.exposure import scene_light
from tethercap.convert.film_model import FilmModel

USUAL = FilmModel(gamma=(0.60, 0.66, 0.65), speed=(0.05, 0.0, -0.05), toe=0.2)
TRUTH = FilmModel(gamma=(0.56, 0.62, 0.70), speed=(-1.32, -1.40, -1.34), toe=0.24)


def test_cards_at_known_exposures_tell_the_curves() -> None:
    x = np.log10(0.18) + np.array([-1, 1, 3]) * np.log10(2.0)
    density = density_of(np.repeat(10.0 ** x[:, None], 3, axis=1), TRUTH)
    model = fit_greys(density, x, USUAL)
    light = scene_light(density_of(np.repeat(np.geomspace(0.05, 2.0, 20)[:, None], 3, axis=1), TRUTH), model)
    np.testing.assert_allclose(light, np.geomspace(0.05, 2.0, 20)[:, None].repeat(3, axis=1), rtol=0.06)


def test_cards_at_unknown_exposures_tell_the_neutral() -> None:
    density = density_of(np.repeat(np.array([0.09, 0.36, 1.44])[:, None], 3, axis=1), TRUTH)
    model = fit_neutral(density, USUAL)
    equal = np.stack([model.equalised(density[:, k], k) for k in range(3)], axis=1)
    assert np.abs(equal - equal[:, [1]]).max() < 0.012
    assert model.gamma[1] == USUAL.gamma[1]


@pytest.mark.parametrize("stops", [[-1, 1, 3], [3, -1, 1], [0, 1, 2, 3], [0, 0, 2]])
def test_a_brackets_steps_are_told_from_its_densities(stops: list[int]) -> None:
    grey = 0.18 * 2.0 ** np.array(stops)
    found = whole_stops(density_of(np.repeat(grey[:, None], 3, axis=1), TRUTH), USUAL)
    assert found is not None
    np.testing.assert_allclose((found - found[0]) / np.log10(2.0), np.array(stops) - stops[0], atol=1e-9)


@pytest.mark.parametrize("stops", [[1.0], [1.0, 1.0], [0.0, 1.5, 3.0]])
def test_no_steps_are_told_where_there_are_none(stops: list[float]) -> None:
    grey = 0.18 * 2.0 ** np.array(stops)
    assert whole_stops(density_of(np.repeat(grey[:, None], 3, axis=1), TRUTH), USUAL) is None


def test_a_chart_tells_curves_and_matrices() -> None:
    overlap = as_matrix(np.array([[1.3, -0.2, -0.1], [-0.15, 1.3, -0.15], [0.0, -0.2, 1.2]]))
    film = dataclasses.replace(TRUTH, light_matrix=overlap)
    layers = chart_linear_srgb() @ np.linalg.inv(np.array(overlap)).T
    model = fit_chart(density_of(layers, film), chart_linear_srgb(), GREY_PATCHES, USUAL)
    light = scene_light(density_of(layers, film), model)
    assert np.abs(light - chart_linear_srgb()).mean() < 0.012


def test_matrices_keep_greys() -> None:
    free = np.array([-0.2, 0.1, 0.05, -0.3, 0.2, -0.1])
    np.testing.assert_allclose(matrix_from(free).sum(axis=1), 1.0)
    np.testing.assert_allclose(free_of(as_matrix(matrix_from(free))), free)
