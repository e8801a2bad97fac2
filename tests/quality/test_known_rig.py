"""What one film tells of another on the same rig, on drawn films and rigs that nothing was fitted to."""

import dataclasses

import numpy as np
import pytest

from tests.quality.coupled import draw_coupled_case
from tests.quality.drawn import Case, draw_case
from tests.quality.fit_usual import ColoursOf, Seen, fit_curves, look_at
from tests.quality.spectra import F64
from tethercap.convert.known_rig import usual_beside
from tethercap.convert.usual_film import CURVE_NUMBERS, UsualFilm, model_of, numbers_of, usual_film, usual_of_negative
from tethercap.film.kinds import FilmKind


def numbers_that_suit(case: Case) -> tuple[Seen, F64]:
    seen = look_at(case)
    usual, curves = usual_of_negative(seen.figures), fit_curves(seen)
    away = np.linalg.solve(usual.spread[:CURVE_NUMBERS, :CURVE_NUMBERS], curves - usual.middle[:CURVE_NUMBERS])
    start = (usual.middle + usual.spread[:, :CURVE_NUMBERS] @ np.clip(away, -3.0, 3.0))[CURVE_NUMBERS:]
    return seen, np.concatenate([curves, ColoursOf(seen, curves).best(start)])


def away(numbers: F64, usual: UsualFilm) -> float:
    """How far the colours are from what the curves let expect, each number in the usual film's scale."""
    first = slice(CURVE_NUMBERS)
    curves = np.linalg.solve(usual.spread[first, first], (numbers - usual.middle)[first])
    own = (numbers - usual.middle - usual.spread[:, first] @ np.clip(curves, -3.0, 3.0))[CURVE_NUMBERS:]
    scale = usual_film(FilmKind.COLOUR_NEGATIVE).spread[CURVE_NUMBERS:, CURVE_NUMBERS:]
    return float(np.linalg.norm(own / np.linalg.norm(scale, axis=1)))


@pytest.mark.parametrize("seed", [6001, 6003])
def test_colours_are_nearer_beside_another_film_on_the_rig(seed: int) -> None:
    case, other = draw_case(seed), draw_coupled_case(seed + 500)
    seen, numbers = numbers_that_suit(case)
    _, of_other = numbers_that_suit(dataclasses.replace(other, rig=case.rig, glare=case.glare))
    alone = usual_of_negative(seen.figures)
    beside = usual_beside(alone, model_of(of_other))
    assert away(numbers, beside) < away(numbers, alone)


def test_curves_are_left_and_other_kinds_of_film_too() -> None:
    usual = usual_film(FilmKind.COLOUR_NEGATIVE)
    beside = usual_beside(usual, model_of(usual.middle + 0.1))
    np.testing.assert_array_equal(beside.middle[:CURVE_NUMBERS], usual.middle[:CURVE_NUMBERS])
    silver = usual_film(FilmKind.BW_NEGATIVE)
    assert usual_beside(silver, usual.model()) is silver


def test_numbers_make_a_model_and_are_those_of_a_model() -> None:
    numbers = usual_film(FilmKind.COLOUR_NEGATIVE).middle + 0.05
    np.testing.assert_allclose(numbers_of(model_of(numbers)), numbers, atol=1e-12)
