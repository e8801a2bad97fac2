import numpy as np

from tethercap.convert.bows import bows_before, steps_to_bows
from tethercap.convert.film_model import second_order

MATRIX = np.array([[1.2, -0.3, 0.1], [-0.1, 1.2, -0.1], [0.0, -0.2, 1.2]])


def test_bows_before_the_matrix_are_those_after_it() -> None:
    """Against the formula of the film model, worked out in double precision."""
    rng = np.random.default_rng(2)
    equal, bows = rng.uniform(0.0, 2.0, (500, 3)), rng.normal(0.0, 0.2, (3, 5))
    red, green, blue = (column.astype(np.float32) for column in equal.T)
    added, steps = steps_to_bows(bows_before(MATRIX, bows), (green, red - green, blue - green))
    for step in steps:
        step()
    of_green, of_red, of_blue = (bow.astype(np.float64) for bow in added)
    bowed = equal + np.stack([of_green + of_red, of_green, of_green + of_blue], axis=-1)
    np.testing.assert_allclose(bowed @ MATRIX.T, equal @ MATRIX.T + second_order(equal) @ bows.T, atol=2e-5)


def test_greys_have_no_bows() -> None:
    grey, none = np.linspace(0.0, 2.0, 16, dtype=np.float32), np.zeros(16, np.float32)
    added, steps = steps_to_bows(bows_before(MATRIX, np.full((3, 5), 0.3)), (grey, none, none.copy()))
    for step in steps:
        step()
    np.testing.assert_array_equal(np.stack(added), 0.0)
