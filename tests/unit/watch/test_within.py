import numpy as np

from tests.unit.watch.pictures import ORANGE, corners_at, film
from tethercap.watch.reduced import reduce_view
from tethercap.watch.within import borders_within

BASE = np.array(ORANGE, np.float32)


def test_a_gap_between_frames_shows_inside_a_frame_placed_over_it() -> None:
    view = reduce_view(film())
    across, along = borders_within(view, corners_at(15.0).astype(np.float32), BASE, inverted=False)
    assert across > 0.9
    assert along < 0.3


def test_a_frame_in_its_place_has_no_border_inside() -> None:
    across, along = borders_within(reduce_view(film()), corners_at().astype(np.float32), BASE, inverted=False)
    assert max(across, along) < 0.2


def test_a_frame_too_high_has_one_along_it() -> None:
    _, along = borders_within(reduce_view(film()), corners_at(0.0, -4.0).astype(np.float32), BASE, inverted=False)
    assert along > 0.9
