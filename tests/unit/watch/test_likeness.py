import cv2
import numpy as np
import pytest

from tethercap.pictures import F32Array
from tethercap.watch.likeness import FEATURELESS, halved, likeness, small_view

SHAPE = (160, 240)


def scene(seed: int, contrast: float = 40.0) -> F32Array:
    rough = np.random.default_rng(seed).normal(size=SHAPE).astype(np.float32)
    smooth = cv2.GaussianBlur(rough, (0, 0), 6.0)
    return np.asarray(120 + contrast * smooth / smooth.std(), np.float32)


def noisy(grey: F32Array, seed: int) -> F32Array:
    return np.asarray(grey + np.random.default_rng(seed).normal(0, 3, grey.shape), np.float32)


def test_the_same_view_is_alike_through_noise_bands_and_exposure() -> None:
    bands = (1 + 0.15 * np.sin(np.linspace(0, 15, SHAPE[0])))[:, None].astype(np.float32)
    again = noisy(scene(1), 3) * bands * np.float32(0.8)
    assert likeness(halved(noisy(scene(1), 2)), halved(again)) > 0.9


def test_the_same_view_a_little_further_on_is_alike() -> None:
    assert likeness(halved(scene(1)), halved(np.roll(scene(1), 6, axis=1))) > 0.9


def test_another_view_is_not() -> None:
    assert likeness(halved(scene(1)), halved(scene(2))) < 0.5


def test_what_shows_nothing_cannot_be_told_apart() -> None:
    flat = np.full(SHAPE, 120, np.float32)
    assert likeness(flat + np.float32(FEATURELESS), flat) == 1.0


def test_views_of_other_size_are_not_alike() -> None:
    assert likeness(scene(1), halved(scene(1))) == -1.0


def test_a_kept_view_holds_whole_codes() -> None:
    small = small_view(scene(1))
    assert small.shape == (32, 48)
    assert np.array_equal(small, np.round(small))
    assert likeness(small, small_view(noisy(scene(1), 5))) == pytest.approx(1.0, abs=0.05)
