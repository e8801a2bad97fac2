import numpy as np
import pytest

from tests.unit.convert.film_shots import PLAIN, density_of
from tethercap.convert.film_model import FilmModel, curve
from tethercap.film.kinds import FilmKind


def test_greys_of_every_brightness_come_out_equal() -> None:
    grey = np.repeat(np.geomspace(0.003, 8.0, 40)[:, None], 3, axis=1)
    density = density_of(grey)
    equal = np.stack([PLAIN.equalised(density[:, k], k) for k in range(3)], axis=1)
    np.testing.assert_allclose(equal, equal[:, [1]].repeat(3, axis=1), atol=2e-4)
    clear = density[:, 1] > 0.02
    np.testing.assert_allclose(equal[clear], equal[clear][:, [1]].repeat(3, axis=1), atol=1e-9)


def test_exposure_undoes_the_films_curve() -> None:
    light = np.geomspace(0.003, 8.0, 40)
    density = density_of(np.repeat(light[:, None], 3, axis=1))[:, 1]
    clear = density > 0.02
    np.testing.assert_allclose(PLAIN.exposure(density[clear]), light[clear], rtol=1e-9)


def test_far_from_the_toe_the_curve_is_straight() -> None:
    # Slope gamma over log10 exposure is the definition.
    light = np.array([4.0, 40.0])
    density = density_of(np.repeat(light[:, None], 3, axis=1))
    np.testing.assert_allclose(np.diff(density, axis=0)[0], PLAIN.gamma, rtol=2e-3)


def test_noise_below_the_base_stays_finite_and_dark() -> None:
    density = np.array([-0.2, -0.02, 0.0])
    for channel in range(3):
        equal = PLAIN.equalised(density, channel)
        assert np.all(np.isfinite(equal))
        assert np.all(equal <= 1e-9)
    np.testing.assert_array_equal(PLAIN.exposure(density), 0.0)


@pytest.mark.parametrize("channel", [0, 1, 2])
def test_brighter_never_becomes_darker(channel: int) -> None:
    grid = np.linspace(-0.05, 3.0, 500)
    assert np.all(np.diff(FilmModel().equalised(grid, channel)) > 0)


def test_toes_of_different_width_are_read_on_one_scale() -> None:
    widths = (0.15, 0.20, 0.28)
    film = FilmModel(gamma=PLAIN.gamma, speed=PLAIN.speed, toe=0.20, toe_ratio=(0.75, 1.0, 1.4))
    x = np.log10(np.geomspace(0.02, 8.0, 40))
    density = [curve(x, PLAIN.gamma[k], PLAIN.speed[k], widths[k]) for k in range(3)]
    equal = np.stack([film.equalised(density[k], k) for k in range(3)], axis=1)
    clear = np.min(density, axis=0) > 0.01
    np.testing.assert_allclose(equal[clear], equal[clear][:, [1]].repeat(3, axis=1), atol=1e-3)


def test_a_slide_is_read_as_it_lets_light_through() -> None:
    light = np.array([0.001, 0.02, 0.4, 1.0, 1.1])
    plain, hazy = (FilmModel(film_kind=FilmKind.SLIDE, stray=stray) for stray in (0.0, 0.0005))
    for channel in range(3):
        np.testing.assert_allclose(plain.exposure(plain.equalised(-np.log10(light), channel)), light)
        np.testing.assert_allclose(hazy.exposure(hazy.equalised(-np.log10(light + 0.0005), channel)), light)


def test_grain_on_clear_film_stays_faint() -> None:
    grain = np.linspace(-0.01, 0.01, 21)
    light = PLAIN.exposure(grain)
    np.testing.assert_allclose(light[10:], light[-1] * grain[10:] / 0.01, atol=1e-12)
    assert np.all(light[:10] == 0.0)
    assert PLAIN.exposure(0.019999) == pytest.approx(PLAIN.exposure(0.020001), rel=1e-3)
