from dataclasses import replace

import numpy as np
import pytest

from tests.unit.convert.film_shots import PLAIN, colour_patches, density_of
from tethercap.convert.exposure import USUAL_GAIN_STOPS, PrintExposure, find_exposure, scene_light, settle_exposures
from tethercap.convert.film_model import FilmModel
from tethercap.film.kinds import FilmKind
from tethercap.pictures import F64Array


@pytest.mark.parametrize("stops", [-1.0, 0.0, 1.0, 2.0, 3.0])
def test_over_and_underexposure_print_alike(stops: float) -> None:
    scene = colour_patches(side=8)
    normal, density = density_of(scene), density_of(scene * 2.0**stops)
    wanted = find_exposure(normal.reshape(-1, 3), PLAIN, black_point=0.0).gain * scene_light(normal, PLAIN)
    exposure = find_exposure(density.reshape(-1, 3), PLAIN, black_point=0.0)
    np.testing.assert_allclose(exposure.gain * scene_light(density, PLAIN), wanted, rtol=0.01)


def printed_light(scene: F64Array) -> F64Array:
    """Print light of a scene."""
    density = density_of(scene)
    return np.asarray(find_exposure(density, PLAIN, black_point=0.0).gain * scene_light(density, PLAIN))


def greys_between(darkest: float, brightest: float) -> F64Array:
    """A scene of greys, evenly spread over stops; shape (4000, 3)."""
    return np.geomspace(darkest, brightest, 4000)[:, None] * np.ones(3)


def test_a_picture_of_full_contrast_just_reaches_full_light() -> None:
    assert printed_light(greys_between(0.01, 0.4)).max() == pytest.approx(1.0, abs=0.12)


def test_a_picture_without_contrast_is_not_driven_to_white() -> None:
    assert 0.5 < printed_light(greys_between(0.3, 0.4)).max() < 0.88


@pytest.mark.parametrize("stops", [-1.0, 1.0, 3.0])
def test_an_even_frame_is_printed_as_a_grey_card(stops: float) -> None:
    card = 0.18 * 2.0**stops * np.exp(np.random.default_rng(1).normal(0.0, 0.03, (4000, 1))) * np.ones(3)
    assert np.median(printed_light(card)) == pytest.approx(0.18, rel=0.02)


def test_a_night_stays_night_with_a_lamp_in_it() -> None:
    night = greys_between(0.0005, 0.03)
    night[:20] = 0.9
    printed = printed_light(night)
    assert np.median(printed[20:]) < 0.1
    assert printed[20:].max() < 0.7


def test_a_lamp_leaves_the_room_its_light() -> None:
    room, lit = greys_between(0.02, 0.5), greys_between(0.02, 0.5)
    lit[:20] = 20.0
    assert np.median(printed_light(lit)[20:]) > 0.3 * np.median(printed_light(room)[20:])


def test_coloured_highlights_are_not_made_white() -> None:
    leaves = np.random.default_rng(1).uniform(0.5, 1.0, (400, 1)) * np.array([0.25, 0.4, 0.08])
    exposure = find_exposure(density_of(leaves), PLAIN)
    printed = exposure.gain * scene_light(density_of(leaves), PLAIN)
    assert printed.max() < 0.92
    assert exposure.doubt_stops > 0.3


def test_a_blank_frame_is_not_driven_to_noise() -> None:
    blank = np.abs(np.random.default_rng(1).normal(0.0, 0.004, (400, 3)))
    exposure = find_exposure(blank, PLAIN)
    assert exposure.gain * scene_light(blank, PLAIN).max() < 0.2
    even = np.full((400, 3), 0.01)
    assert find_exposure(even, PLAIN).gain * scene_light(even, PLAIN).max() < 0.08


def test_frames_of_a_roll_steady_each_other() -> None:
    sure = [PrintExposure(2.0**-5.0, doubt_stops=0.25) for _ in range(8)]
    doubtful = PrintExposure(2.0**-7.0, doubt_stops=0.8)
    settled = settle_exposures([*sure, doubtful], FilmModel())
    assert np.log2(settled[-1].gain) == pytest.approx(-5.4, abs=0.5)
    assert np.log2(settled[0].gain) == pytest.approx(-5.0, abs=0.15)


def test_a_bracketed_roll_keeps_its_differences() -> None:
    found = [PrintExposure(2.0 ** (-5.0 - stops), doubt_stops=0.25) for stops in (-1, 0, 1, 2, 3)]
    settled = settle_exposures(found, FilmModel())
    steps = np.diff(np.log2([exposure.gain for exposure in settled]))
    np.testing.assert_allclose(steps, -1.0, atol=0.06)


def test_frames_near_one_that_is_known_are_taken_for_its_setting_and_others_are_not() -> None:
    chart, near, far = (
        PrintExposure(2.0**stop, doubt_stops=doubt) for stop, doubt in ((-5, 0.03), (-5.3, 0.3), (-7, 0.3))
    )
    others = [PrintExposure(2.0**stop, doubt_stops=0.3) for stop in (-3.6, -4.4, -6.1)]
    settled = [float(np.log2(each.gain)) for each in settle_exposures([chart, near, far, *others], FilmModel())]
    assert settled[0] == pytest.approx(-5.0, abs=0.02)
    assert -5.22 < settled[1] < -5.05
    assert settled[2] == pytest.approx(-6.9, abs=0.12)


def test_a_frame_is_drawn_to_whole_stops_from_one_that_is_known() -> None:
    chart = PrintExposure(2.0**-5.0, doubt_stops=0.03)
    near_whole, between = (PrintExposure(2.0**stop, doubt_stops=0.3) for stop in (-7.15, -6.5))
    others = [PrintExposure(2.0**stop, doubt_stops=0.3) for stop in (-3.6, -4.4, -5.8)]
    settled = [
        float(np.log2(each.gain)) for each in settle_exposures([chart, near_whole, between, *others], FilmModel())
    ]
    assert -7.12 < settled[1] < -6.95
    assert settled[2] == pytest.approx(-6.5, abs=0.3)


def test_frames_that_are_known_stay_where_they_are() -> None:
    found = [PrintExposure(2.0**stop) for stop in (-5.0, -5.3, -8.0, -2.6)]
    settled = settle_exposures(found, FilmModel())
    np.testing.assert_allclose([each.gain for each in settled], [each.gain for each in found], rtol=0.02)


def test_grey_film_is_printed_darker_than_the_strongest_channel_would_be() -> None:
    scene = density_of(greys_between(0.01, 0.4))
    coloured, grey = (
        find_exposure(scene, replace(PLAIN, film_kind=kind)).gain for kind in FilmKind if kind.is_negative
    )
    assert 0.7 < grey / coloured < 0.95


def test_a_doubtful_frame_alone_leans_on_what_is_usual() -> None:
    alone = settle_exposures([PrintExposure(2.0 ** (USUAL_GAIN_STOPS - 2.0), doubt_stops=0.8)], FilmModel())[0]
    assert USUAL_GAIN_STOPS - 1.8 < np.log2(alone.gain) < USUAL_GAIN_STOPS - 0.5


def test_what_is_usual_does_not_depend_on_the_zero_of_exposure() -> None:
    found = PrintExposure(2.0**-4.0, doubt_stops=0.5)
    shifted = FilmModel(speed=(-1.0, -1.0, -1.0))
    moved = PrintExposure(found.gain * 10.0, doubt_stops=0.5)
    here, there = settle_exposures([found], FilmModel())[0], settle_exposures([moved], shifted)[0]
    assert there.gain / here.gain == pytest.approx(10.0)


def test_a_roll_that_was_exposed_alike_is_printed_alike() -> None:
    errors = np.random.default_rng(4).normal(0.0, 0.25, 12)
    told = [PrintExposure(2.0 ** (-5.0 + error), doubt_stops=0.27) for error in errors]
    chart = PrintExposure(2.0**-5.0, doubt_stops=0.05)
    settled = np.log2([exposure.gain for exposure in settle_exposures([chart, *told], FilmModel())]) + 5.0
    assert np.abs(settled).max() < 0.15 < 0.5 * np.abs(errors).max()


def test_a_roll_that_was_metered_frame_by_frame_is_not_printed_alike() -> None:
    draw = np.random.default_rng(5)
    settings, errors = draw.normal(0.0, 0.5, 12), draw.normal(0.0, 0.2, 12)
    told = [PrintExposure(2.0 ** (-5.0 + stop), doubt_stops=0.27) for stop in settings + errors]
    settled = np.log2([exposure.gain for exposure in settle_exposures(told, FilmModel())]) + 5.0
    assert np.std(settled) > 0.7 * np.std(settings)
    assert np.abs(settled - settings).mean() < 0.25
