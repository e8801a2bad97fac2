"""What a slide looks like: by itself on a rig, and by a target on it."""

import dataclasses

import numpy as np
import pytest

from tests.unit.convert.film_shots import colour_patches, raw_of
from tethercap.convert.calibrate import fit_slide_chart
from tethercap.convert.charts import CHART_EDITIONS, GREY_PATCHES
from tethercap.convert.exposure import scene_light
from tethercap.convert.flat_field import measure_flat_field
from tethercap.convert.pipeline import RollLook
from tethercap.convert.recipe import Border, Recipe
from tethercap.convert.render import convert
from tethercap.convert.spaces import SPACES
from tethercap.convert.usual_film import SLIDE_NUMBERS, slide_model_of, usual_film, usual_of_slide
from tethercap.film.kinds import FilmKind
from tethercap.pictures import ColourSpace

LIGHT = np.array([7000.0, 14000.0, 9500.0])
USUAL = usual_film(FilmKind.SLIDE)


def test_a_usual_slide_shows_the_bare_light_as_white() -> None:
    np.testing.assert_allclose(scene_light(np.zeros(3), USUAL.model()), 1.0, atol=0.08)


def test_figures_that_can_be_no_rigs_are_not_believed() -> None:
    wild = np.array([40.0, 0.0, 0.0, 0.0, 0.0, 0.0, 9.0, -9.0])
    np.testing.assert_allclose(usual_of_slide(wild).middle, USUAL.middle)


def test_a_panel_of_another_colour_is_another_usual_slide() -> None:
    unknown = np.full(6, np.nan)
    warm, cold = (usual_of_slide(np.append(unknown, panel)).middle for panel in ([0.2, -0.3], [0.0, 0.0]))
    assert np.abs(warm - cold).max() > 0.02


def test_positives_are_what_the_model_says() -> None:
    numbers = np.zeros(SLIDE_NUMBERS)
    numbers[:3] = 0.03, 0.0, -0.02
    numbers[3:9] = -0.1, 0.05, 0.04, -0.08, 0.0, -0.06
    numbers[9:15] = -0.3, 0.05, -0.1, -0.2, 0.03, -0.25
    numbers[15:30] = np.linspace(-0.06, 0.08, 15)
    numbers[30:] = 0.02, 0.0, -0.01, 0.4
    model = slide_model_of(numbers)
    transmittance = 0.2 + 0.5 * colour_patches(side=160)
    flat = measure_flat_field(raw_of(np.broadcast_to(LIGHT, transmittance.shape)))
    raw, look = raw_of(transmittance * LIGHT), RollLook(flat=flat, model=model)
    recipe = dataclasses.replace(Recipe(), border=Border.WHOLE)
    made = convert(raw, recipe, base=None, corners=None, film_kind=FilmKind.SLIDE, look=look).positive
    got = SPACES[ColourSpace.SRGB].curve.decode(made.pixels_rgb / 65535.0)
    wanted = np.clip(scene_light(-np.log10(transmittance), model), 0.0, 0.88)
    for row, column in ((0, 0), (1, 2), (2, 1), (3, 5)):
        middle = (slice(row * 160 + 40, row * 160 + 120), slice(column * 160 + 40, column * 160 + 120))
        seen, said = got[middle].mean(axis=(0, 1)), wanted[middle].mean(axis=(0, 1))
        np.testing.assert_allclose(seen[said < 0.88], said[said < 0.88], atol=0.012)


@pytest.mark.parametrize("level", [0.6, 0.9])
def test_a_target_tells_level_and_bows(level: float) -> None:
    numbers = USUAL.middle + USUAL.spread @ np.linspace(-0.8, 0.8, SLIDE_NUMBERS)
    transmittance = level * 0.85 * np.clip(CHART_EDITIONS[0], 0.01, None)
    wanted = scene_light(-np.log10(transmittance), slide_model_of(numbers)) / level
    found = fit_slide_chart(-np.log10(transmittance), wanted, GREY_PATCHES, USUAL)
    assert found.misfit < 0.3
