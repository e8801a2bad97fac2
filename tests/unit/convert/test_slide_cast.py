"""What greys on slides tell of the rig: found among colours, believed with measure."""

import dataclasses

import numpy as np
import pytest

from tests.unit.convert.film_shots import raw_of
from tethercap.convert import usual_slide_numbers
from tethercap.convert.exposure import scene_light
from tethercap.convert.film_base import FilmBase
from tethercap.convert.film_model import FilmModel
from tethercap.convert.flat_field import measure_flat_field
from tethercap.convert.pipeline import BARE_LIGHT, own_neutral
from tethercap.convert.roll_look import slide_of_roll, survey_frame
from tethercap.convert.slide_cast import cast_of_frames, seen_by_cast, slide_of_frames
from tethercap.convert.usual_film import usual_film
from tethercap.film.kinds import FilmKind
from tethercap.pictures import F64Array

EYE = FilmModel(film_kind=FilmKind.SLIDE)
USUAL = usual_film(FilmKind.SLIDE)


def frame(tint: F64Array, colourful: float = 0.5, seed: int = 3) -> F64Array:
    """Densities of a picture: greys from light to dark that are tinted, per density, among colours of all hues."""
    rng = np.random.default_rng(seed)
    density = rng.uniform(0.1, 2.4, (40, 60, 1)) * np.ones(3)
    is_colour = rng.random((40, 60, 1)) < colourful
    hues = density * rng.uniform(0.5, 1.5, (40, 60, 3))
    return np.asarray(np.where(is_colour, hues, density * (1.0 + tint)))


@pytest.mark.parametrize("colourful", [0.0, 0.5, 0.8])
def test_the_tint_of_greys_is_found_among_colours(colourful: float) -> None:
    # Density over green's is light under it.
    cast = cast_of_frames([frame(np.array([0.05, 0.0, -0.04]), colourful)], EYE)
    np.testing.assert_allclose(cast[[0, 2]], [-0.05, 0.04], atol=0.015)
    np.testing.assert_allclose(cast[[1, 3]], 0.0, atol=0.03)


def test_what_lies_outside_the_picture_and_in_the_black_does_not_count() -> None:
    seen = frame(np.array([0.05, 0.0, -0.04]), 0.0)
    black = np.full_like(seen, 3.0) + np.array([0.5, 0.0, 0.0])
    outside = np.full_like(seen, np.nan)
    np.testing.assert_allclose(
        cast_of_frames([seen, black, outside], EYE), cast_of_frames([seen], EYE), rtol=0.02, atol=1e-4
    )


def test_where_nothing_is_to_be_seen_nothing_is_changed() -> None:
    nothing = np.full((4, 4, 3), np.nan)
    np.testing.assert_array_equal(cast_of_frames([nothing], EYE), 0.0)
    assert slide_of_frames([], USUAL) == USUAL.model()


def test_no_more_stray_light_is_taken_off_than_the_blackest_shows() -> None:
    usual = dataclasses.replace(USUAL, middle=np.append(USUAL.middle[:-1], 0.9))
    thin = frame(np.zeros(3), 0.0)
    black = np.concatenate([thin, np.full((4, 60, 3), 3.2)])
    assert slide_of_frames([thin], usual).stray > 0.8 * 10.0**-3.2 >= slide_of_frames([thin, black], usual).stray


def _moved(away: F64Array, frames: int) -> float:
    cast = usual_slide_numbers.CAST + away * usual_slide_numbers.CAST_SPREAD
    return float(np.abs(seen_by_cast(USUAL, cast, frames).middle - USUAL.middle).max())


def test_a_tint_as_of_most_rolls_says_nothing_and_more_frames_say_more() -> None:
    assert _moved(np.zeros(4), 8) == 0.0
    assert 0.0 < _moved(np.ones(4), 1) < _moved(np.ones(4), 8) < 1.0


def test_a_strong_tint_is_the_films_own_and_kept() -> None:
    assert _moved(np.full(4, 5.0), 8) < 0.05 * _moved(np.ones(4), 8)


def _grey_tint(model: FilmModel, tint: F64Array) -> float:
    light = scene_light(np.array([[0.9, 0.9, 0.9]]) * (1.0 + tint), model)
    return float(np.ptp(np.log10(light)))


def test_greys_come_out_greyer_than_by_the_rig_alone() -> None:
    # As greys of a rig whose red reads too dense by a tenth.
    rig = USUAL.model()
    grey = np.array([0.9, 0.9, 0.9])
    for _ in range(20):
        light = scene_light(grey[None], rig)[0]
        grey = grey + 0.5 * (np.log10(light) - np.log10(light).mean())
    tint = grey / 0.9 * np.array([1.06, 1.0, 1.0]) - 1.0
    frames = [frame(tint, 0.5, seed) for seed in range(6)]
    assert _grey_tint(slide_of_frames(frames, USUAL), tint) < 0.9 * _grey_tint(rig, tint)


def test_a_frame_alone_tells_it_only_over_the_bare_light() -> None:
    base = FilmBase((8000.0, 14000.0, 9000.0), how=BARE_LIGHT)
    density = frame(np.array([0.06, 0.0, -0.05]))
    assert own_neutral(USUAL, density, base) != USUAL.model()
    assert own_neutral(USUAL, density, dataclasses.replace(base, how="estimate")) == USUAL.model()


def test_a_roll_tells_it_with_the_bare_light_only() -> None:
    light = np.array([8000.0, 14000.0, 9000.0])
    flat = measure_flat_field(raw_of(np.broadcast_to(light, (640, 960, 3))))
    seen = np.repeat(np.repeat(10.0 ** -frame(np.array([0.06, 0.0, -0.05])), 16, axis=0), 16, axis=1)
    surveys = [survey_frame(raw_of(light * seen), FilmKind.SLIDE, None, flat)] * 3
    assert slide_of_roll(surveys, None, USUAL) == USUAL.model()
    assert slide_of_roll(surveys, flat, USUAL) != USUAL.model()
