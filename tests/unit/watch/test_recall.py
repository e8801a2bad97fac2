"""A later run knows by a kept view whether the frame that was taken last lies in the holder still."""

from itertools import count

import numpy as np
import pytest

from tests.unit.watch.pictures import FORMAT, PX_PER_MM, film
from tethercap.film.kinds import FilmKind
from tethercap.pictures import LiveFrame
from tethercap.watch.likeness import KEPT_VIEW_PX
from tethercap.watch.sighting import Sighting
from tethercap.watch.watcher import Watcher


def new_watcher() -> Watcher:
    return Watcher(FORMAT, film_kind=FilmKind.COLOUR_NEGATIVE, mm_per_px=1 / PX_PER_MM, shutter_s=1 / 60)


def at_rest(watcher: Watcher, seed: int, *, numbers: "count[int]", x_mm: float = 0.1) -> Sighting:
    """Show film that lies still until it is known what to think of it."""
    picture = film(x_mm, 0.05, 0.05, seed=seed, over=2)
    noise = np.random.default_rng(seed)
    for _ in range(9):
        number = next(numbers)
        noisy = np.clip(picture + noise.normal(0, 2, picture.shape), 0, 255).astype(np.uint8)
        seen = watcher.watch(LiveFrame(noisy, number / 30, number))
    return seen


@pytest.fixture(scope="module")
def view() -> bytes:
    watcher = new_watcher()
    seen = at_rest(watcher, 3, numbers=count())
    assert seen.ready
    assert watcher.view_of_shot() == b""
    watcher.shot_taken(seen.taken_at_s)
    assert len(watcher.view_of_shot()) == KEPT_VIEW_PX[0] * KEPT_VIEW_PX[1]
    return watcher.view_of_shot()


@pytest.mark.parametrize("x_mm", [0.1, -0.2])
def test_the_frame_that_was_taken_is_not_taken_again(view: bytes, x_mm: float) -> None:
    watcher = new_watcher()
    watcher.recall_shot(view)
    seen = at_rest(watcher, 3, numbers=count(), x_mm=x_mm)
    assert not seen.gone_on
    assert not seen.ready
    watcher.reopen_frame()
    assert at_rest(watcher, 3, numbers=count(100), x_mm=x_mm).ready, "a person may still have it taken"


def test_another_frame_is_taken(view: bytes) -> None:
    watcher = new_watcher()
    watcher.recall_shot(view)
    seen = at_rest(watcher, 8, numbers=count())
    assert seen.gone_on
    assert seen.ready


def test_what_is_no_view_is_left_aside(view: bytes) -> None:
    watcher = new_watcher()
    watcher.recall_shot(view[:-1])
    assert at_rest(watcher, 3, numbers=count()).ready
