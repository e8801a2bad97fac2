import tracemalloc
from collections.abc import Iterator
from functools import cache

import numpy as np
import numpy.typing as npt
import pytest

from tests.unit.watch.pictures import FORMAT, PX_PER_MM, SIZE, corners_at, film
from tethercap.film.kinds import FilmKind
from tethercap.pictures import LiveFrame
from tethercap.watch.sighting import Decision, ReasonCode, Sighting
from tethercap.watch.tracking import Track
from tethercap.watch.watcher import Watcher

REST = [0.1] * 9
HALF_ADVANCE = [-19.0 + 0.1] * 9


@cache
def _drawn(x_mm: float, blank: bool) -> npt.NDArray[np.uint8]:
    return film(x_mm, 0.05, 0.05, seed=3, blank=blank, over=2)


def path(*stays_mm: list[float]) -> list[float]:
    """Places one after the other, with pictures on the way between them."""
    places = list(stays_mm[0])
    for stay in stays_mm[1:]:
        places.extend(np.linspace(places[-1], stay[0], 14)[1:-1].tolist())
        places.extend(stay)
    return places


def watch(
    places_mm: list[float], watcher: Watcher | None = None, *, fires: bool = True, blank: bool = False
) -> Iterator[Sighting]:
    """Show film whose frame lies at each place; places beyond half a pitch show the neighbour, drawn alike."""
    watcher = watcher or Watcher(FORMAT, film_kind=FilmKind.COLOUR_NEGATIVE, mm_per_px=1 / PX_PER_MM, shutter_s=1 / 60)
    for i, x_mm in enumerate(places_mm):
        picture = _drawn(round(x_mm, 3), blank)
        noise = np.random.default_rng(100 + i).integers(-2, 3, picture.shape)
        picture = np.clip(picture.astype(np.int16) + noise, 0, 255).astype(np.uint8)
        seen = watcher.watch(LiveFrame(picture, i / 30, i))
        if seen.ready and fires:
            watcher.shot_taken(i / 30)
        yield seen


def test_a_seated_frame_is_fired_on_once() -> None:
    seen = list(watch(REST))
    assert [s.ready for s in seen].count(True) == 1
    assert next(i for i, s in enumerate(seen) if s.ready) <= 5
    assert seen[-1].verdict.decision is Decision.ACCEPT


def test_the_frame_that_was_shot_tells_the_scale(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tethercap.watch.watcher.SURE_AT_SIGHT", 1.1)
    watcher = Watcher(FORMAT, film_kind=FilmKind.COLOUR_NEGATIVE, shutter_s=1 / 60)
    list(watch(REST, watcher, fires=False))
    assert watcher.mm_per_px is None
    list(watch(REST, watcher))
    assert watcher.mm_per_px == pytest.approx(1 / PX_PER_MM, rel=0.01)


def test_not_without_shot_taken_being_called_it_stays_ready() -> None:
    assert sum(s.ready for s in watch(REST, fires=False)) > 1


def test_out_of_limits_is_never_ready() -> None:
    seen = list(watch([0.6] * 8))
    assert not any(s.ready for s in seen)
    assert ReasonCode.OFF_CENTRE in {reason.code for reason in seen[-1].verdict.reasons}


def test_between_frames_is_never_ready() -> None:
    assert not any(s.ready for s in watch(HALF_ADVANCE))


def test_next_frame_is_fired_on_after_an_advance() -> None:
    seen = list(watch(path(REST, [-37.9] * 9)))
    assert [s.ready for s in seen].count(True) == 2


def test_a_correction_is_no_advance() -> None:
    seen = list(watch(path(REST, [1.0] * 5, REST)))
    assert [s.ready for s in seen].count(True) == 1


def test_a_reopened_frame_may_be_fired_on_again() -> None:
    watcher = Watcher(FORMAT, film_kind=FilmKind.COLOUR_NEGATIVE, mm_per_px=1 / PX_PER_MM, shutter_s=1 / 60)
    assert sum(s.ready for s in watch(REST, watcher)) == 1
    watcher.reopen_frame()
    picture = film(0.1, 0.05, 0.05, seed=3)
    seen = [watcher.watch(LiveFrame(np.roll(picture, k, 2), 1 + k / 30, 20 + k)) for k in range(1)]
    noisy = np.clip(picture.astype(np.int16) + 1, 0, 255).astype(np.uint8)
    seen.extend(watcher.watch(LiveFrame(noisy if k % 2 else picture, 2 + k / 30, 30 + k)) for k in range(6))
    assert any(s.ready for s in seen)


def test_flicker_does_not_make_another_frame() -> None:
    watcher = Watcher(FORMAT, film_kind=FilmKind.COLOUR_NEGATIVE, mm_per_px=1 / PX_PER_MM, shutter_s=1 / 60)
    picture, rows = _drawn(0.1, False), np.linspace(0, 9, 460)[:, None, None]
    fires = 0
    for i in range(24):
        banded = picture * (1 + 0.1 * np.sin(rows + 2.1 * i)) + np.random.default_rng(i).normal(0, 2, picture.shape)
        seen = watcher.watch(LiveFrame(np.clip(banded, 0, 255).astype(np.uint8), i / 30, i))
        if seen.ready:
            fires += 1
            watcher.shot_taken(i / 30)
    assert fires == 1


def test_a_repeated_picture_is_no_rest() -> None:
    watcher = Watcher(FORMAT, film_kind=FilmKind.COLOUR_NEGATIVE, mm_per_px=1 / PX_PER_MM, shutter_s=1 / 60)
    picture = film(0.1)
    assert not any(watcher.watch(LiveFrame(picture, i / 30, i)).ready for i in range(8))


def test_learns_kind_and_scale() -> None:
    watcher = Watcher(FORMAT)
    list(watch(REST, watcher))
    assert watcher.film_kind is FilmKind.COLOUR_NEGATIVE
    assert watcher.mm_per_px == pytest.approx(1 / PX_PER_MM, rel=0.005)


def test_speaks_to_the_operator() -> None:
    watcher = Watcher(FORMAT, film_kind=FilmKind.COLOUR_NEGATIVE, mm_per_px=1 / PX_PER_MM)
    seen = list(watch([1.2] * 5, watcher))
    assert watcher.sentence(seen[-1]) == "move the film 1.2 mm to the left"


def test_an_unexposed_frame_is_not_fired_on() -> None:
    watcher = Watcher(FORMAT, film_kind=FilmKind.COLOUR_NEGATIVE, mm_per_px=1 / PX_PER_MM, shutter_s=1 / 60)
    assert not any(s.ready for s in watch(REST, watcher, blank=True))


def _known_track() -> Track:
    watcher = Watcher(FORMAT, film_kind=FilmKind.COLOUR_NEGATIVE, mm_per_px=1 / PX_PER_MM, shutter_s=1 / 60)
    list(watch(REST, watcher))
    assert watcher._grid.known is not None
    return watcher._grid.known


def test_a_frame_without_a_picture_is_placed_midway_between_its_neighbours() -> None:
    known = _known_track()
    expected = known.moved(0.7 * PX_PER_MM, 0.0)
    placed = expected.placed_beside(_drawn(0.1, True), FORMAT.pitch_mm * PX_PER_MM)
    assert placed.middle_x == pytest.approx(known.middle_x, abs=0.1 * PX_PER_MM)


def test_a_holder_that_covers_the_neighbours_is_not_taken_for_them() -> None:
    expected = _known_track().moved(0.7 * PX_PER_MM, 0.0)
    picture = _drawn(0.1, True).copy()
    picture[:, : int(1.5 * PX_PER_MM)] = picture[:, -int(1.5 * PX_PER_MM) :] = 8
    assert expected.placed_beside(picture, FORMAT.pitch_mm * PX_PER_MM).middle_x == expected.middle_x


def test_no_big_memory_is_taken_per_picture() -> None:
    watcher = Watcher(FORMAT, film_kind=FilmKind.COLOUR_NEGATIVE, mm_per_px=1 / PX_PER_MM)
    list(watch(REST, watcher))
    picture = film(0.1, seed=3)
    pictures = [
        LiveFrame(np.clip(picture.astype(np.int16) + k % 2, 0, 255).astype(np.uint8), 5 + k / 30, 50 + k)
        for k in range(10)
    ]
    for frame in pictures[:5]:
        watcher.watch(frame)
    tracemalloc.start()
    for frame in pictures[5:]:
        watcher.watch(frame)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 2.5e6


def test_an_empty_holder_is_no_film_though_the_last_frame_was_known() -> None:
    watcher = Watcher(FORMAT, film_kind=FilmKind.COLOUR_NEGATIVE, mm_per_px=1 / PX_PER_MM, shutter_s=1 / 60)
    list(watch(REST, watcher))
    light = np.full_like(_drawn(0.1, False), 240)
    seen = [watcher.watch(LiveFrame(light + np.uint8(i % 2), (20 + i) / 30, 20 + i)) for i in range(6)]
    assert [s.film_present for s in seen] == [False] * 6
    assert not any(s.ready or s.edges for s in seen)


def test_a_frame_that_is_seen_well_is_believed_against_a_grid_that_movement_added_up_wrong() -> None:
    watcher = Watcher(FORMAT, film_kind=FilmKind.COLOUR_NEGATIVE, mm_per_px=1 / PX_PER_MM, shutter_s=1 / 60)
    list(watch(REST, watcher))
    believed = []
    for off_mm in (0.0, 0.5, 2.0, -38.0, 2.0 - 38.0):
        watcher._grid._film_x += off_mm * PX_PER_MM
        believed.append(watcher._belies_grid())
        watcher._grid._film_x -= off_mm * PX_PER_MM
    assert believed == [False, False, True, False, True]


def test_where_the_holder_hides_a_long_edge_a_shot_tells_the_scale_by_the_short_ones() -> None:
    watcher = Watcher(FORMAT, film_kind=FilmKind.COLOUR_NEGATIVE)
    top, bottom = corners_at(0.1)[[0, 2], 1].astype(int)
    for number in range(6):
        noise = np.random.default_rng(number).integers(-2, 3, (SIZE[1], SIZE[0], 3))
        picture = np.clip(film(0.1, cell_mm=4) + noise, 0, 255).astype(np.uint8)
        picture[: top + 9], picture[bottom + 8 :] = 2, 2
        watcher.watch(LiveFrame(picture, number / 30, number))
    watcher.shot_taken(6 / 30)
    assert watcher.mm_per_px == pytest.approx(1 / PX_PER_MM, rel=0.003)
