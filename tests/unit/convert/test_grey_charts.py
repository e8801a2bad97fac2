import numpy as np
import pytest

from tethercap.convert.calibrate import Cards, Measured, fit_cards, whole_stops
from tethercap.convert.chart_frames import CHART_ON_ROLL
from tethercap.convert.charts import CHART_EDITIONS, GREY_PATCHES
from tethercap.convert.exposure import LUMINANCE, scene_light
from tethercap.convert.film_model import GREEN, FilmModel
from tethercap.convert.grey_charts import grey_model_by_chart, grey_model_by_charts
from tethercap.convert.roll_look import model_by_chart
from tethercap.convert.usual_film import usual_film
from tethercap.film.kinds import FilmKind
from tethercap.pictures import F64Array

USUAL = usual_film(FilmKind.BW_NEGATIVE)
CHART = CHART_EDITIONS[0]
FILMS = {"flat": (0.5, -1.9, 1.6), "steep": (0.75, -1.7, 1.7), "soon at its end": (0.65, -1.8, 0.7)}
"""Invented: slope, and the log10 exposures (white = 0) where the straight part begins and ends."""


def silver(light: F64Array, film: tuple[float, float, float]) -> F64Array:
    """Density over base of any light, shape (n, 3), the blue channel seeing more of it than the red."""
    slope, begin, end = film
    x = np.log10(light)
    soft = 0.12 * np.logaddexp(0.0, (x - begin) / 0.12) - 0.3 * np.logaddexp(0.0, (x - end) / 0.3)
    return np.asarray(slope * soft[:, None] * (0.98, 1.0, 1.03))


def chart_on(film: tuple[float, float, float], stops: float, chart: F64Array = CHART) -> F64Array:
    return silver(chart @ LUMINANCE * 2.0**stops, film)


def most_off(density: F64Array, model: FilmModel) -> float:
    """How far the greys of a chart are off at the print exposure that suits them, CIE L* (CIE 15:2018, 8.2.1)."""
    wanted = CHART[GREY_PATCHES] @ LUMINANCE
    light = scene_light(density[GREY_PATCHES], model)[:, GREEN]
    gains = np.geomspace(0.8, 1.25, 61)[:, None] * np.median(wanted / light)
    return float(np.abs(116.0 * (np.cbrt(gains * light) - np.cbrt(wanted))).max(axis=1).min())


@pytest.mark.parametrize("film", FILMS.values(), ids=FILMS.keys())
def test_charts_at_several_exposures_tell_the_whole_curve(film: tuple[float, float, float]) -> None:
    charts = [chart_on(film, stops) for stops in (-1, 1, 3)]
    model = model_by_chart([None, *charts], Measured(USUAL.model(), USUAL))
    assert model.source == CHART_ON_ROLL
    assert max(most_off(chart, model) for chart in charts) < 1.5
    assert max(most_off(chart, USUAL.model()) for chart in charts) > 2.5


def test_one_chart_that_was_named_tells_its_part() -> None:
    chart = chart_on(FILMS["flat"], 0)
    assert most_off(chart, grey_model_by_chart(chart, USUAL)) < 1.0 < most_off(chart, USUAL.model())


def test_a_chart_that_does_not_fit_is_left_out() -> None:
    good, other = chart_on(FILMS["steep"], 0), chart_on(FILMS["steep"], 1, CHART[::-1])
    known = Measured(USUAL.model(), USUAL)
    assert most_off(good, grey_model_by_charts([good, other], known)) < 1.0
    assert grey_model_by_charts([other], known) == USUAL.model()


def test_what_has_a_charts_greys_alone_is_no_chart() -> None:
    strange = CHART.copy()
    strange[:18] = np.maximum(CHART[17::-1], 0.01) ** 2
    assert grey_model_by_charts([chart_on(FILMS["flat"], 0, strange)], Measured(USUAL.model(), USUAL)) == USUAL.model()


@pytest.mark.parametrize("film", FILMS.values(), ids=FILMS.keys())
def test_cards_two_stops_apart_tell_the_slope(film: tuple[float, float, float]) -> None:
    density = silver(0.18 * 2.0 ** np.array([-1.0, 1.0, 3.0]), film)
    exposures = whole_stops(density, USUAL)
    assert exposures is not None
    np.testing.assert_allclose(np.diff(exposures), 2.0 * np.log10(2.0), atol=1e-9)
    assert most_off(chart_on(film, 0), fit_cards(Cards(density, exposures), USUAL)) < 1.5


def test_a_curve_near_its_end_is_read_no_steeper_than_grain_bears() -> None:
    density = np.linspace(-0.3, 4.0, 400)
    read = USUAL.model().equalised(density, GREEN)
    steps = np.diff(read) / np.diff(density)
    assert steps.min() > 0.99
    assert steps.max() < 5.01
    assert USUAL.model().equalised(0.0, GREEN) == pytest.approx(0.0, abs=1e-12)
