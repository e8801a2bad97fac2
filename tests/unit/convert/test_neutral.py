import dataclasses

import numpy as np

from tests.unit.convert.film_shots import density_of
from tethercap.convert.film_model import FilmModel
from tethercap.convert.neutral import estimate_neutral
from tethercap.convert.usual_film import usual_film
from tethercap.film.kinds import FilmKind

USUAL = usual_film(FilmKind.COLOUR_NEGATIVE)
TRUTH = FilmModel(gamma=(0.56, 0.66, 0.70), speed=(-1.32, -1.40, -1.34), toe=0.2)


def frame(seed: int, tint: tuple[float, float, float] = (1.0, 1.0, 1.0)) -> np.ndarray:
    """A scene of shaded surfaces, some grey, some coloured, its brightest parts near white."""
    rng = np.random.default_rng(seed)
    surfaces = rng.uniform(0.1, 0.7, (6, 8, 1)) * (1.0 + 0.5 * rng.standard_normal((6, 8, 3)).clip(-1, 1))
    surfaces[rng.random((6, 8)) < 0.3] = rng.uniform(0.2, 0.9)
    surfaces[0, :3] = (0.92, 0.90, 0.88)
    light = np.repeat(np.repeat(surfaces, 8, axis=0), 8, axis=1).clip(0.01, 1.0)
    shade = 2.0 ** rng.uniform(-1.5, 0.0, (48, 64))
    return np.asarray(light * shade[..., None] * np.array(tint))


def grey_error(model: FilmModel) -> float:
    greys = np.repeat(np.geomspace(0.02, 3.0, 20)[:, None], 3, axis=1)
    density = density_of(greys, TRUTH)
    equal = np.stack([model.equalised(density[:, k], k) for k in range(3)], axis=1)
    return float(np.abs(equal - equal[:, [1]]).mean())


def test_a_roll_tells_its_neutral() -> None:
    frames = [density_of(frame(seed) * 2.0 ** (seed % 3), TRUTH) for seed in range(8)]
    found = estimate_neutral(frames, USUAL)
    assert grey_error(found) < 0.5 * grey_error(USUAL.model())
    assert grey_error(found) < 0.02


def test_frames_full_of_one_colour_do_not_pull_the_neutral_away() -> None:
    plain = [density_of(frame(seed), TRUTH) for seed in range(8)]
    meadows = [density_of(frame(seed, (0.5, 1.0, 0.25)), TRUTH) for seed in range(20, 24)]
    assert grey_error(estimate_neutral([*plain, *meadows], USUAL)) < 0.02


def test_nothing_to_go_by_leaves_the_usual() -> None:
    usual = USUAL.model()
    assert estimate_neutral([], USUAL) == usual
    assert estimate_neutral([np.full((20, 30, 3), np.nan)], USUAL) == usual
    assert estimate_neutral([np.zeros((20, 30, 3))], USUAL) == usual


def test_film_is_not_bent_to_make_colours_look_grey() -> None:
    middle, bends = USUAL.middle.copy(), np.zeros((len(USUAL.middle), 1))
    middle[7:12] = 0.0
    bends[9:12] = 0.1
    usual = dataclasses.replace(USUAL, middle=middle, spread=bends)
    tints = [(0.4, 1.0, 0.6), (1.0, 0.5, 0.4), (0.5, 0.7, 1.0), (1.0, 0.8, 0.3)]
    frames = [density_of(frame(seed, tints[seed % 4]) * 2.0 ** (seed % 3), usual.model()) for seed in range(8)]
    found = estimate_neutral(frames, usual)
    np.testing.assert_allclose(found.bend, 0.0, atol=0.03)
