"""Tiles: put together they are the picture that one tile alone would have been, and what they hold is the model's."""

import dataclasses

import numpy as np
import pytest

from tests.unit.convert.film_shots import BASE_COUNTS, PLAIN, colour_patches, raw_of, shoot
from tethercap.convert import develop
from tethercap.convert.develop import DevelopTables, Tray, layers_of
from tethercap.convert.exposure import PrintExposure
from tethercap.convert.film_base import FilmBase
from tethercap.convert.film_model import FilmModel
from tethercap.convert.flat_field import FlatField, measure_flat_field
from tethercap.convert.pipeline import make_tables
from tethercap.convert.printing import print_layers
from tethercap.convert.recipe import Recipe
from tethercap.film.kinds import FilmKind
from tethercap.pictures import RawPicture, U16Array

BASE = FilmBase((9000.0, 6000.0, 2600.0))
BOWED = dataclasses.replace(
    PLAIN,
    density_matrix=((1.2, -0.3, 0.1), (-0.1, 1.2, -0.1), (0.0, -0.2, 1.2)),
    density_bows=((0.1, 0.0, 0.05, 0.02, 0.0), (0.0, 0.1, 0.0, 0.0, 0.1), (0.0, 0.0, -0.1, 0.0, 0.05)),
)


def noisy_raw(height: int, width: int) -> RawPicture:
    rng = np.random.default_rng(5)
    return raw_of(BASE_COUNTS * 10.0 ** -rng.uniform(0.0, 1.8, (height, width, 3)))


def flat_for(raw: RawPicture) -> FlatField:
    height, width = raw.mosaic.shape
    y, x = np.mgrid[0:height, 0:width]
    light = 1.0 - 0.3 * x / width - 0.1 * y / height
    return measure_flat_field(raw_of(light[..., None] * np.array([14000.0, 13000.0, 11000.0])))


def tables_for(raw: RawPicture, kind: FilmKind, *, with_flat: bool) -> DevelopTables:
    model = dataclasses.replace(BOWED, film_kind=kind)
    return make_tables(raw, BASE, model, PrintExposure(1.3, 0.01), Recipe(), kind, with_flat=with_flat)


def developed(raw: RawPicture, kind: FilmKind, flat: FlatField | None, *, half_size: bool = False) -> U16Array:
    tray = Tray(raw, tables_for(raw, kind, with_flat=flat is not None), flat, half_size=half_size)
    height, width = develop.even_sides(raw)
    scale = 2 if half_size else 1
    out = np.zeros((height // scale, width // scale, 3), np.uint16)
    tray.develop(0, height, out)
    return out


@pytest.mark.parametrize("kind", [FilmKind.COLOUR_NEGATIVE, FilmKind.SLIDE])
@pytest.mark.parametrize("with_flat", [True, False])
@pytest.mark.parametrize("half_size", [True, False])
def test_tiles_join(kind: FilmKind, with_flat: bool, half_size: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    raw = noisy_raw(203, 331)
    flat = flat_for(raw) if with_flat else None
    monkeypatch.setattr(develop, "BAND_ROWS", 4096)
    monkeypatch.setattr(develop, "TILE_COLUMNS", 4096)
    whole = developed(raw, kind, flat, half_size=half_size)
    monkeypatch.setattr(develop, "BAND_ROWS", 32)
    monkeypatch.setattr(develop, "TILE_COLUMNS", 64)
    # Vector instructions round a number at the end of a plane in another way.
    assert np.abs(developed(raw, kind, flat, half_size=half_size).astype(int) - whole).max() <= 30


def test_any_rows_may_be_asked_for() -> None:
    raw = noisy_raw(300, 64)
    tray = Tray(raw, tables_for(raw, FilmKind.COLOUR_NEGATIVE, with_flat=False), None, half_size=False)
    whole = developed(raw, FilmKind.COLOUR_NEGATIVE, None)
    for first, last in ((0, 2), (40, 300), (298, 300), (130, 262)):
        out = np.zeros((last - first, 64, 3), np.uint16)
        tray.develop(first, last, out)
        np.testing.assert_array_equal(out, whole[first:last])


@pytest.mark.parametrize("half_size", [True, False])
def test_even_patches_are_what_the_model_says(half_size: bool) -> None:
    shot = shoot(colour_patches(side=64), rim_px=32)
    scale = 2 if half_size else 1
    tables = tables_for(shot.raw, FilmKind.COLOUR_NEGATIVE, with_flat=True)
    got = developed(shot.raw, FilmKind.COLOUR_NEGATIVE, None, half_size=half_size)
    for row in range(4):
        for column in range(6):
            middle = (32 + 64 * row + 32, 32 + 64 * column + 32)
            cell = shot.raw.mosaic[middle[0] : middle[0] + 2, middle[1] : middle[1] + 2].astype(float) - shot.raw.black
            counts = np.array([cell[0, 0], (cell[0, 1] + cell[1, 0]) / 2, cell[1, 1]])
            density = -np.log10(counts / BASE.counts_rgb).astype(np.float32)
            printed = print_layers(layers_of(np.tile(density, (8, 8, 1)), tables), tables.printing)[0, 0]
            wanted = tables.printing.encode[printed].astype(int)
            assert np.abs(got[middle[0] // scale, middle[1] // scale] - wanted).max() <= 60


def test_light_of_a_slide_is_light() -> None:
    """Twice the light gives a print twice as bright, in a space that is linear up to the highlights' shoulder."""
    from tethercap.convert.spaces import SPACES

    levels = [0.1, 0.2, 0.4]
    raws = [raw_of(np.full((64, 64, 3), level) * BASE_COUNTS) for level in levels]
    slide = FilmModel(film_kind=FilmKind.SLIDE)
    plain = [
        make_tables(raw, BASE, slide, PrintExposure(1.0), Recipe(), FilmKind.SLIDE, with_flat=False) for raw in raws
    ]
    light = []
    for raw, tables in zip(raws, plain, strict=True):
        out = np.zeros((64, 64, 3), np.uint16)
        Tray(raw, tables, None, half_size=False).develop(0, 64, out)
        light.append(SPACES[Recipe().space].curve.decode(out[32, 32] / 65535.0))
    np.testing.assert_allclose(np.array(light), np.array(levels)[:, None] * np.ones(3), rtol=2e-3)
