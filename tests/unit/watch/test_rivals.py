from dataclasses import replace

import numpy as np
import pytest

from tests.unit.watch.pictures import FORMAT, PX_PER_MM, film
from tethercap.film.kinds import FilmKind
from tethercap.watch.confidence import Fitted
from tethercap.watch.edges import fit_likely
from tethercap.watch.reduced import reduce_view
from tethercap.watch.rivals import compared


@pytest.fixture(scope="module")
def place() -> Fitted:
    picture = film()
    found = fit_likely(reduce_view(picture, PX_PER_MM), picture, (FORMAT,), FilmKind.COLOUR_NEGATIVE, 1 / PX_PER_MM)
    return max(found, key=lambda one: one.sure)


def _shifted(place: Fitted, x_mm: float, y_mm: float = 0.0) -> Fitted:
    return replace(place, corners=place.corners + np.array((x_mm, y_mm), np.float32) * np.float32(place.px_per_mm))


def test_two_places_of_one_frame_cannot_both_be_sure(place: Fitted) -> None:
    one, other = compared([place, _shifted(place, 0.0, 1.0)])
    assert compared([place])[0].sure > 0.9
    assert one.sure + other.sure < 1


def test_what_comes_out_as_the_same_place_is_no_rival(place: Fitted) -> None:
    alone, (one, *_) = compared([place])[0], compared([place, _shifted(place, 0.2), _shifted(place, 0.0, -0.2)])
    assert one.sure == pytest.approx(alone.sure)


def test_the_next_frame_is_no_rival(place: Fitted) -> None:
    one, _ = compared([place, _shifted(place, FORMAT.pitch_mm)])
    assert one.rivals == 0


def test_places_that_hardly_differ_count_once_against_another(place: Fitted) -> None:
    others = [_shifted(place, 0.0, 1.0), _shifted(place, 0.0, 1.1)]
    assert compared([place, *others])[0].rivals == pytest.approx(compared([place, others[0]])[0].rivals, rel=0.2)


def test_an_edge_softer_than_the_others_is_less_sure(place: Fitted) -> None:
    """One gate cut them all."""
    top, *others = place.fits
    softer = replace(place, fits=(replace(top, spread_px=5 * top.spread_px), *others))
    assert softer.odds < 0.7 * place.odds


def test_perforations_say_that_a_frame_lies_off_the_strips_middle(place: Fitted) -> None:
    in_middle = replace(place, exact_off_mm=0.2)
    beyond = replace(place, exact_off_mm=-0.9)
    assert beyond.odds < 0.2 * in_middle.odds
