"""Exposure of a print, frame by frame, within the look of its roll."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tethercap.convert.film_model import GREEN, FilmModel
from tethercap.convert.tone import MIDDLE_GREY
from tethercap.film.kinds import FilmKind
from tethercap.pictures import F64Array

END_PERCENTILE = 99.9
"""Brightest share of a frame, by its strongest channel, that is taken for its end; specks are left above it."""
END_STOPS, END_PER_RANGE, END_PER_SPARKLE = -0.29, 0.17, -0.85
"""Where that end lies on the print, stops from its full light: at the first of these in a picture without contrast, up
by the second for each stop that its middle lies lower, down by the third for each stop that its brightest hundredth
stays under it. A finished photograph lets its strongest channel just reach full light, however dark the rest, if it has
two stops of contrast; one without (a wall, fur, fog) is kept nearer to the middle. Fitted for the least absolute error
to 207 open photographs on drawn films (``python -m tests.quality.fit_exposure``). Photographs that are left out of the
fit are off by 0.26 stops in the mean on other films with a chart on the roll. What else a picture tells by itself (its
shadows, its colours, contrast in small, where its light lies) brings that to 0.25 at best."""
_FULL_RANGE_STOPS, _MOST_SPARKLE_STOPS = 2.0, 0.5
GREY_END_STOPS = -0.21
"""How much lower that end lies on black-and-white film: what just reaches full light in one channel is darker as grey.
Fitted in the same way to silver images of those photographs."""
_BRIGHT_PERCENTILE, _SPARKLE_PERCENTILE = 90.0, 99.0
_MOST_OVER_BRIGHT_STOPS, _LAMP_OVER_BRIGHT_STOPS = 3.0, 1.5
"""Furthest the end lies over the brightest tenth (all but one of those photographs stay below). What lies further is a
lamp, or sun, which finished photographs have cut off: the further, the surer, until it says nothing and the end of the
rest is taken to lie as far over the brightest tenth as the second tells."""
_NIGHT_RANGE_STOPS = 4.0
_DOUBT_STOPS, _DOUBT_FLAT_STOPS, _DOUBT_NIGHT_STOPS = 0.27, 0.35, 0.6
"""Doubt of the gain: of most pictures, of those without contrast, and at night or with lamps or the sun in them."""
_EVEN_STOPS, _DOUBT_EVEN_STOPS = 0.3, 0.2
"""A frame whose light lies all closer together is a grey card, or as well printed like one; and the doubt of that."""
_ALIKE_STOPS = 0.15
"""Least that exposures on a roll are taken to differ."""
_SAME_SETTING_STOPS = 0.05
"""How far pictures of one setting differ in the exposure of their prints."""
_OF_ROLL, _WHOLE_STOPS_APART, _AS_ANOTHER = 0.5, 0.25, 0.25
"""How likely it is, before a frame is looked at, that it was exposed as the roll is, whole stops from one of its other
frames, as shutters and apertures go in steps, or just as that one. Common practice, no source. On rolls drawn of
photographs with their errors prints are less off so than by the roll's middle and single frames alone, whether frames
were exposed in whole stops, in half ones, at random or all alike; not, though, where a chart was bracketed in whole
stops and the other frames were exposed at random."""
_OFTEN, _OFTEN_SHARE, _SELDOM_SHARE = 0.8, 0.6, 1.9
"""Most errors are smaller than the doubt says, a few far larger: how many are, and by how much both differ from it."""
_LEAST_DOUBT_STOPS, _SUREST_STOPS = 0.02, 0.2
"""Doubt that there always is, and that below which one frame tells others no more than another: a setting that is known
need not be theirs."""
_ALL_ALIKE, _ONE_SETTING_STOPS, _ODD_SHARE = 0.2, 0.08, 0.05
"""How likely it is, before they are looked at, that all frames have one setting; how far prints of it differ; and how
many frames are odd ones all the same. Common practice, no source: on drawn rolls of ten that are so, prints are a
quarter less off, and half as much where a chart is among them; on other rolls no more than before."""
_LEAST_LIKELY = 1e-9
"""Per stop, of any error: one frame alone is not to rule a setting out."""
_STEPS_PER_STOP, _REACH_STOPS = 25, 6
"""Places at which a frame's exposure is tried, and how far from what it tells by itself."""
_OFF_ROLL = 0.5
"""By how much more the settings that are whole stops apart vary around the roll's middle, stops squared."""
_FEWEST_FRAMES = 4
"""Frames from which on their spread says how far they differ; before that a stop is assumed."""
USUAL_GAIN_STOPS = -5.3
"""log2 of the gain that a normal exposure needs where speed is 0: grey card 0.65 over base, slope 0.6."""
_LOWEST_WHITE_DENSITY, _LOWEST_GREY_DENSITY = 0.25, 0.1
"""Over base, of a picture's bright end and of an even frame: what has less is blank, and is not printed lighter."""
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
_LEAST_LIGHT = 1e-6
"""Light below this is taken for it: logarithms need some."""
_CELLS = 12_000
"""Cells that a frame's exposure is told from; more say nothing new."""
_MOST_HAZE = 0.002
"""Most linear print light that is taken off as haze: more would be the picture's own."""


@dataclass(frozen=True, slots=True)
class PrintExposure:
    """How the light of a frame is scaled for its print."""

    gain: float
    """Factor on the scene's linear light."""
    haze: float = 0.0
    """Linear print light taken away everywhere: stray light in camera and copy."""
    doubt_stops: float = 0.0
    """How far the gain may well be from what a person would choose, stops (standard deviation)."""


@dataclass(frozen=True, slots=True)
class BrightEnd:
    """The bright end of a frame, and what is around it."""

    stops: float
    """log2 of the strongest channel's light there."""
    contrast_stops: float
    """How far the frame's middle lies lower, as far as it counts."""
    sparkle_stops: float
    """How far the brightest hundredth lies lower, as far as it counts."""
    doubt_stops: float
    """Doubt of a gain that is told from it."""


def scene_light(density: F64Array, model: FilmModel) -> F64Array:
    """Densities over base to linear sRGB of the scene, unscaled; of a slide as it is seen on a light table.

    Parameters
    ----------
    density : ndarray
        Shape (..., 3), per camera channel over the base; of a slide over the bare light, which is 1 then.
    model : FilmModel

    Returns
    -------
    ndarray
        Shape (..., 3); may be negative outside the gamut.
    """
    return np.asarray(model.exposure(model.layers(density)) @ np.array(model.light_matrix).T)


def find_exposure(density: F64Array, model: FilmModel, *, black_point: float = 1.0) -> PrintExposure:
    """Find how bright a negative is to be printed.

    Parameters
    ----------
    density : ndarray
        Shape (..., 3), densities over base of the frame's cells.
    model : FilmModel
    black_point : float
        Share of the haze to take away, 0..1.
    """
    cells = density.reshape(-1, 3)
    light = scene_light(cells[:: max(len(cells) // _CELLS, 1)], model)
    lowest, lowest_grey = np.log2(model.exposure([_LOWEST_WHITE_DENSITY, _LOWEST_GREY_DENSITY]))
    darker, middle, brighter = np.log2(np.maximum(np.percentile(light @ LUMINANCE, (2.0, 50.0, 98.0)), _LEAST_LIGHT))
    if brighter - darker < _EVEN_STOPS:
        return PrintExposure(MIDDLE_GREY * 2.0 ** -float(max(middle, lowest_grey)), doubt_stops=_DOUBT_EVEN_STOPS)
    end = bright_end(light)
    printed_stops = END_STOPS + END_PER_RANGE * end.contrast_stops + END_PER_SPARKLE * end.sparkle_stops
    if model.film_kind is FilmKind.BW_NEGATIVE:
        printed_stops += GREY_END_STOPS
    gain = 2.0 ** float(printed_stops - max(end.stops, lowest))
    darkest = gain * float(np.percentile(light.max(axis=1), 0.5))
    haze = black_point * float(np.clip(darkest - 0.004, 0.0, _MOST_HAZE))
    return PrintExposure(gain, haze, end.doubt_stops)


def bright_end(light: F64Array) -> BrightEnd:
    """Find the bright end of a frame.

    Parameters
    ----------
    light : ndarray
        Shape (n, 3), linear sRGB of the frame's cells, unscaled.
    """
    strongest = np.maximum(light.max(axis=1), _LEAST_LIGHT)
    bright, most, end = np.log2(np.percentile(strongest, (_BRIGHT_PERCENTILE, _SPARKLE_PERCENTILE, END_PERCENTILE)))
    over = float(end - bright)
    has_lamps, counts = over > _MOST_OVER_BRIGHT_STOPS, 1.0
    if has_lamps:
        over = max(2.0 * _MOST_OVER_BRIGHT_STOPS - over, _LAMP_OVER_BRIGHT_STOPS)
        end = bright + over
        counts = (over - _LAMP_OVER_BRIGHT_STOPS) / (_MOST_OVER_BRIGHT_STOPS - _LAMP_OVER_BRIGHT_STOPS)
    range_stops = float(end - np.log2(max(float(np.median(light @ LUMINANCE)), _LEAST_LIGHT)))
    return BrightEnd(
        float(end),
        float(np.clip(range_stops, 0.0, _FULL_RANGE_STOPS)),
        counts * float(np.clip(end - most, 0.0, _MOST_SPARKLE_STOPS)),
        _doubt(range_stops, has_lamps=has_lamps),
    )


def _doubt(range_stops: float, *, has_lamps: bool) -> float:
    if has_lamps or range_stops > _NIGHT_RANGE_STOPS:
        return _DOUBT_NIGHT_STOPS
    return _DOUBT_FLAT_STOPS if range_stops < _FULL_RANGE_STOPS else _DOUBT_STOPS


def usual_gain_stops(model: FilmModel) -> float:
    """log2 of the gain that a normal exposure needs on a film."""
    return USUAL_GAIN_STOPS - model.speed[GREEN] * float(np.log2(10.0))


def settle_exposures(found: Sequence[PrintExposure], model: FilmModel) -> list[PrintExposure]:
    """Let the frames of a roll steady each other: a roll is mostly exposed alike, or part of it is, or in whole stops.

    What a frame tells is weighed against what is likely before it is looked at: that it lies where the roll does, as
    far as frames truly differ (what is left of their spread when the doubts are taken out); that it has the setting of
    one of the others; or one that is whole stops from that. It is given the middle of what is likely then, by which
    prints are least off in the mean. A bracketed roll keeps its differences; one whose frames tell nearly the same is
    taken for one that was exposed alike.

    Parameters
    ----------
    found : sequence of PrintExposure
        What each frame tells by itself.
    model : FilmModel
        The one they were found with.

    Returns
    -------
    list of PrintExposure
        As many, with other gains; haze and doubt stay.
    """
    stops = np.log2([exposure.gain for exposure in found])
    doubts = np.maximum([exposure.doubt_stops for exposure in found], _LEAST_DOUBT_STOPS)
    weights = 1.0 / (doubts**2 + 0.5)
    of_roll = float((stops @ weights + usual_gain_stops(model)) / (weights.sum() + 1.0))
    differ = max(float(np.var(stops)) - float(np.mean(doubts**2)), _ALIKE_STOPS**2)
    if len(found) < _FEWEST_FRAMES:
        differ = 1.0
    away = np.arange(-_REACH_STOPS * _STEPS_PER_STOP, _REACH_STOPS * _STEPS_PER_STOP + 1) / _STEPS_PER_STOP
    places = stops[:, None] + away
    likely = _OF_ROLL * _normal(places - of_roll, differ)
    if len(found) > 1:
        same, whole = _as_others(stops, doubts, away)
        likely += _AS_ANOTHER * same + _WHOLE_STOPS_APART * whole * _normal(places - of_roll, differ + _OFF_ROLL)
    errors = _errors(away, doubts[:, None])
    if len(found) >= _FEWEST_FRAMES:
        likely = _weighed_with_one_setting(likely, errors, stops, doubts, away)
    after = likely * errors
    below = np.cumsum(after, axis=1) - 0.5 * after
    middles = 0.5 * after.sum(axis=1)
    settled = [
        stop + float(np.interp(middle, sums, away)) for stop, middle, sums in zip(stops, middles, below, strict=True)
    ]
    return [replace(exposure, gain=float(2.0**stop)) for exposure, stop in zip(found, settled, strict=True)]


def _as_others(stops: F64Array, doubts: F64Array, away: F64Array) -> tuple[F64Array, F64Array]:
    """How likely the settings of the other frames make each place around a frame, and settings whole stops from them.

    Returns
    -------
    tuple of ndarray
        Each of shape (frames, places), per stop.
    """
    grid = _settings_around(stops)
    weights = 1.0 / (doubts**2 + _SUREST_STOPS**2)
    of_all = np.zeros(len(grid))
    for stop, doubt, weight in zip(stops, doubts, weights, strict=True):
        of_all += weight * _errors(grid - stop, doubt, _SAME_SETTING_STOPS)
    places = stops[:, None] + away
    own = weights[:, None] * _errors(away, doubts[:, None], _SAME_SETTING_STOPS)
    same = np.interp(places, grid, of_all) - own
    # One stop on from the last place is the first again.
    steps = np.append(of_all.reshape(-1, _STEPS_PER_STOP).sum(axis=0), of_all[::_STEPS_PER_STOP].sum())
    own_steps = own[:, :-1].reshape(len(stops), -1, _STEPS_PER_STOP).sum(axis=1)
    whole = np.interp(places % 1.0, np.arange(_STEPS_PER_STOP + 1) / _STEPS_PER_STOP, steps)
    whole -= np.pad(np.tile(own_steps, 2 * _REACH_STOPS), ((0, 0), (0, 1)), mode="wrap")
    others = (weights.sum() - weights)[:, None]
    return np.maximum(same, 0.0) / others, np.maximum(whole, 0.0) / others


def _settings_around(stops: F64Array) -> F64Array:
    """Every setting that a frame may have, log2 of the gain, `_STEPS_PER_STOP` to a stop; the first is a whole stop."""
    first = np.floor(stops.min()) - _REACH_STOPS
    number = (int(np.ceil(stops.max() - first)) + _REACH_STOPS) * _STEPS_PER_STOP
    return np.asarray(first + np.arange(number) / _STEPS_PER_STOP)


def _weighed_with_one_setting(
    likely: F64Array, errors: F64Array, stops: F64Array, doubts: F64Array, away: F64Array
) -> F64Array:
    """Mix in the chance that the whole roll has one setting: as high as the other frames foretell each one by it."""
    grid = _settings_around(stops)
    of_all = np.zeros(len(grid))
    for stop, doubt in zip(stops, doubts, strict=True):
        of_all += np.log(_errors(grid - stop, doubt, _ONE_SETTING_STOPS) + _LEAST_LIKELY)
    own = np.log(_errors(away, doubts[:, None], _ONE_SETTING_STOPS) + _LEAST_LIKELY)
    by_others = np.interp(stops[:, None] + away, grid, of_all) - own
    one = np.exp(by_others - by_others.max(axis=1, keepdims=True))
    one *= (1.0 - _ODD_SHARE) * _STEPS_PER_STOP / one.sum(axis=1, keepdims=True)
    one += _ODD_SHARE * likely
    evidence = float(np.log((one * errors).sum(axis=1) / (likely * errors).sum(axis=1)).sum())
    chance = 1.0 / (1.0 + (1.0 / _ALL_ALIKE - 1.0) * np.exp(-np.clip(evidence, -100.0, 100.0)))
    return np.asarray(chance * one + (1.0 - chance) * likely)


def _errors(away: F64Array, doubt: F64Array, further: float = 0.0) -> F64Array:
    """How likely it is, per stop, to be so far off: by the doubt, and because what is sought differs by `further`."""
    near, far = ((share * doubt) ** 2 + further**2 for share in (_OFTEN_SHARE, _SELDOM_SHARE))
    return _OFTEN * _normal(away, near) + (1.0 - _OFTEN) * _normal(away, far)


def _normal(away: F64Array, variance: F64Array | float) -> F64Array:
    return np.asarray(np.exp(-0.5 * away**2 / variance) / np.sqrt(2.0 * np.pi * variance))


def find_slide_exposure(light: F64Array) -> PrintExposure:
    """Find how bright a slide is to be shown: its clearest parts just below white, the film's own look kept.

    Parameters
    ----------
    light : ndarray
        Shape (..., 3), linear sRGB, 1 = the bare light.
    """
    luminance = light.reshape(-1, 3) @ LUMINANCE
    white = max(float(np.percentile(luminance, 99.5)), 0.2)
    return PrintExposure(float(np.clip(0.92 / white, 1.0, 2.5)))
