"""What the roll's other frames say for a frame that is seen in part."""

import numpy as np
import pytest

from tethercap.profile_files import load_film_format
from tethercap.watch.refine import SideFit
from tethercap.watch.tracking import FrameGrid, Track

PX_PER_MM = 16.0
WIDTH_PX, HEIGHT_PX = 36 * PX_PER_MM, 24 * PX_PER_MM


def track(shares: tuple[float, ...], *, wider_px: float = 0.0, lower_px: float = 0.0) -> Track:
    """A frame of which these shares of top, right, bottom and left edge are seen."""
    left, top = 30.0, 40.0 + lower_px
    right, bottom = left + WIDTH_PX + wider_px, top + HEIGHT_PX
    corners = np.array([(left, top), (right, top), (right, bottom), (left, bottom)], np.float32)
    segments = np.arange(20) + 0.5
    tone = np.zeros(3, np.float32)
    fits = tuple(SideFit(0.0, 0.0, segments < 20 * share, np.full(20, True), 10.0, 0.2, tone, tone) for share in shares)
    bases, touching = np.full((4, 3), 200, np.float32), (False, False, False, False)
    return Track(corners, fits, bases, False, touching, (WIDTH_PX, HEIGHT_PX), PX_PER_MM, 0.6, shares)


@pytest.mark.parametrize(
    ("seen", "supports"),
    [
        (track((1.0, 0.0, 0.0, 0.9)), True),
        (track((1.0, 0.0, 0.0, 0.7)), False),  # a door in the picture
        (track((0.0, 0.7, 1.0, 0.7)), True),
        (track((0.0, 0.7, 1.0, 0.7), wider_px=0.02 * WIDTH_PX), False),
        (track((0.0, 0.7, 1.0, 0.3)), False),
        (track((0.0, 0.9, 1.0, 0.9), lower_px=PX_PER_MM), False),
    ],
)
def test_the_roll_supports_a_frame_that_lies_like_its_others(seen: Track, supports: bool) -> None:
    grid = FrameGrid(load_film_format("135-36x24"), carry_mm=200.0)
    assert not grid.supports(seen)
    grid.learn(track((1.0, 1.0, 1.0, 1.0)), 0.0)
    assert grid.supports(seen) is supports
