"""The second drawing tells the truth about its own pictures."""

import itertools

import cv2
import numpy as np
import pytest

from tests.film_second.pictures import draw
from tests.film_second.pulls import RATE, RolledFilm
from tethercap.pictures import F64Array, U8Array


def steps_off_px(pixels: U8Array, start: F64Array, end: F64Array, reach_px: int = 8) -> F64Array:
    """Where the tone is half-way from one side of an edge to the other, at places along it, px from its line."""
    along = (end - start) / np.hypot(*(end - start))
    normal = np.array([along[1], -along[0]])
    away = np.arange(-reach_px, reach_px + 0.1, 0.25)
    places = start + (end - start) * np.linspace(0.15, 0.85, 60)[:, None]
    sampled = (places[:, None] + away[:, None] * normal).astype(np.float32)
    grey = cv2.GaussianBlur(pixels.max(axis=2), (0, 0), 1.0).astype(np.float32)
    tones = cv2.remap(grey, sampled[..., 0], sampled[..., 1], cv2.INTER_LINEAR)
    inside, outside = tones[:, :6].mean(axis=1), tones[:, -6:].mean(axis=1)
    clear = np.abs(outside - inside) > 60
    crossed = (tones - ((inside + outside) / 2)[:, None]) * np.sign(outside - inside)[:, None] > 0
    return np.asarray(away[crossed.argmax(axis=1)][clear])


@pytest.mark.parametrize("seed", [5, 35, 27])
def test_edges_are_where_the_truth_says(seed: int) -> None:
    drawn = draw(seed, "easy")
    off = [
        steps_off_px(drawn.pixels, drawn.corners[side], drawn.corners[(side + 1) % 4])
        for side in range(4)
        if drawn.seen[side]
    ]
    assert len(off) == 4
    assert abs(float(np.median(np.concatenate(off)))) < 0.006 * drawn.pixels.shape[1] / 4


def test_a_seed_gives_the_same_picture_again() -> None:
    one, two = draw(11), draw(11)
    assert np.array_equal(one.pixels, two.pixels)
    assert np.array_equal(one.corners, two.corners)
    assert one.hazards == two.hazards


def test_impossible_pictures_show_no_edge() -> None:
    assert max(draw(4, "impossible").shares) < 0.05


def test_a_pulled_strip_knows_where_it_lies() -> None:
    roll = RolledFilm(3, "none", strips=1, frames=2, size=(320, 212))
    stay = roll.stays[-1]
    place = roll.place_at(stay.to_s - 0.05)
    assert place.frame == stay.frame
    assert abs(place.x_mm) < 0.4
    assert place.speed_mm_s < 0.3
    shown = list(itertools.islice(roll.shown(), 20))
    assert [s.number for s in shown] == list(range(20))
    assert shown[1].at_s == pytest.approx(1 / RATE)
    assert shown[0].picture.shape == (212, 320, 3)
