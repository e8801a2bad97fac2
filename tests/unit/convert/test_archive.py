"""Film as measured: the numbers are what the scale says, dust and all."""

import numpy as np
import pytest

from tests.unit.convert.film_shots import BASE_COUNTS, raw_of
from tests.unit.image_files.dng_writer import BLACK, WHITE
from tethercap.convert.archive import DENSITY_STEPS, DENSITY_ZERO, ArchiveKind, ArchivePlan, render_archive
from tethercap.convert.crop import lay_out
from tethercap.convert.film_base import FilmBase
from tethercap.convert.flat_field import measure_flat_field
from tethercap.convert.recipe import Border, Recipe, Turn
from tethercap.geometry import QuadPx
from tethercap.pictures import F64Array, RawPicture, U16Array

BASE = FilmBase((float(BASE_COUNTS[0]), float(BASE_COUNTS[1]), float(BASE_COUNTS[2])))


def wedge(height: int = 200, width: int = 320) -> F64Array:
    """Density over base, the same in each channel, 0 to 1.6 from left to right in steps."""
    steps = np.repeat(np.linspace(0.0, 1.6, 16), width // 16)
    return np.repeat(np.broadcast_to(steps, (height, width))[..., None], 3, axis=2)


def rendered(raw: RawPicture, kind: ArchiveKind, recipe: Recipe, corners: QuadPx | None = None) -> U16Array:
    layout = lay_out(raw.size, corners, recipe)
    size = layout.turned_size
    out = np.zeros((size.height_px, size.width_px, 3), np.uint16)

    def put(first: int, rows: U16Array) -> None:
        out[first : first + len(rows)] = rows

    render_archive(ArchivePlan(kind, layout, BASE), raw, None, put)
    return out


def step_means(pixels: np.ndarray, width: int = 20) -> np.ndarray:
    return np.array([pixels[60:140, k * width + 5 : (k + 1) * width - 5].mean(axis=(0, 1)) for k in range(16)])


def test_densities_are_what_the_scale_says() -> None:
    density = wedge()
    raw = raw_of(BASE_COUNTS * 10.0**-density)
    pixels = rendered(raw, ArchiveKind.DENSITY, Recipe(border=Border.WHOLE))
    found = (step_means(pixels.astype(float)) - DENSITY_ZERO) / DENSITY_STEPS
    np.testing.assert_allclose(found, np.repeat(np.linspace(0, 1.6, 16)[:, None], 3, axis=1), atol=0.004)


def test_linear_light_is_counts_over_saturation() -> None:
    counts = BASE_COUNTS * 10.0 ** -wedge()
    pixels = rendered(raw_of(counts), ArchiveKind.LINEAR, Recipe(border=Border.WHOLE))
    wanted = step_means(counts) / (WHITE - BLACK) * 65535
    np.testing.assert_allclose(step_means(pixels.astype(float)), wanted, rtol=0.012)


def test_nothing_is_taken_out_or_sharpened() -> None:
    counts = np.broadcast_to(BASE_COUNTS * 10.0**-0.5, (200, 320, 3)).copy()
    counts[100:106, 150:156] = BASE_COUNTS * 10.0**-2.0  # dust
    pixels = rendered(raw_of(counts), ArchiveKind.DENSITY, Recipe(border=Border.WHOLE))
    density = (pixels.astype(float) - DENSITY_ZERO) / DENSITY_STEPS
    assert density[102:104, 152:154].min() > 1.9
    rim = density[90:116, 140:166]
    assert rim.min() > 0.45, "no halo"


def test_the_unevenness_of_the_light_is_taken_out() -> None:
    fall_off = (1.0 - 0.2 * np.linspace(0, 1, 320) ** 2)[None, :, None]
    flat = measure_flat_field(raw_of(np.array([8000.0, 15000.0, 10000.0]) * np.broadcast_to(fall_off, (200, 320, 1))))
    raw = raw_of(BASE_COUNTS * fall_off * np.ones((200, 320, 3)))
    layout = lay_out(raw.size, None, Recipe(border=Border.WHOLE))
    rows: list[U16Array] = []
    render_archive(ArchivePlan(ArchiveKind.DENSITY, layout, BASE), raw, flat, lambda _first, band: rows.append(band))
    density = (np.concatenate(rows).astype(float) - DENSITY_ZERO) / DENSITY_STEPS
    assert np.abs(density[20:-20, 20:-20]).max() < 0.01


@pytest.mark.parametrize("kind", list(ArchiveKind))
def test_it_is_squared_and_turned_by_the_recipe(kind: ArchiveKind) -> None:
    raw = raw_of(BASE_COUNTS * 10.0 ** -wedge())
    corners = QuadPx.from_array([[19.5, 19.5], [299.5, 19.5], [299.5, 179.5], [19.5, 179.5]])
    upright = rendered(raw, kind, Recipe(border=Border.FRAME), corners)
    turned = rendered(raw, kind, Recipe(border=Border.FRAME, turn=Turn.QUARTER, mirrored=True), corners)
    np.testing.assert_array_equal(turned, np.rot90(upright[:, ::-1], 3))


def test_what_the_numbers_mean_is_said() -> None:
    layout = lay_out(raw_of(np.ones((4, 4, 3))).size, None, Recipe(border=Border.WHOLE))
    density, linear = (ArchivePlan(kind, layout, BASE) for kind in (ArchiveKind.DENSITY, ArchiveKind.LINEAR))
    assert "D = (value - 2000) / 10000" in density.sentence
    assert density.facts["zero"] == 2000
    assert linear.facts["full_scale"] == 65535
    assert density.facts["base_counts_rgb"] == [round(float(count), 3) for count in BASE_COUNTS]
