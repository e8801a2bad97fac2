import numpy as np
import pytest

from tests.unit.convert.film_shots import BASE_COUNTS, PLAIN, density_of
from tethercap.convert.calibrate import CARD_REFLECTANCE, Cards
from tethercap.convert.exposure import LUMINANCE, PrintExposure, scene_light
from tethercap.convert.film_base import FilmBase
from tethercap.convert.roll_look import FrameSurvey, exposures_of_roll
from tethercap.pictures import F64Array

BASE = FilmBase((float(BASE_COUNTS[0]), float(BASE_COUNTS[1]), float(BASE_COUNTS[2])))


def survey_of(scene: F64Array) -> FrameSurvey:
    return FrameSurvey(None, (BASE_COUNTS * 10.0 ** -density_of(scene)).astype(np.float32), None)


def cards_at(*stops: float) -> list[PrintExposure]:
    greys = np.array([[CARD_REFLECTANCE * 2.0**stop] * 3 for stop in stops])
    return Cards(density_of(greys)).exposures(PLAIN)


def test_a_card_is_printed_as_the_grey_it_is() -> None:
    stops = (-1.0, 1.0, 3.0)
    # On black cloth: by itself the card would be taken for something white.
    on_cloth = np.full((40, 60, 3), 0.03)
    card = np.s_[10:30, 15:45]
    on_cloth[card] = CARD_REFLECTANCE
    surveys = [survey_of(on_cloth * 2.0**stop) for stop in stops]
    known = dict(enumerate(cards_at(*stops)))
    told = exposures_of_roll(surveys, [BASE] * 3, [None] * 3, PLAIN, known)
    for survey, exposure in zip(surveys, told, strict=True):
        luminance = exposure.gain * np.median(scene_light(survey.density(BASE)[card], PLAIN) @ LUMINANCE)
        assert luminance == pytest.approx(CARD_REFLECTANCE, rel=0.05)
    alone = exposures_of_roll(surveys[:1], [BASE], [None], PLAIN)[0]
    assert alone.gain > 1.5 * told[0].gain
