from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from mock_camera.film_stock import FORMATS, GREY, KINDS, rebate_transmittance, transmittance


def density(level: float, kind: str) -> NDArray[np.float64]:
    picture = np.full((2, 2, 3), level, np.float32)
    return np.asarray(-np.log10(transmittance(picture, KINDS[kind])[0, 0]), np.float64)


def test_the_masked_base_has_the_usual_densities() -> None:
    # From memory: R 0.2-0.3, G 0.55-0.75, B 0.85-1.05, status M.
    base = -np.log10(rebate_transmittance(KINDS["colour-negative"]))
    assert base == pytest.approx([0.25, 0.65, 0.95], abs=0.01)


def test_a_grey_card_on_colour_negative_has_the_published_density() -> None:
    # Kodak E-7023: 18 % grey card, red channel, 0.80 to 1.00.
    assert 0.80 <= density(GREY, "colour-negative")[0] <= 1.00


@pytest.mark.parametrize(("kind", "gamma"), [("colour-negative", 0.6), ("bw-negative", 0.6), ("slide", -1.7)])
def test_the_straight_part_has_the_kinds_gamma(kind: str, gamma: float) -> None:
    # Gamma 0.6 for negatives: Cineon practice; 1.5 to 2.0 for slides: from memory.
    step = 0.1
    up, down = density(0.14 * 10**step, kind), density(0.14 / 10**step, kind)
    assert (up - down)[1] / (2 * step) == pytest.approx(gamma, rel=0.10)


def test_slides_go_from_clear_to_black() -> None:
    assert density(20.0, "slide") == pytest.approx(0.12, abs=0.03)
    assert 3.2 <= density(0.0, "slide")[0] <= 4.0


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_density_never_turns_back(kind: str) -> None:
    levels = np.geomspace(1e-4, 50, 200, dtype=np.float32)
    picture = np.repeat(levels[:, np.newaxis, np.newaxis], 3, axis=2)
    slope = np.diff(transmittance(picture, KINDS[kind])[:, 0, 1])
    assert (slope <= 1e-6).all() if KINDS[kind].negative else (slope >= -1e-6).all()


def test_black_and_white_film_has_no_colour() -> None:
    scene = np.array([[[0.4, 0.1, 0.02]]], np.float32)
    red, green, blue = transmittance(scene, KINDS["bw-negative"])[0, 0]
    assert red == pytest.approx(green) == pytest.approx(blue)


def test_every_frame_fits_its_film_holder_and_view() -> None:
    for film_format in FORMATS.values():
        assert film_format.across_mm < film_format.film_width_mm
        assert film_format.along_mm < film_format.opening_along_mm < film_format.view_width_mm
        assert film_format.across_mm < film_format.opening_across_mm < film_format.view_width_mm * 680 / 1024
