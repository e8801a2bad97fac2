import numpy as np
import pytest

from tests.unit.convert.film_shots import density_of
from tethercap.convert.calibrate import Cards, fit_cards, fit_chart, fit_slide_chart, whole_stops
from tethercap.convert.charts import CHART_EDITIONS, GREY_PATCHES, chart_linear_srgb
from tethercap.convert.exposure import scene_light
from tethercap.convert.film_model import FilmModel, curve
from tethercap.convert.usual_film import as_matrix, matrix_from, usual_film
from tethercap.film.kinds import FilmKind

USUAL = usual_film(FilmKind.COLOUR_NEGATIVE)
TRUTH = FilmModel(gamma=(0.56, 0.62, 0.70), speed=(-1.32, -1.40, -1.34), toe=0.24)


def grey(log_exposure: np.ndarray) -> np.ndarray:
    return density_of(np.repeat(10.0 ** log_exposure[:, None], 3, axis=1), TRUTH)


def test_cards_at_known_exposures_tell_the_curves() -> None:
    x = np.log10(0.18) + np.array([-1, 1, 3]) * np.log10(2.0)
    model = fit_cards(Cards(grey(x), x), USUAL)
    levels = np.geomspace(0.05, 2.0, 20)
    light = scene_light(grey(np.log10(levels)), model)
    # Brightness is told but for one factor; greys come out grey.
    np.testing.assert_allclose(light / light.mean() * levels.mean(), levels[:, None].repeat(3, axis=1), rtol=0.07)


def test_cards_at_unknown_exposures_tell_the_neutral() -> None:
    density = grey(np.log10([0.09, 0.36, 1.44]))
    model = fit_cards(Cards(density), USUAL)
    equal = np.stack([model.equalised(density[:, k], k) for k in range(3)], axis=1)
    assert np.abs(equal - equal[:, [1]]).max() < 0.012


@pytest.mark.parametrize("stops", [[-1, 1, 3], [3, -1, 1], [0, 1, 2, 3], [0, 0, 2]])
def test_a_brackets_steps_are_told_from_its_densities(stops: list[int]) -> None:
    found = whole_stops(grey(np.log10(0.18) + np.array(stops) * np.log10(2.0)), USUAL)
    assert found is not None
    np.testing.assert_allclose((found - found[0]) / np.log10(2.0), np.array(stops) - stops[0], atol=1e-9)


def test_two_stops_on_a_flat_film_are_not_taken_for_one_and_a_half() -> None:
    x = np.log10(0.18) + np.array([-1, 1, 3]) * np.log10(2.0)
    flat = FilmModel(gamma=(0.47, 0.54, 0.58), speed=(-1.35, -1.40, -1.40), toe=0.2)
    density = density_of(np.repeat(10.0 ** x[:, None], 3, axis=1), flat)
    found = whole_stops(density, USUAL)
    assert found is not None
    np.testing.assert_allclose(np.diff(found), 2.0 * np.log10(2.0), atol=1e-9)


def test_silver_that_is_not_neutral_does_not_bend_a_black_and_white_films_curve() -> None:
    x = np.log10(np.geomspace(0.03, 0.9, 6))
    density = curve(x, 0.64, -1.3, 0.2)[:, None] * np.array([0.97, 1.0, 1.04])
    model = fit_cards(Cards(density, x), usual_film(FilmKind.BW_NEGATIVE))
    read = np.log10(model.exposure(np.stack([model.equalised(density[:, k], k) for k in range(3)]).mean(axis=0)))
    np.testing.assert_allclose(read - read.mean(), x - x.mean(), atol=0.02)


@pytest.mark.parametrize("stops", [[1.0], [1.0, 1.0], [0.0, 1.5, 2.5]])
def test_no_steps_are_told_where_there_are_none(stops: list[float]) -> None:
    assert whole_stops(grey(np.log10(0.18) + np.array(stops) * np.log10(2.0)), USUAL) is None


@pytest.mark.parametrize("edition", [0, 1])
def test_a_chart_tells_curves_and_matrices_and_its_own_edition(edition: int) -> None:
    chart = CHART_EDITIONS[edition]
    overlap = np.array([[1.3, -0.2, -0.1], [-0.15, 1.3, -0.15], [0.0, -0.2, 1.2]])
    density = density_of(chart @ np.linalg.inv(overlap).T, TRUTH)
    fits = [fit_chart(density, one, GREY_PATCHES, USUAL) for one in CHART_EDITIONS]
    assert fits[edition].misfit < 1.0
    assert fits[edition].misfit < fits[1 - edition].misfit
    light = scene_light(density, fits[edition].model)
    assert np.abs(light / light[18].mean() * chart[18].mean() - chart).mean() < 0.02


def test_more_pictures_of_a_chart_or_cards_tell_the_curves_farther_on() -> None:
    chart = CHART_EDITIONS[0]
    normal, less, more, *cards = (
        _with_shoulder(density_of(light, TRUTH)) for light in (chart, chart / 2, chart * 8, np.full((1, 3), 0.18 * 8))
    )
    greys = Cards(np.concatenate(cards))
    alone = fit_chart(normal, chart, GREY_PATCHES, USUAL)
    together = fit_chart(normal, chart, GREY_PATCHES, USUAL, further=[less, more])
    with_cards = fit_chart(normal, chart, GREY_PATCHES, USUAL, cards=greys)
    off, off_together = (_off_greys(more, fitted.model) for fitted in (alone, together))
    assert off_together < 0.5 * off
    cast, cast_with_cards = (np.abs(greys.misfit(fitted.model, 0.0)).max() for fitted in (alone, with_cards))
    assert cast_with_cards < 0.5 * cast


def _with_shoulder(density: np.ndarray) -> np.ndarray:
    return np.asarray(density * (1.0 - np.array([0.04, 0.0, 0.07]) * density))


def _off_greys(density: np.ndarray, model: FilmModel) -> float:
    """How far the greys of a chart are off in tone and colour, log10 of light, one level for all."""
    off = np.log10(scene_light(density[GREY_PATCHES], model) / CHART_EDITIONS[0][GREY_PATCHES])
    return float(np.abs(off - np.median(off)).max())


def test_charts_made_later_differ_a_little_from_older_ones() -> None:
    np.testing.assert_array_equal(CHART_EDITIONS[0], chart_linear_srgb())
    assert 0.001 < np.abs(CHART_EDITIONS[0] - CHART_EDITIONS[1]).mean() < 0.03


def test_matrices_keep_greys() -> None:
    free = np.array([-0.2, 0.1, 0.05, -0.3, 0.2, -0.1])
    np.testing.assert_allclose(np.array(as_matrix(matrix_from(free))).sum(axis=1), 1.0)


def test_a_target_on_a_slide_tells_the_matrix_and_the_level() -> None:
    chart = CHART_EDITIONS[0]
    camera = np.array([[1.9, -0.85, -0.05], [-0.25, 1.6, -0.35], [0.05, -0.5, 1.45]])
    density = -np.log10(0.8 * chart @ np.linalg.inv(camera).T)
    found = fit_slide_chart(density, chart, GREY_PATCHES, usual_film(FilmKind.SLIDE))
    assert found.misfit < 0.5
    np.testing.assert_allclose(scene_light(density, found.model), chart, atol=0.02)


def test_a_chart_that_a_slide_made_contrasty_does_not_pass_for_a_target() -> None:
    found = fit_slide_chart(
        -1.6 * np.log10(np.maximum(CHART_EDITIONS[0], 0.01)),
        CHART_EDITIONS[0],
        GREY_PATCHES,
        usual_film(FilmKind.SLIDE),
    )
    assert found.misfit > 2.0
