"""Film models from greys and colours that are known: grey cards on the roll, or a colour chart.

Each is the film that is most likely after what was seen: near enough to what was measured, and no further from the
usual than that asks for.
"""

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tethercap.convert import spaces
from tethercap.convert.exposure import LUMINANCE, PrintExposure, scene_light
from tethercap.convert.film_model import GREEN, FilmModel
from tethercap.convert.least_squares import fit
from tethercap.convert.tone import MIDDLE_GREY
from tethercap.convert.usual_film import UsualFilm, as_matrix
from tethercap.film.kinds import FilmKind
from tethercap.pictures import ColourSpace, F64Array

CARD_REFLECTANCE = MIDDLE_GREY
"""Of a grey card; common practice, no source."""
_CARD_DOUBT_STOPS = 0.1
"""How far the light on a card may be from that on its picture, which a meter reading off it leaves open; the same."""
_STEP_DOUBT = 0.35
"""Stops that the distance of two greys may be from a whole number."""
_MOST_PACE = 1.7
"""How much steeper or flatter than usual a film may be when its bracket is guessed."""
_MOST_SURPRISE, _LEAD = 16.0, 2.0
"""Furthest that greys and film together may be from what is usual for a bracket to be believed, and by how much any
other has to be further, squares of standard deviations."""
_UNUSUAL_STEPS, _USUAL_STEP = 6.0, 2.0
"""The same for a bracket of black-and-white film, where no colour helps to tell it, with uneven steps, and for one with
steps of more stops than the second; common practice, no source."""
_DENSITY_NOISE = 0.004
"""How far the channels of a grey may differ by noise and unevenness alone."""
_EXPOSURE_NOISE = 0.012
"""Of a shutter and of a curve that the model follows only nearly, log10 of exposure."""
_EXPOSURE_DOUBT = 0.3
"""How far from normal the target may have been exposed, log10."""
_BRACKET_DOUBT = 1.0
"""How much more or less than the first picture of a chart the further ones may have been exposed, log10."""
_COLOUR_NOISE = 1.5
"""CIE L*a*b* that the best model is off on colours; chroma counts less where there is much of it."""
_SLIDE_NOISE = 0.6
"""The same for slides, whose own colours are measured with nothing in between."""
_GREY_WEIGHT = 2.0
"""How much more a grey patch counts than a coloured one: a tint in greys is seen first."""
_GREY_NOISE = 0.4
"""CIE L* that the best model is off on the greys of black-and-white film."""
_LEAST_LIGHT = 1e-6
_TO_XYZ, _WHITE_XYZ = spaces.rgb_to_xyz(ColourSpace.SRGB), spaces.xyz_of(spaces.D65_XY)


@dataclass(frozen=True, slots=True)
class ChartFit:
    """A film model from a chart, and how well it explains it."""

    model: FilmModel
    misfit: float
    """Mean distance of the patches, CIE L*a*b* with chroma weighed."""
    surprise: float
    """How far patches and film together are from what is usual, squares of standard deviations."""


@dataclass(frozen=True, slots=True, eq=False)
class Cards:
    """Greys on a roll."""

    density: F64Array
    """Shape (n, 3), density over base as the camera sees it, n >= 1."""
    log_exposure: F64Array | None = None
    """Shape (n,), log10 of scene exposure, right but for a common shift; None where the distances are not known."""

    def exposures(self, model: FilmModel) -> list[PrintExposure]:
        """How bright the picture that each is in is to be printed, for it to come out as the grey it is."""
        luminance = np.maximum(scene_light(self.density, model) @ LUMINANCE, _LEAST_LIGHT)
        return [PrintExposure(float(gain), doubt_stops=_CARD_DOUBT_STOPS) for gain in CARD_REFLECTANCE / luminance]

    def misfit(self, model: FilmModel, shift: float) -> F64Array:
        """How far they are from grey and from their exposures, which are all off by `shift`, in standard deviations."""
        equal = np.stack([model.equalised(self.density[:, channel], channel) for channel in range(3)], axis=1)
        colour, grey = (equal[:, [0, 2]] - equal[:, [GREEN]]).ravel() / _DENSITY_NOISE, equal[:, GREEN]
        if model.film_kind is FilmKind.BW_NEGATIVE:
            # Silver is not quite neutral, which is no matter to a grey picture.
            colour, grey = np.zeros(0), model.layers(self.density)[:, GREEN]
        if self.log_exposure is None:
            return np.asarray(colour)
        seen = np.log10(np.maximum(model.exposure(grey), 1e-6))
        return np.concatenate([colour, (seen - self.log_exposure - shift) / _EXPOSURE_NOISE])


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """What targets told of a roll's film."""

    model: FilmModel
    usual: UsualFilm | None = None
    """What is usual for the film on its rig; None where nothing more can be told of it."""
    chart: F64Array | None = None
    """Density over base of the colour chart's patches, shape (24, 3)."""
    cards: Cards | None = None
    card_files: tuple[str, ...] = ()
    """The RAW that each card is in."""


def fit_cards(cards: Cards, usual: UsualFilm) -> FilmModel:
    """Fit a film to greys."""
    return _likeliest(cards, usual)[0]


def _likeliest(cards: Cards, usual: UsualFilm) -> tuple[FilmModel, float]:
    """The film that explains greys best, and how surprising both together are, squares of standard deviations."""

    def residuals(parameters: F64Array) -> F64Array:
        misfit = cards.misfit(usual.model(parameters[1:]), _EXPOSURE_DOUBT * parameters[0])
        return np.concatenate([misfit, parameters])

    found = fit(residuals, np.zeros(1 + usual.curve_directions))
    rest = residuals(found)
    return usual.model(found[1:]), float(rest @ rest)


def whole_stops(density: F64Array, usual: UsualFilm) -> F64Array | None:
    """Tell how many stops apart bracketed greys were exposed; brackets go in whole stops.

    One stop apart on a steep film looks much like two on a flat one. So each likely bracket is tried, and the one is
    taken that asks for the least unusual film.

    Parameters
    ----------
    density : ndarray
        Shape (n, 3), density over base of one grey at different exposures.
    usual : UsualFilm

    Returns
    -------
    ndarray or None
        Shape (n,), log10 of exposure, whole stops apart; None where they are all alike, do not fit whole stops, or fit
        two brackets nearly as well.
    """
    model = usual.model()
    rough = np.log10(np.maximum(model.exposure(model.equalised(density[:, GREEN], GREEN)), 1e-9))
    order = np.argsort(rough)
    # The steps are counted from one to the next, so that a slope that is off does not add up.
    steps = np.diff(rough[order]) / np.log10(2.0)
    tried = []
    for whole in _likely_brackets(steps):
        counted = np.concatenate([[0.0], np.cumsum(whole)])
        exposures = np.empty_like(rough)
        exposures[order] = np.median(rough) + (counted - counted[len(order) // 2]) * np.log10(2.0)
        surprise = _likeliest(Cards(density, exposures), usual)[1]
        if usual.film_kind is FilmKind.BW_NEGATIVE:
            surprise += _UNUSUAL_STEPS * ((len(set(whole)) > 1) + (max(whole) > _USUAL_STEP))
        tried.append((surprise, exposures))
    tried.sort(key=lambda one: one[0])
    if not tried or tried[0][0] > _MOST_SURPRISE or (len(tried) > 1 and tried[1][0] - tried[0][0] < _LEAD):
        return None
    return tried[0][1]


def _likely_brackets(steps: F64Array) -> set[tuple[float, ...]]:
    """Steps in whole stops that greys may be apart, if the film's slope is up to a half off."""
    paced = [steps / pace for pace in np.geomspace(1 / _MOST_PACE, _MOST_PACE, 25)]
    fitting = [one for one in paced if len(one) and np.abs(one - np.rint(one)).max() <= _STEP_DOUBT]
    return {tuple(float(step) for step in np.rint(one)) for one in fitting if np.rint(one).any()}


def fit_chart(
    density: F64Array,
    linear_srgb: F64Array,
    greys: npt.NDArray[np.intp],
    usual: UsualFilm,
    *,
    further: Sequence[F64Array] = (),
    cards: Cards | None = None,
) -> ChartFit:
    """Fit a film to a colour chart on the roll.

    Parameters
    ----------
    density : ndarray
        Shape (n, 3), density over base of the patches as the camera sees them.
    linear_srgb : ndarray
        Shape (n, 3), what the patches are, white = 1.
    greys : ndarray
        Indices of the grey patches.
    usual : UsualFilm
    further : sequence of ndarray
        The same of more pictures of the chart, exposed in any other way: they tell the curves farther on.
    cards : Cards, optional
        Greys on the same roll.
    """
    pictures, number = [density, *further], 2 + len(further)

    def exposures(parameters: F64Array) -> list[float]:
        first = _EXPOSURE_DOUBT * float(parameters[0])
        return [first, *(first + _BRACKET_DOUBT * float(more) for more in parameters[1 : number - 1])]

    def seen(parameters: F64Array) -> F64Array:
        model = usual.model(parameters[number:])
        shifts = exposures(parameters)
        lights = [10.0**-shift * scene_light(each, model) for each, shift in zip(pictures, shifts, strict=True)]
        return np.array(lights)

    def of_cards(parameters: F64Array) -> F64Array:
        if cards is None:
            return np.empty(0)
        return cards.misfit(usual.model(parameters[number:]), _EXPOSURE_DOUBT * float(parameters[number - 1]))

    start = np.zeros(number + usual.spread.shape[1])
    brightness = [
        np.median(np.log10(np.maximum(scene_light(each, usual.model())[:, GREEN], 1e-6))) for each in pictures
    ]
    start[1 : number - 1] = (np.array(brightness[1:]) - brightness[0]) / _BRACKET_DOUBT
    found, misfit, surprise = _fit_colours(seen, linear_srgb, greys, start, besides=of_cards)
    return ChartFit(dataclasses.replace(usual.model(found[number:]), source="colour chart"), misfit, surprise)


def fit_grey_charts(
    charts: Sequence[F64Array], wanted: F64Array, usual: UsualFilm, cards: Cards | None = None
) -> tuple[FilmModel, F64Array]:
    """Fit black-and-white film to the grey row of a chart on the roll, at one or several exposures.

    Parameters
    ----------
    charts : sequence of ndarray
        Density over base of the grey patches as the camera sees them, each of shape (n, 3).
    wanted : ndarray
        Shape (n,), their reflectance.
    usual : UsualFilm
    cards : Cards, optional
        Greys on the same roll.

    Returns
    -------
    tuple
        The model, and for each chart how far its greys are off in the mean, CIE L*.
    """
    number, lightness = len(charts) + 1, _lightness(wanted)

    def distances(parameters: F64Array) -> F64Array:
        model = usual.model(parameters[number:])
        seen = np.stack([scene_light(each, model)[:, GREEN] for each in charts])
        return _lightness(seen * 10.0 ** -parameters[: number - 1, None]) - lightness

    def residuals(parameters: F64Array) -> F64Array:
        misfit = (distances(parameters) / _GREY_NOISE).ravel()
        if cards is not None:
            of_cards = cards.misfit(usual.model(parameters[number:]), _EXPOSURE_DOUBT * float(parameters[number - 1]))
            misfit = np.concatenate([misfit, of_cards])
        return np.concatenate([misfit, parameters[number - 1 :]])

    start = np.zeros(number + usual.spread.shape[1])
    usual_light = np.stack([scene_light(each, usual.model())[:, GREEN] for each in charts])
    start[: number - 1] = np.median(np.log10(np.maximum(usual_light, _LEAST_LIGHT) / wanted), axis=1)
    found = fit(residuals, start)
    return usual.model(found[number:]), np.abs(distances(found)).mean(axis=1)


def chart_misfit(density: F64Array, linear_srgb: F64Array, model: FilmModel) -> float:
    """How far a chart comes out from its own colours with a film that is known, as in `ChartFit.misfit`.

    Parameters
    ----------
    density, linear_srgb : ndarray
        As in `fit_chart`.
    model : FilmModel
    """
    light = scene_light(density, model)
    level = np.median(np.log(np.maximum(light[:, GREEN], _LEAST_LIGHT) / linear_srgb[:, GREEN]))
    wanted = _lab(linear_srgb)
    return float(np.linalg.norm((_lab(light * np.exp(-level)) - wanted) * _weights(wanted), axis=1).mean())


def fit_slide_chart(
    density: F64Array, linear_srgb: F64Array, greys: npt.NDArray[np.intp], usual: UsualFilm
) -> ChartFit:
    """Fit a slide to a target on it whose own colours are known; parameters as in `fit_chart`.

    The light matrix holds the level as well: it makes the target as bright as it is said to be.
    """

    def level(parameters: F64Array) -> float:
        return float(10.0 ** (_EXPOSURE_DOUBT * parameters[0]))

    def seen(parameters: F64Array) -> F64Array:
        return level(parameters) * scene_light(density, usual.model(parameters[1:]))

    start = np.zeros(1 + usual.spread.shape[1])
    found, misfit, surprise = _fit_colours(seen, linear_srgb, greys, start, _SLIDE_NOISE)
    model = usual.model(found[1:])
    matrix = as_matrix(level(found) * np.array(model.light_matrix))
    return ChartFit(dataclasses.replace(model, light_matrix=matrix, source="colour chart"), misfit, surprise)


def _nothing(_parameters: F64Array) -> F64Array:
    return np.empty(0)


def _fit_colours(
    seen: Callable[[F64Array], F64Array],
    linear_srgb: F64Array,
    greys: npt.NDArray[np.intp],
    start: F64Array,
    noise: float = _COLOUR_NOISE,
    *,
    besides: Callable[[F64Array], F64Array] = _nothing,
) -> tuple[F64Array, float, float]:
    """Find the parameters, standard deviations from the usual, that explain a chart best; its misfit and surprise.

    `besides` gives what else there is to explain, in standard deviations.
    """
    wanted = _lab(linear_srgb)
    weights = _weights(wanted)
    trust = np.ones((len(wanted), 1)) / noise
    trust[greys] *= _GREY_WEIGHT

    def distances(parameters: F64Array) -> F64Array:
        return np.asarray((_lab(seen(parameters)) - wanted) * weights)

    def residuals(parameters: F64Array) -> F64Array:
        return np.concatenate([(distances(parameters) * trust).ravel(), besides(parameters), parameters])

    found = fit(residuals, start, rounds=40)
    rest = residuals(found)
    return found, float(np.linalg.norm(distances(found), axis=-1).mean()), float(rest @ rest)


def _weights(lab: F64Array) -> F64Array:
    """What lightness, a and b of colours count, shape (n, 3): chroma the less the more there is of it."""
    weight = 1.0 / (1.0 + 0.045 * np.hypot(lab[:, 1], lab[:, 2]))
    return np.stack([np.ones_like(weight), weight, weight], axis=1)


def _lab(linear_srgb: F64Array) -> F64Array:
    """CIE L*a*b* of linear sRGB under its own white (CIE 15:2018, 8.2.1)."""
    ratio = (np.clip(linear_srgb, 0.0, 1.3) @ _TO_XYZ.T) / _WHITE_XYZ
    root = _root(ratio)
    x, y, z = root[..., 0], root[..., 1], root[..., 2]
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def _lightness(luminance: F64Array) -> F64Array:
    """CIE L* of luminance, white = 1."""
    return 116.0 * _root(np.clip(luminance, 0.0, 1.3)) - 16.0


def _root(ratio: F64Array) -> F64Array:
    return np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
