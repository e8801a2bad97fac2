"""When the frame followed is fitted anew."""

import cv2
import numpy as np
import pytest

from tests.unit.watch.pictures import FORMAT, PX_PER_MM, SIZE, film
from tethercap.film.kinds import FilmKind
from tethercap.pictures import LiveFrame
from tethercap.watch.refits import Refits
from tethercap.watch.sighting import Motion
from tethercap.watch.watcher import Watcher


def due(
    refits: Refits,
    rests_s: float,
    *,
    moved_mm: float = 0.0,
    tone: float = 100.0,
    steady: bool = True,
    awaited: bool = False,
    fires: bool = False,
) -> bool:
    """Whether a picture is to be fitted; it then is."""
    motion = Motion(0.0 if rests_s else 30.0, 0.0, 0.01, still=rests_s > 0, still_for_s=rests_s)
    fits = refits.are_due(motion, moved_mm, tone, steady=steady, awaited=awaited, fires=fires)
    if fits:
        refits.done(tone)
    return fits


def at_rest() -> Refits:
    """Of film that has lain still for five pictures, the last of them not fitted."""
    refits = Refits()
    assert [due(refits, 0.033 * i) for i in range(1, 6)] == [True] * 4 + [False]
    return refits


def test_film_that_comes_to_rest_is_fitted_in_each_picture_and_then_now_and_then() -> None:
    refits = at_rest()
    assert sum(due(refits, 1.0) for _ in range(40)) == 5
    assert sum(due(refits, 1.0, awaited=True) for _ in range(40)) == 10


def test_film_that_moves_is_fitted_in_every_other_picture_from_the_first_on() -> None:
    refits = at_rest()
    assert [due(refits, 0.0) for _ in range(6)] == [True, False] * 3


def test_nothing_is_fired_on_a_place_that_was_kept() -> None:
    refits = at_rest()
    assert not refits.is_fresh
    assert due(refits, 0.2, awaited=True, fires=True)
    assert refits.is_fresh


@pytest.mark.parametrize(
    "changed", [{"moved_mm": -0.02}, {"tone": 90.0}, {"tone": 110.0}, {"steady": False}], ids=lambda c: next(iter(c))
)
def test_a_place_is_not_kept_when_something_changed(changed: dict[str, float]) -> None:
    assert due(at_rest(), 0.2, **changed)  # type: ignore[arg-type]
    refits = at_rest()
    assert [due(refits, 0.2, moved_mm=0.004, tone=102.0) for _ in range(3)] == [False, False, True]


def test_film_that_creeps_slower_than_what_counts_as_movement_is_shown_where_it_is() -> None:
    watcher = Watcher(FORMAT, film_kind=FilmKind.COLOUR_NEGATIVE, mm_per_px=1 / PX_PER_MM, shutter_s=1 / 60)
    drawn = film(0.0, 0.05, 0.05, seed=3, over=2)
    off_mm = []
    for i, step in enumerate([0] * 9 + list(range(24))):
        x_px = step / 16  # 0.12 mm/s
        moved = cv2.warpAffine(drawn, np.array([[1, 0, x_px], [0, 1, 0]]), SIZE, borderMode=cv2.BORDER_REPLICATE)
        noise = np.random.default_rng(100 + i).integers(-2, 3, moved.shape)
        pixels = np.clip(moved.astype(np.int16) + noise, 0, 255).astype(np.uint8)
        seen = watcher.watch(LiveFrame(pixels, i / 30, i))
        if seen.ready:
            watcher.shot_taken(i / 30)
        assert i < 2 or (seen.motion is not None and seen.motion.still)
        if seen.alignment is not None:
            off_mm.append(seen.alignment.offset.x_mm - x_px / PX_PER_MM)
    assert len(off_mm) > 28
    assert max(map(abs, off_mm)) < 0.03
