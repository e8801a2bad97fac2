import numpy as np
import numpy.typing as npt

from tethercap.watch.tones import SideTones, base_tone, score_sides

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


def test_frames_judged_together_are_judged_as_each_alone() -> None:
    """Of one frame a leak darkens the base gradually, of the other all at once; one is narrower."""
    side = np.repeat(np.arange(4), 6)
    leak = 1 - 0.6 * np.exp(-(((np.arange(24) - 2) / 3) ** 2))
    shadow = np.where(np.arange(24) < 5, 0.5, 1.0)
    outside = np.stack([ORANGE * level[:, None] for level in (leak, shadow)]).astype(np.float32)
    within = np.array([np.full(24, True), ~np.isin(np.arange(24), (0, 5, 12, 17))])
    tones = SideTones(outside, np.full_like(outside, 40), side, within)
    scores, base = score_sides(tones, inverted=False, light=250.0)
    assert scores[0, 0, 0] > scores[1, 0, 0]
    for frame in (0, 1):
        one = slice(frame, frame + 1)
        alone = SideTones(outside[one], tones.inside[one], side, within[one])
        own_scores, own_base = score_sides(alone, inverted=False, light=250.0)
        assert np.array_equal(scores[one], own_scores)
        assert np.array_equal(base[one], own_base)
