"""Exposures of one frame become one: the light is kept, noise falls, clipping is filled, strangers are refused."""

from functools import cache

import numpy as np
import pytest

from tests.unit.convert.film_shots import raw_of
from tests.unit.image_files.dng_writer import BLACK, WHITE
from tethercap.convert.film_model import FilmModel
from tethercap.convert.flat_field import measure_flat_field
from tethercap.convert.merge import merge_exposures
from tethercap.convert.pipeline import RollLook
from tethercap.convert.recipe import Border, Recipe
from tethercap.convert.render import convert
from tethercap.errors import ConversionError
from tethercap.film.kinds import FilmKind
from tethercap.pictures import F64Array, RawPicture

SHAPE = (480, 640)
SLIDE = FilmKind.SLIDE


@cache
def scene(seed: int = 3, shift: tuple[float, float] = (0.0, 0.0), turn_deg: float = 0.0) -> F64Array:
    """Smooth light with blobs, exact at any shift: 0.02 .. 1, shape (height, width, 3)."""
    random = np.random.default_rng(seed)
    y, x = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]].astype(float)
    turn = np.radians(turn_deg)
    x, y = x - 320 - shift[0], y - 240 - shift[1]
    x, y = np.cos(turn) * x + np.sin(turn) * y + 320, -np.sin(turn) * x + np.cos(turn) * y + 240
    light = 0.06 + 0.05 * x / SHAPE[1]
    for _ in range(110):
        cx, cy = random.uniform(-20, SHAPE[1] + 20), random.uniform(-20, SHAPE[0] + 20)
        size, height = random.uniform(4, 14), random.uniform(0.02, 0.35)
        light = light + height * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * size**2))
    return np.asarray(np.repeat(np.clip(light, 0, 1.2)[..., None], 3, axis=2) * np.array([0.6, 1.0, 0.7]))


def shot(light: F64Array, exposure: float, seed: int) -> RawPicture:
    """Counts with the noise of photons, 4 electrons a count, and of reading."""
    random = np.random.default_rng(seed)
    counts = light * exposure * 14000.0
    noisy = random.poisson(counts * 4.0) / 4.0 + random.normal(0.0, 2.0, counts.shape)
    return raw_of(noisy)


def planes(raw: RawPicture) -> F64Array:
    """Counts over black of the second green, as at the shortest exposure of 14 bits."""
    scale = raw.white / WHITE
    return np.asarray((raw.mosaic[1::2, 0::2].astype(float) / scale - BLACK)[20:-20, 20:-20])


def truth(exposure: float, light: F64Array) -> F64Array:
    return (light[1::2, 0::2, 1] * exposure * 14000.0)[20:-20, 20:-20]


def rms(values: F64Array) -> float:
    return float(np.sqrt(np.mean(values**2)))


def test_repeats_lower_the_noise_by_the_root_of_their_number() -> None:
    light = scene() * 0.5
    raws = [shot(light, 1.0, seed) for seed in range(4)]
    wanted = truth(1.0, light)
    single, merged = rms(planes(raws[0]) - wanted), rms(planes(merge_exposures(raws).raw) - wanted)
    assert merged == pytest.approx(single / 2, rel=0.08)


def test_a_bracket_keeps_what_the_long_one_clips_and_gains_in_the_dark() -> None:
    light = scene()
    raws = [shot(light, exposure, seed) for seed, exposure in enumerate((4.0, 0.5))]
    found = merge_exposures(raws)
    np.testing.assert_allclose(found.exposures, (8.0, 1.0), rtol=0.003)
    wanted = truth(0.5, light)
    got, alone = planes(found.raw), planes(raws[1])
    dark, bright = wanted < 1200, wanted > 3000
    assert rms((got - wanted)[dark]) < 0.5 * rms((alone - wanted)[dark])
    assert rms((got - wanted)[bright]) < 1.1 * rms((alone - wanted)[bright])
    assert abs(np.mean((got - wanted)[bright])) < 0.004 * float(wanted[bright].mean())


@pytest.mark.parametrize(
    ("shift", "turn_deg"), [((0.0, 0.0), 0.0), ((1.0, 0.0), 0.0), ((3.4, -2.3), 0.0), ((2.7, 4.1), 0.08)]
)
def test_movement_is_found_to_a_small_part_of_a_pixel(shift: tuple[float, float], turn_deg: float) -> None:
    light = scene() * 0.5
    raws = [shot(light, 1.0, 1), shot(scene(shift=shift, turn_deg=turn_deg) * 0.5, 1.0, 2)]
    found = merge_exposures(raws)
    assert found.movement_px[1] == pytest.approx(float(np.hypot(*shift)), abs=0.12)
    wanted = truth(1.0, light)
    assert rms(planes(found.raw) - wanted) < 0.85 * rms(planes(raws[0]) - wanted)


def test_a_slide_of_several_exposures_is_as_bright_over_the_bare_light_as_one_of_them() -> None:
    raws = [shot(scene() * 0.5, 1.0, seed) for seed in (1, 2)]
    look = RollLook(flat=measure_flat_field(raw_of(np.full((*SHAPE, 3), 9000.0))), model=FilmModel(film_kind=SLIDE))
    recipe = Recipe(border=Border.WHOLE)
    one, merged = (
        convert(raw, recipe, base=None, corners=None, film_kind=SLIDE, look=look).positive.pixels_rgb
        for raw in (raws[0], merge_exposures(raws).raw)
    )
    assert merged.mean() == pytest.approx(one.mean(), rel=0.01)


def test_other_pictures_are_refused() -> None:
    with pytest.raises(ConversionError, match="do not show the same frame"):
        merge_exposures([shot(scene(3), 0.5, 1), shot(scene(9), 0.5, 2)])


def test_other_sizes_are_refused() -> None:
    with pytest.raises(ConversionError, match="one camera"):
        merge_exposures([shot(scene(), 0.5, 1), raw_of(np.full((100, 100, 3), 500.0))])


def test_exposures_too_far_apart_are_refused() -> None:
    light = np.full((*SHAPE, 3), 0.9)
    with pytest.raises(ConversionError, match="clipping"):
        merge_exposures([shot(light, 4.0, 1), shot(light, 0.001, 2)])


def test_the_pictures_themselves_stay_as_they_are() -> None:
    raws = [shot(scene() * 0.5, 1.0, seed) for seed in (1, 2)]
    before = [raw.mosaic.copy() for raw in raws]
    merge_exposures(raws)
    for raw, mosaic in zip(raws, before, strict=True):
        np.testing.assert_array_equal(raw.mosaic, mosaic)
