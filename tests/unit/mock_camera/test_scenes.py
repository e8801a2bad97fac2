from __future__ import annotations

import cv2
import numpy as np
import pytest

from mock_camera import scenes
from mock_camera.painter import linear


@pytest.mark.parametrize("name", sorted(scenes.SCENES))
@pytest.mark.parametrize("size", [(300, 200), (200, 200), (150, 200)])
def test_every_scene_fits_every_shape_of_frame(name: str, size: tuple[int, int]) -> None:
    picture = scenes.draw(name, 3, *size)
    assert picture.shape == (size[1], size[0], 3)
    assert picture.dtype == np.float32
    assert np.isfinite(picture).all()
    assert picture.min() > 0.0
    # A picture of something: highlights, shadows and detail.
    assert np.percentile(picture, 98) / np.percentile(picture, 2) > 4.0


@pytest.mark.parametrize("name", sorted(scenes.MIXTURE))
def test_ordinary_scenes_are_exposed_in_the_middle(name: str) -> None:
    middle = np.exp(np.log(scenes.draw(name, 3, 300, 200)).mean())
    assert 0.02 < middle < 0.6


@pytest.mark.parametrize("name", sorted(scenes.SCENES))
def test_the_same_seed_gives_the_same_scene_at_any_size(name: str) -> None:
    small, large = scenes.draw(name, 3, 300, 200), scenes.draw(name, 3, 600, 400)
    assert np.array_equal(small, scenes.draw(name, 3, 300, 200))
    shrunk = cv2.resize(large, (300, 200), interpolation=cv2.INTER_AREA)
    alike = np.corrcoef(np.log(cv2.blur(small, (9, 9))).ravel(), np.log(cv2.blur(shrunk, (9, 9))).ravel())[0, 1]
    assert alike > 0.95


def test_other_seeds_give_other_scenes() -> None:
    assert not np.array_equal(scenes.draw("street", 3, 300, 200), scenes.draw("street", 4, 300, 200))


def test_colour_codes_follow_the_standard() -> None:
    # IEC 61966-2-1: code 118 is 0.181164, 188 is 0.502886.
    assert linear("#76bc00") == pytest.approx([0.181164, 0.502886, 0.0], abs=1e-5)
