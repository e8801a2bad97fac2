import dataclasses

import numpy as np
import pytest

from tests.unit.convert.film_shots import BASE_COUNTS, PLAIN, density_of
from tethercap.convert.calibrate import Measured
from tethercap.convert.chart_frames import chart_densities, chart_exposure, fields_in_lattice
from tethercap.convert.charts import CHART_COLUMNS, CHART_ROWS, chart_linear_srgb
from tethercap.convert.exposure import scene_light
from tethercap.convert.film_base import FilmBase
from tethercap.convert.roll_look import FrameSurvey, charts_of_roll, model_by_chart
from tethercap.convert.usual_film import usual_film
from tethercap.film.kinds import FilmKind
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
    patches = chart_densities(density_of(chart_scene() * 2.0**stops), FilmKind.COLOUR_NEGATIVE)
    assert patches is not None
    found = chart_exposure(patches, PLAIN)
    assert found is not None
    assert np.log2(found.gain) == pytest.approx(-stops, abs=0.05)
    assert found.doubt_stops < 0.1


@pytest.mark.parametrize(("quarters", "is_mirrored"), [(0, False), (1, False), (2, True), (3, True)])
@pytest.mark.parametrize(("patch", "gap"), [(9, 0), (5, 1)])
def test_a_chart_of_touching_or_small_patches_is_seen_however_it_lies(
    patch: int, gap: int, quarters: int, is_mirrored: bool
) -> None:
    noise = np.random.default_rng(0).normal(0.0, 0.008, (*chart_scene(patch, gap).shape[:2], 3))
    density = np.rot90(density_of(chart_scene(patch, gap)) + noise, quarters)
    density = density[:, ::-1] if is_mirrored else density
    patches = chart_densities(density, FilmKind.COLOUR_NEGATIVE)
    assert patches is not None
    np.testing.assert_allclose(patches, density_of(chart_linear_srgb()), atol=0.02)


def test_a_chart_that_is_cut_by_the_frame_is_none() -> None:
    density = density_of(chart_scene())
    density[:, :30] = np.nan
    assert chart_densities(density, FilmKind.COLOUR_NEGATIVE) is None


def test_patches_of_other_colours_are_no_chart() -> None:
    scene = chart_scene()[:, ::-1, ::-1]
    patches = chart_densities(density_of(scene), FilmKind.COLOUR_NEGATIVE)
    assert patches is None or chart_exposure(patches, PLAIN) is None


def survey_of(scene: F64Array) -> FrameSurvey:
    return FrameSurvey(None, (BASE_COUNTS * 10.0 ** -density_of(scene)).astype(np.float32), None)


def test_a_chart_among_the_frames_tells_the_film() -> None:
    base, usual = FilmBase(tuple(BASE_COUNTS.tolist())), usual_film(FilmKind.COLOUR_NEGATIVE)
    dull = survey_of(np.full((60, 80, 3), 0.2))
    surveys = [dull, *(survey_of(chart_scene() * 2.0**stops) for stops in (2.0, -1.0, 0.0))]
    rough = dataclasses.replace(PLAIN, source="frames")
    charts = charts_of_roll(surveys, [base] * 4, FilmKind.COLOUR_NEGATIVE)
    assert [chart is None for chart in charts] == [True, False, False, False]
    model = model_by_chart(charts, Measured(rough, usual))
    assert model.source != rough.source
    chart = chart_linear_srgb()
    light = scene_light(density_of(chart), model)
    assert np.abs(light / light[18].mean() * chart[18].mean() - chart).mean() < 0.02
    assert model_by_chart([None, None], Measured(rough, usual)) is rough


def test_a_small_chart_is_found_where_another_is_on_the_roll() -> None:
    base = FilmBase(tuple(BASE_COUNTS.tolist()))
    far = np.full((140, 200, 3), 0.2)
    small = chart_scene(4, 1)
    far[40 : 40 + small.shape[0], 60 : 60 + small.shape[1]] = small
    assert charts_of_roll([survey_of(far)], [base], FilmKind.COLOUR_NEGATIVE) == [None]
    beside_another = charts_of_roll([survey_of(far), survey_of(chart_scene())], [base] * 2, FilmKind.COLOUR_NEGATIVE)
    told = charts_of_roll([survey_of(far)], [base], FilmKind.COLOUR_NEGATIVE, has_chart=True)
    assert all(chart is not None for chart in [*beside_another, *told])


def test_a_chart_in_other_light_than_the_frames_is_not_used_and_that_is_said() -> None:
    base, usual = FilmBase(tuple(BASE_COUNTS.tolist())), usual_film(FilmKind.COLOUR_NEGATIVE)
    by_a_lamp = survey_of(chart_scene() * np.array([1.5, 1.0, 0.55]))
    model = model_by_chart(charts_of_roll([by_a_lamp], [base], FilmKind.COLOUR_NEGATIVE), Measured(PLAIN, usual))
    assert "lit otherwise" in model.note
    assert dataclasses.replace(model, note="") == PLAIN


def test_a_chart_is_used_where_only_the_guess_of_the_film_was_wrong() -> None:
    base, usual = FilmBase(tuple(BASE_COUNTS.tolist())), usual_film(FilmKind.COLOUR_NEGATIVE)
    walls = np.repeat(np.geomspace(0.1, 0.9, 80)[None, :, None], 60, axis=0).repeat(3, axis=2)
    frames = [survey_of(chart_scene()), survey_of(walls), survey_of(walls[:, ::-1])]
    red, green, blue = PLAIN.speed
    odd = dataclasses.replace(PLAIN, speed=(red + 0.25, green, blue - 0.25), source="frames")
    charts = charts_of_roll(frames, [base] * 3, FilmKind.COLOUR_NEGATIVE)
    assert "lit otherwise" in model_by_chart(charts, Measured(odd, usual)).note
    found = model_by_chart(charts, Measured(odd, usual), [survey.density(base) for survey in frames])
    assert found.source != odd.source


def test_leaves_are_not_looked_at_twice() -> None:
    leaves = np.random.default_rng(1).uniform(0.05, 0.8, (60, 90, 1)) * np.array([0.25, 0.4, 0.08])
    assert len(fields_in_lattice(density_of(leaves))) == 0


def test_windows_that_are_all_alike_are_no_chart() -> None:
    windows = chart_scene()
    windows[windows[..., 1] > 0.031] = 0.4
    assert len(fields_in_lattice(density_of(windows))) > 20
    patches = chart_densities(density_of(windows), FilmKind.COLOUR_NEGATIVE)
    assert patches is None or chart_exposure(patches, PLAIN) is None


def test_only_fields_that_lie_as_those_of_a_chart_are_looked_at_twice() -> None:
    assert len(fields_in_lattice(density_of(chart_scene()))) > 20
    # As many fields of one size, but ever further apart.
    spread = np.full((140, 660, 3), 0.03)
    for top in (4, 40, 104):
        for number in range(9):
            left = 4 + 12 * number + 8 * number**2
            spread[top : top + 8, left : left + 8] = 0.4
    assert len(fields_in_lattice(density_of(spread))) < 11
