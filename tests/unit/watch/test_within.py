import numpy as np

from tests.unit.watch.pictures import ORANGE, corners_at, film
from tethercap.watch.reduced import reduce_view
from tethercap.watch.within import borders_within

BASE = np.array(ORANGE, np.float32)


def test_a_gap_between_frames_shows_inside_a_frame_placed_over_it() -> None:
    borders = borders_within(reduce_view(film()), corners_at(15.0).astype(np.float32), BASE, inverted=False)
    assert borders.across > 0.9
    assert borders.gap > 0.9
    assert borders.along < 0.3


def test_a_frame_in_its_place_has_no_border_inside() -> None:
    borders = borders_within(reduce_view(film()), corners_at().astype(np.float32), BASE, inverted=False)
    assert max(borders) < 0.2


def test_a_frame_too_high_has_one_along_it() -> None:
    borders = borders_within(reduce_view(film()), corners_at(0.0, -4.0).astype(np.float32), BASE, inverted=False)
    assert borders.along > 0.9
    assert borders.gap < 0.3


def test_a_clear_part_that_runs_to_the_rim_is_no_gap() -> None:
    picture = film()
    picture[:, 400:] = ORANGE
    borders = borders_within(reduce_view(picture), corners_at().astype(np.float32), BASE, inverted=False)
    assert borders.across > 0.9
    assert borders.gap < 0.3
