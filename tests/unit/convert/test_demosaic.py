import numpy as np
import pytest

from tests.unit.convert.film_shots import raw_of
from tethercap.convert.demosaic import MARGIN_PX, demosaic
from tethercap.pictures import F32Array

PATTERNS = [(0, 1, 1, 2), (2, 1, 1, 0), (1, 0, 2, 1), (1, 2, 0, 1)]


def band_of(rgb: np.ndarray, pattern: tuple[int, int, int, int]) -> F32Array:
    band = np.empty(rgb.shape[:2], np.float32)
    for place, channel in enumerate(pattern):
        row, column = divmod(place, 2)
        band[row::2, column::2] = rgb[row::2, column::2, channel]
    return band


@pytest.mark.parametrize("pattern", PATTERNS)
def test_a_slope_of_grey_is_kept_exactly(pattern: tuple[int, int, int, int]) -> None:
    y, x = np.mgrid[0:32, 0:48]
    grey = np.repeat((0.3 + 0.004 * x + 0.006 * y)[..., None], 3, axis=2)
    out = demosaic(band_of(grey, pattern), np.array(pattern, np.uint8).reshape(2, 2))
    np.testing.assert_allclose(out[4:-4, 4:-4], grey[4:-4, 4:-4], atol=1e-6)


@pytest.mark.parametrize("pattern", PATTERNS)
def test_even_colour_is_kept_exactly(pattern: tuple[int, int, int, int]) -> None:
    colour = np.broadcast_to([0.2, 0.7, 1.3], (32, 48, 3))
    out = demosaic(band_of(colour, pattern), np.array(pattern, np.uint8).reshape(2, 2))
    np.testing.assert_allclose(out, colour, atol=1e-6)


@pytest.mark.parametrize("pattern", PATTERNS)
def test_known_values_pass_unchanged(pattern: tuple[int, int, int, int]) -> None:
    rgb = np.random.default_rng(1).random((32, 48, 3))
    band = band_of(rgb, pattern)
    out = demosaic(band, np.array(pattern, np.uint8).reshape(2, 2))
    for place, channel in enumerate(pattern):
        row, column = divmod(place, 2)
        np.testing.assert_array_equal(out[row::2, column::2, channel], band[row::2, column::2])


def test_the_margin_is_enough_for_bands_to_join() -> None:
    band = np.random.default_rng(2).random((64, 48)).astype(np.float32)
    pattern = np.array([[0, 1], [1, 2]], np.uint8)
    whole = demosaic(band, pattern)
    middle = demosaic(np.ascontiguousarray(band[24 - MARGIN_PX : 40 + MARGIN_PX]), pattern)
    np.testing.assert_array_equal(middle[MARGIN_PX:-MARGIN_PX], whole[24:40])


def test_balance_is_what_keeps_grey_detail_grey() -> None:
    """Fine grey detail through an orange mask: interpolated raw it is coloured, over the base it is grey."""
    rng = np.random.default_rng(3)
    detail = rng.normal(0.5, 0.15, (64, 64))
    transmittance = np.repeat(10.0 ** -detail[..., None], 3, axis=2)
    mask = np.array([9000.0, 6000.0, 2600.0])
    raw = raw_of(transmittance * mask)
    counts = raw.mosaic.astype(np.float32) - np.float32(512)
    masked = demosaic(counts, raw.pattern) / mask
    density = np.empty_like(counts)
    for place, channel in enumerate((0, 1, 1, 2)):
        row, column = divmod(place, 2)
        density[row::2, column::2] = -np.log10(counts[row::2, column::2] / mask[channel])
    over_base = 10.0 ** -demosaic(density, raw.pattern)
    error_masked = np.abs(masked - transmittance)[4:-4, 4:-4].mean()
    error_over_base = np.abs(over_base - transmittance)[4:-4, 4:-4].mean()
    assert error_over_base < 0.8 * error_masked
