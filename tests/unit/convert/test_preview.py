import dataclasses

import numpy as np
import pytest

from tests.unit.convert.film_shots import PLAIN, colour_patches, raw_of, shoot
from tethercap.convert.film_base import FilmBase
from tethercap.convert.pipeline import RollLook, plan_conversion
from tethercap.convert.preview import make_preview
from tethercap.convert.recipe import Border, Recipe
from tethercap.film.kinds import FilmKind

BASE = FilmBase((9000.0, 6000.0, 2600.0))
WHOLE = Recipe(border=Border.WHOLE)


@pytest.mark.parametrize(
    "recipe", [WHOLE, dataclasses.replace(WHOLE, exposure_stops=-1.0, contrast=1.2, saturation=0.6)]
)
@pytest.mark.parametrize("kind", [FilmKind.COLOUR_NEGATIVE, FilmKind.BW_NEGATIVE])
def test_the_preview_looks_as_the_positive_will(kind: FilmKind, recipe: Recipe) -> None:
    from tethercap.convert.render import convert

    shot = shoot(colour_patches(side=80), rim_px=60)
    look = RollLook(model=PLAIN, base=BASE)
    plan = plan_conversion(shot.raw, recipe, corners=shot.corners, film_kind=kind, look=look)
    full = convert(shot.raw, recipe, base=BASE, corners=shot.corners, film_kind=kind, look=look).positive.pixels_rgb
    developed = make_preview(shot.raw, kind, long_side_px=160).develop(recipe, plan.base, PLAIN)
    small = developed.draw(recipe, plan.exposure)
    cell = full.shape[1] // small.shape[1]
    for row in range(4):
        for column in range(6):
            y, x = 60 + row * 80 + 40, 60 + column * 80 + 40
            wanted = full[y - 10 : y + 10, x - 10 : x + 10].mean(axis=(0, 1))[::-1] / 257
            np.testing.assert_allclose(small[y // cell, x // cell], wanted, atol=2.0)


def test_the_flat_field_is_taken_out_of_a_preview_too() -> None:
    from tethercap.convert.flat_field import measure_flat_field

    light = np.linspace(0.4, 1.0, 640)[:, None] * np.array([8000.0, 15000.0, 10000.0])
    uneven = raw_of(np.broadcast_to(light, (448, 640, 3)))
    even = make_preview(uneven, FilmKind.SLIDE, 160, measure_flat_field(uneven)).film
    # At the picture's edges the light is known less well, as in a conversion.
    assert np.ptp(even[24:-24, 24:-24], axis=(0, 1)).max() < 0.006
    assert np.ptp(make_preview(uneven, FilmKind.SLIDE, 160).film[..., 1]) > 0.3


def test_a_preview_is_no_larger_than_asked() -> None:
    shot = shoot(colour_patches(side=80), rim_px=60)
    assert max(make_preview(shot.raw, FilmKind.COLOUR_NEGATIVE, long_side_px=100).film.shape) <= 100
