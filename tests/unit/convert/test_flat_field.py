import numpy as np
import pytest

from tests.unit.convert.film_shots import BASE_COUNTS, raw_of
from tethercap.convert.cells import measure_cells
from tethercap.convert.flat_field import measure_flat_field
from tethercap.errors import ConversionError


def falloff(height: int = 400, width: int = 600) -> np.ndarray:
    y, x = np.mgrid[0:height, 0:width]
    radius = np.hypot((x - 0.6 * width) / width, (y - 0.4 * height) / width)
    return np.asarray(1.0 - 0.3 * (radius / 0.8) ** 2)


def test_unevenness_is_measured_per_place() -> None:
    light = falloff()
    flat = measure_flat_field(raw_of(light[..., None] * BASE_COUNTS))
    for colour in range(3):
        density = flat.rows(64, 336, colour)
        truth = -np.log10(light[64:336:2, ::2])
        np.testing.assert_allclose(density[:, 32:-32], truth[:, 32:-32], atol=0.004)


def test_noise_of_the_light_is_not_passed_on() -> None:
    rng = np.random.default_rng(1)
    light = falloff()[..., None] * BASE_COUNTS
    flat = measure_flat_field(raw_of(light + rng.normal(0, 90, light.shape)))
    rows = flat.rows(64, 336, 1)
    assert np.abs(rows[:, 32:-32] + np.log10(falloff()[64:336:2, ::2][:, 32:-32])).max() < 0.006


def test_rows_are_the_same_in_whatever_portions_they_are_asked_for() -> None:
    flat = measure_flat_field(raw_of(falloff()[..., None] * BASE_COUNTS))
    whole = flat.rows(0, 400, 0)
    parts = np.concatenate([flat.rows(first, min(first + 64, 400), 0) for first in range(0, 400, 64)])
    np.testing.assert_array_equal(parts, whole)


@pytest.mark.parametrize(("level", "word"), [(2.5, "clipped"), (0.005, "dark")])
def test_an_unusable_picture_of_the_light_is_refused(level: float, word: str) -> None:
    with pytest.raises(ConversionError, match=word):
        measure_flat_field(raw_of(level * falloff()[..., None] * BASE_COUNTS))


@pytest.mark.parametrize("size", [(300, 500), (800, 1200), (600, 400)])
def test_a_picture_of_another_size_than_the_flat_field_is_refused(size: tuple[int, int]) -> None:
    flat = measure_flat_field(raw_of(falloff(*size)[..., None] * BASE_COUNTS))
    with pytest.raises(ConversionError, match=f"{size[1]} x {size[0]}.*600 x 400"):
        measure_cells(raw_of(falloff()[..., None] * BASE_COUNTS), flat)
