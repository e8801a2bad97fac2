"""What is usual for a kind of film on a rig, and how far films lie apart: where every estimate starts, and how firmly.

All numbers of a film model are taken together as one normal distribution, so that whatever is measured - cards, a
chart, the frames of a roll - moves also what goes along with it: a film with a steep red curve tends to have the others
steep, and so on. Its middle follows what is known about the rig: how far the camera's channels overlap (from the
matrix in the RAW file), where they sit on the film's base (from its density over the bare light), and the panel's
colour (from the bare light against daylight).

The distributions are those of invented films, panels and cameras, drawn by tests/quality (`python -m
tests.quality.fit_usual` and `tests.quality.fit_slides`), which keeps others apart for judging. They are no measurement
of any film.
"""

import dataclasses
from dataclasses import dataclass

import numpy as np

from tethercap.convert import spaces, usual_slide_numbers
from tethercap.convert.film_base import FilmBase
from tethercap.convert.film_model import FilmModel, Five, Matrix, Triple
from tethercap.convert.flat_field import FlatField
from tethercap.convert.usual_film_numbers import (
    FEATURES,
    FEATURES_COVARIANCE,
    MIDDLE,
    PER_FEATURE,
    SPREAD,
)
from tethercap.film.kinds import FilmKind
from tethercap.pictures import ColourSpace, F64Array, RawPicture

CURVE_NUMBERS = 12
"""The first so many numbers of a film are its curves; they alone say what is grey."""
SLIDE_NUMBERS = 34
ESTIMATE = "estimate for the kind of film"
"""Source of a model that nothing with known colours was measured for."""
_GAMMA, _TOE, _DENSEST = 0.6, 0.2, 2.0
_FURTHEST = 2.5
"""Standard deviations beyond which a rig's figures are taken as being there."""
_NO_RIG = 5.0
"""The same for figures that can be no rig's: they are not believed at all."""
_OF_PHOTOSITES = (0.25, 0.5, 0.25)
"""Shares of the channels in the grey of black-and-white film, as photosites have them; a recipe may choose others."""
_GREY_MIDDLE = np.array((0.0, -1.35, 0.0, 0.2))
"""Numbers of usual black-and-white film, as `grey_model_of` takes them: over a chart's greys it rises by 0.6 a decade,
amid the average gradients of 0.55 to 0.65 that it is developed to (common practice, no source)."""
_GREY_SPREAD = np.diag((0.15, 0.30, 0.50, 0.25))
"""How far such films lie apart, shape (4, 4): about as those of four invented families of curves do."""


@dataclass(frozen=True, slots=True, eq=False)
class UsualFilm:
    """A normal distribution of film models."""

    film_kind: FilmKind
    middle: F64Array
    """Shape (n,); see `model_of`, `slide_model_of` for a slide, `grey_model_of` for black-and-white film."""
    spread: F64Array
    """Shape (n, m), m independent standard deviations; the first `CURVE_NUMBERS` alone move curves."""

    def model(self, away: F64Array | None = None) -> FilmModel:
        """Film that lies some standard deviations away from the middle.

        Parameters
        ----------
        away : ndarray, optional
            Shape (k,), k at most m; what is not given is 0, so that curves alone take everything else along as far as
            it usually goes with them. None is the usual film itself.
        """
        numbers = self.middle if away is None else self.middle + self.spread[:, : len(away)] @ away
        if self.film_kind is FilmKind.BW_NEGATIVE:
            return grey_model_of(numbers)
        return slide_model_of(numbers) if self.film_kind is FilmKind.SLIDE else model_of(numbers)

    @property
    def curve_directions(self) -> int:
        """Number of leading directions that move the curves."""
        return min(CURVE_NUMBERS, int(self.spread.shape[1]))


def usual_film(
    film_kind: FilmKind, raw: RawPicture | None = None, base: FilmBase | None = None, flat: FlatField | None = None
) -> UsualFilm:
    """Say what is usual for a kind of film on a rig.

    Parameters
    ----------
    film_kind : FilmKind
    raw : RawPicture, optional
        Any picture of the camera.
    base, flat : optional
        The film's base and the bare light, which together tell the base's density.
    """
    if film_kind is FilmKind.BW_NEGATIVE:
        return UsualFilm(film_kind, _GREY_MIDDLE, _GREY_SPREAD)
    camera = _camera_figures(raw)
    if film_kind is FilmKind.SLIDE:
        return usual_of_slide(np.concatenate([camera, _panel_figures(raw, flat)]))
    return usual_of_negative(np.concatenate([camera, _base_figures(base, flat), _panel_figures(raw, flat)]))


def usual_of_negative(figures: F64Array) -> UsualFilm:
    """Say what is usual for colour negatives on a rig.

    Parameters
    ----------
    figures : ndarray
        Shape (10,): the camera's matrix off the diagonal (6), the base's density in red and blue less green (2), the
        panel's colour against daylight, log10 in red and blue less green (2); NaN where they are not known.
    """
    away = _standard(figures, np.array(FEATURES), np.array(FEATURES_COVARIANCE))
    return UsualFilm(FilmKind.COLOUR_NEGATIVE, np.array(MIDDLE) + away @ np.array(PER_FEATURE), np.array(SPREAD))


def usual_of_slide(figures: F64Array) -> UsualFilm:
    """Say what is usual for slides on a rig: from what the camera sees to what the eye sees.

    Parameters
    ----------
    figures : ndarray
        Shape (8,): the camera's matrix off the diagonal (6), the panel's colour against daylight, log10 in red and blue
        less green (2); NaN where they are not known.
    """
    known = usual_slide_numbers
    away = _standard(figures, known.FEATURES, known.FEATURES_COVARIANCE)
    return UsualFilm(FilmKind.SLIDE, known.MIDDLE + away @ known.PER_FEATURE, known.SPREAD)


def slide_model_of(numbers: F64Array) -> FilmModel:
    """Model of a slide of its 34 numbers.

    Parameters
    ----------
    numbers : ndarray
        Shape (34,): bend (3), density matrix and light matrix off the diagonal (6 each), bows u·u, u·v, v·v of red,
        green, blue (9), u·g, v·g of the same (6), log10 of what the rows of the light matrix sum to (3), and stray
        light (1), hundredths of the bare light; there is none below 0.
    """
    model = model_of(np.concatenate([np.zeros(9), numbers[:30]]), FilmKind.SLIDE)
    rows = 10.0 ** numbers[30:33, None] * np.array(model.light_matrix)
    return dataclasses.replace(model, light_matrix=as_matrix(rows), stray=0.01 * max(float(numbers[33]), 0.0))


def _standard(figures: F64Array, features: F64Array, covariance: F64Array) -> F64Array:
    """A rig's figures in standard deviations; what is unknown, or can be no rig's, is what the others let expect."""
    scale = np.sqrt(np.diag(covariance))
    away = (figures - features) / scale
    known = np.isfinite(away)
    for group in (slice(0, 6), slice(6, 8), slice(8, 10)):
        known[group] &= bool(np.all(np.abs(away[group]) < _NO_RIG))
    filled = np.where(known, np.clip(away, -_FURTHEST, _FURTHEST), 0.0)
    return _filled(filled, known, covariance / np.outer(scale, scale))


def _filled(away: F64Array, known: np.ndarray, correlation: F64Array) -> F64Array:
    """Put what is to be expected in the place of unknown figures."""
    if known.all() or not known.any():
        return away
    expected = correlation[np.ix_(~known, known)] @ np.linalg.solve(correlation[np.ix_(known, known)], away[known])
    filled = away.copy()
    filled[~known] = expected
    return filled


def _camera_figures(raw: RawPicture | None) -> F64Array:
    """Off-diagonal elements of balanced camera RGB to linear sRGB, row by row; NaN where the file has no matrix."""
    if raw is None or raw.camera_to_xyz is None:
        return np.full(6, np.nan)
    matrix = np.linalg.inv(spaces.rgb_to_xyz(ColourSpace.SRGB)) @ raw.camera_to_xyz
    return _free_of(matrix / matrix.sum(axis=1, keepdims=True))


def _base_figures(base: FilmBase | None, flat: FlatField | None) -> F64Array:
    """Density of the base over the bare light, red and blue less green; NaN where one of them is not known.

    Only differences, since the light is mostly photographed at another exposure than the film.
    """
    if base is None or flat is None or not base.measured:
        return np.full(2, np.nan)
    density = -np.log10(np.array(base.counts_rgb) / flat.light_counts)
    return np.asarray(density[[0, 2]] - density[1])


def _panel_figures(raw: RawPicture | None, flat: FlatField | None) -> F64Array:
    """Colour of the bare light against daylight, log10 in red and blue less green; NaN where one is not known."""
    if raw is None or raw.d65_multipliers is None or flat is None:
        return np.full(2, np.nan)
    light = np.log10(np.maximum(flat.light_counts, 1.0) * raw.d65_multipliers)
    return np.asarray(light[[0, 2]] - light[1])


def model_of(numbers: F64Array, film_kind: FilmKind = FilmKind.COLOUR_NEGATIVE) -> FilmModel:
    """Film model of its 39 numbers.

    Parameters
    ----------
    numbers : ndarray
        Shape (39,): natural log of gamma / 0.6 (3), speed (3), natural log of toe / 0.2, of the toe's ratio in red and
        blue, bend (3), density matrix and light matrix off the diagonal (6 each), bows u·u, u·v, v·v of red, green,
        blue (9), and u·g, v·g of the same (6).
    """
    squares, products = numbers[24:33].reshape(3, 3), numbers[33:39].reshape(3, 2)
    red, green, blue = (_five(np.concatenate([squares[k], products[k]])) for k in range(3))
    ratio = np.exp(numbers[7:9])
    return FilmModel(
        film_kind=film_kind,
        gamma=_triple(_GAMMA * np.exp(numbers[:3])),
        speed=_triple(numbers[3:6]),
        toe=float(_TOE * np.exp(numbers[6])),
        toe_ratio=(float(ratio[0]), 1.0, float(ratio[1])),
        bend=_triple(numbers[9:12]),
        density_matrix=as_matrix(matrix_from(numbers[12:18])),
        density_bows=(red, green, blue),
        light_matrix=as_matrix(matrix_from(numbers[18:24])),
        source=ESTIMATE,
    )


def numbers_of(model: FilmModel) -> F64Array:
    """Give the 39 numbers of a negative's model, as `model_of` takes them, shape (39,)."""
    bows = np.array(model.density_bows)
    return np.concatenate(
        [
            np.log(np.array(model.gamma) / _GAMMA),
            model.speed,
            [np.log(model.toe / _TOE)],
            np.log(np.array(model.toe_ratio)[[0, 2]]),
            model.bend,
            _free_of(np.array(model.density_matrix)),
            _free_of(np.array(model.light_matrix)),
            bows[:, :3].ravel(),
            bows[:, 3:].ravel(),
        ]
    )


def grey_model_of(numbers: F64Array) -> FilmModel:
    """Model of black-and-white film of its four numbers.

    Parameters
    ----------
    numbers : ndarray
        Shape (4,): natural log of gamma / 0.6, speed, natural log of toe / 0.2 and of densest / 2. All channels see the
        same, and are taken together.
    """
    gamma, speed, toe, densest = (float(number) for number in numbers)
    return FilmModel(
        film_kind=FilmKind.BW_NEGATIVE,
        gamma=(_GAMMA * float(np.exp(gamma)),) * 3,
        speed=(speed,) * 3,
        toe=_TOE * float(np.exp(toe)),
        densest=_DENSEST * float(np.exp(densest)),
        density_matrix=(_OF_PHOTOSITES,) * 3,
        source=ESTIMATE,
    )


def matrix_from(free: F64Array) -> F64Array:
    """Build a 3 x 3 whose rows sum to one from its six off-diagonal elements, row by row."""
    a, b, c, d, e, f = free
    return np.array([[1 - a - b, a, b], [c, 1 - c - d, d], [e, f, 1 - e - f]])


def _free_of(matrix: F64Array) -> F64Array:
    return np.asarray(matrix[[0, 0, 1, 1, 2, 2], [1, 2, 0, 2, 0, 1]])


def as_matrix(array: F64Array) -> Matrix:
    """Plain tuples of a 3 x 3 array."""
    rows = [_triple(row) for row in array]
    return rows[0], rows[1], rows[2]


def _triple(values: F64Array) -> Triple:
    return float(values[0]), float(values[1]), float(values[2])


def _five(values: F64Array) -> Five:
    a, b, c, d, e = (float(value) for value in values)
    return a, b, c, d, e


__all__ = [
    "CURVE_NUMBERS",
    "ESTIMATE",
    "SLIDE_NUMBERS",
    "UsualFilm",
    "as_matrix",
    "matrix_from",
    "model_of",
    "numbers_of",
    "slide_model_of",
    "usual_film",
    "usual_of_negative",
    "usual_of_slide",
]
