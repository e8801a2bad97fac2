import numpy as np
import numpy.typing as npt

from tethercap.watch.tones import base_tone

ORANGE = np.array([105, 142, 228], np.float32)
STEP = np.full(12, 60, np.float32)


def _base(brighter: npt.ArrayLike, film: npt.ArrayLike, light: float) -> npt.NDArray[np.float32]:
    outside = np.array([brighter] * 6 + [film] * 6, np.float32)
    return base_tone(outside, STEP, light)


def test_base_where_more_light_falls_is_no_bare_light() -> None:
    # The brightest thing in view is the base itself, since the holder hides all light but its own edge's shadow.
    assert np.allclose(_base(ORANGE, 0.86 * ORANGE, float(ORANGE.mean()) * 1.02), ORANGE)


def test_bare_light_beside_film_is_not_taken_for_its_base() -> None:
    light = np.full(3, 240, np.float32)
    assert np.allclose(_base(light, 0.9 * ORANGE, 240.0), 0.9 * ORANGE)
    grey = np.full(3, 185, np.float32)
    assert np.allclose(_base(light, grey, 240.0), grey)
