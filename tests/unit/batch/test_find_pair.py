"""Two frames side by side in one shot, of any format, however the camera was held."""

import cv2
import numpy as np
import pytest

from tests.unit.convert.film_shots import BASE_COUNTS, colour_patches, density_of, raw_of
from tethercap.batch.find_pair import find_pair
from tethercap.errors import ConversionError
from tethercap.film.formats import FilmFormat
from tethercap.film.kinds import FilmKind
from tethercap.pictures import F64Array
from tethercap.profile_files import load_film_format

RIM_MM = 1.5


def pair_on_film(film_format: FilmFormat, px_per_mm: int, apart_mm: float) -> F64Array:
    """Counts of two frames on clear film, which runs from left to right."""
    width, height, rim = (round(mm * px_per_mm) for mm in (film_format.along_mm, film_format.across_mm, RIM_MM))
    density = np.zeros((height + 2 * rim, width + round(apart_mm * px_per_mm) + 2 * rim, 3))
    for number, left in enumerate((rim, rim + round(apart_mm * px_per_mm))):
        scene = cv2.resize(colour_patches(4 + number, side=1), (width, height), interpolation=cv2.INTER_NEAREST)
        density[rim : rim + height, left : left + width] = density_of(np.asarray(scene, np.float64))
    grain = np.random.default_rng(1).normal(1.0, 0.01, density.shape)
    return np.asarray(BASE_COUNTS * 10.0**-density * grain)


@pytest.mark.parametrize(("format_id", "px_per_mm"), [("135-18x24", 28), ("135-36x24", 16)])
@pytest.mark.parametrize("is_upright", [False, True])
def test_both_are_found(format_id: str, px_per_mm: int, is_upright: bool) -> None:
    film_format = load_film_format(format_id)
    counts = pair_on_film(film_format, px_per_mm, film_format.pitch_mm)
    raw = raw_of(np.ascontiguousarray(counts.transpose(1, 0, 2)) if is_upright else counts)
    found = find_pair(raw, FilmKind.COLOUR_NEGATIVE, format_id)
    for number, quad in enumerate((found.first, found.second)):
        left, top = (RIM_MM + number * film_format.pitch_mm) * px_per_mm, RIM_MM * px_per_mm
        right, bottom = left + film_format.along_mm * px_per_mm, top + film_format.across_mm * px_per_mm
        wanted = np.array([[left, top], [right, top], [right, bottom], [left, bottom]]) - 0.5
        if is_upright:
            wanted = wanted[[0, 3, 2, 1], ::-1]
        assert np.abs(quad.as_array() - wanted).max() < 4


def test_frames_that_lie_too_far_apart_are_no_pair() -> None:
    counts = pair_on_film(load_film_format("135-36x24"), 16, 44.0)
    with pytest.raises(ConversionError, match="Two frames side by side were not found"):
        find_pair(raw_of(counts), FilmKind.COLOUR_NEGATIVE, "135-36x24")
