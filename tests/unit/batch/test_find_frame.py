"""Which part of a RAW is taken for the picture on the film, where nobody said what format it is."""

import numpy as np

from tests.unit.convert.film_shots import BASE_COUNTS, raw_of
from tethercap.batch.find_frame import find_frame
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx


def found_on_clear_film(width_px: int, height_px: int) -> QuadPx | None:
    """Look for a frame of one even tone in the middle of clear film."""
    density = np.zeros((800, 1200, 3))
    top, left = (800 - height_px) // 2, (1200 - width_px) // 2
    density[top : top + height_px, left : left + width_px] = 0.9
    return find_frame(raw_of(BASE_COUNTS * 10.0**-density), FilmKind.COLOUR_NEGATIVE)


def test_a_frame_that_fills_the_view_is_found() -> None:
    found = found_on_clear_film(990, 660)
    assert found is not None
    np.testing.assert_allclose(np.ptp(found.as_array(), axis=0), [990, 660], atol=6)


def test_a_square_of_the_scene_is_no_frame() -> None:
    assert found_on_clear_film(300, 300) is None
