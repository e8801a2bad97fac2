"""Exposure of a print, frame by frame, within the look of its roll."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tethercap.convert.film_model import GREEN, FilmModel
from tethercap.film.kinds import FilmKind
from tethercap.pictures import F64Array

WHITE_PERCENTILE = 99.7
"""Brightest share of a frame that is taken for its end; single lamps and glints are left above it."""
WHITE_LIGHT = 0.92
"""Luminance that end is brought to where it is neutral: white things, clouds, paper."""
COLOURED_LIGHT = 0.72
"""Where it is coloured, and so is no white (fur, leaves, a sky at dusk), what the strongest channel is brought to.
Fifteen open photographs as people finished them lie at these two with a standard deviation of a fifth of a stop; no
mean or median of brightness comes near that."""
_NEUTRAL_SATURATION, _COLOURED_SATURATION = 0.12, 0.27
"""(max - min) / max of linear sRGB below which a bright surface counts as white, and above which it surely is none."""
_STRONGEST_SHARE = 0.8
"""The rest is luminance: a film model that is off makes colours too strong long before it makes them too bright."""
_MOST_OVER_BRIGHT = 5.0
"""Furthest that end lies over the brightest tenth of a picture (4.5 in those photographs); more is a lamp, or sun."""
_BRIGHT_PERCENTILE, _WHITEST_PERCENTILE = 90.0, 99.0
_DOUBT_WHITE_STOPS, _DOUBT_COLOURED_STOPS, _DOUBT_LAMPS_STOPS = 0.15, 0.35, 0.5
"""Doubt of the gain with a white in the frame, without one, and where lamps or the sun are in it."""
_ALIKE_STOPS = 0.25
"""Least that exposures on a roll are taken to differ."""
_FEWEST_FRAMES = 4
"""Frames from which on their spread says how far they differ; before that a stop is assumed."""
USUAL_GAIN_STOPS = -5.3
"""log2 of the gain that a normal exposure needs where speed is 0: grey card 0.65 over base, slope 0.6."""
_LOWEST_WHITE_DENSITY = 0.25
_LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
_CELLS = 12_000
"""Cells that a frame's exposure is told from; more say nothing new."""
_MOST_HAZE = 0.004


@dataclass(frozen=True, slots=True)
class PrintExposure:
    """How the light of a frame is scaled for its print."""

    gain: float
    """Factor on the scene's linear light."""
    haze: float = 0.0
    """Linear print light taken away everywhere: stray light in camera and copy."""
    doubt_stops: float = 0.0
    """How far the gain may well be from what a person would choose, stops (standard deviation)."""


def scene_light(density: F64Array, model: FilmModel) -> F64Array:
    """Densities over base to linear sRGB of the scene, unscaled.

    Parameters
    ----------
    density : ndarray
        Shape (..., 3), per camera channel over the base.
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
    luminance = light @ _LUMINANCE
    strongest = _STRONGEST_SHARE * light.max(axis=1) + (1.0 - _STRONGEST_SHARE) * luminance
    whiteness = _whiteness(light[luminance >= np.percentile(luminance, _WHITEST_PERCENTILE)])
    lowest = float(model.exposure(_LOWEST_WHITE_DENSITY))
    of_white, lamps = _end(luminance, lowest)
    of_colour, _ = _end(strongest, lowest)
    gain = (WHITE_LIGHT / of_white) ** whiteness * (COLOURED_LIGHT / of_colour) ** (1.0 - whiteness)
    darkest = gain * float(np.percentile(light.max(axis=1), 0.5))
    doubt = _DOUBT_COLOURED_STOPS + whiteness * (_DOUBT_WHITE_STOPS - _DOUBT_COLOURED_STOPS)
    haze = black_point * float(np.clip(darkest - 0.004, 0.0, _MOST_HAZE))
    return PrintExposure(gain, haze, _DOUBT_LAMPS_STOPS if lamps else doubt)


def _end(brightness: F64Array, lowest: float) -> tuple[float, bool]:
    """Brightness of a frame's bright end, and whether lamps lie above it."""
    bright, end = (float(value) for value in np.percentile(brightness, (_BRIGHT_PERCENTILE, WHITE_PERCENTILE)))
    return max(min(end, _MOST_OVER_BRIGHT * bright), lowest), end > _MOST_OVER_BRIGHT * bright


def usual_gain_stops(model: FilmModel) -> float:
    """log2 of the gain that a normal exposure needs on a film."""
    return USUAL_GAIN_STOPS - model.speed[GREEN] * float(np.log2(10.0))


def settle_exposures(found: Sequence[PrintExposure], model: FilmModel) -> list[PrintExposure]:
    """Let the frames of a roll steady each other: a roll is mostly exposed alike.

    Each frame's gain is drawn to the roll's by as much as its own is in doubt, against how far the frames truly differ
    (what is left of their spread when the doubts are taken out). A bracketed roll keeps its differences.

    Parameters
    ----------
    found : sequence of PrintExposure
        What each frame tells by itself.
    model : FilmModel
        The one they were found with.
    """
    usual = usual_gain_stops(model)
    stops = np.log2([exposure.gain for exposure in found])
    doubts = np.array([exposure.doubt_stops for exposure in found])
    weights = 1.0 / (doubts**2 + 0.5)
    of_roll = float((stops @ weights + usual) / (weights.sum() + 1.0))
    differ = max(float(np.var(stops)) - float(np.mean(doubts**2)), _ALIKE_STOPS**2)
    if len(found) < _FEWEST_FRAMES:
        differ = 1.0
    trust = differ / (differ + doubts**2)
    settled = of_roll + trust * (stops - of_roll)
    return [replace(exposure, gain=float(2.0**stop)) for exposure, stop in zip(found, settled, strict=True)]


def _whiteness(brightest: F64Array) -> float:
    """Say how sure the brightest share of a frame is a white, by how near to neutral it is: 0..1."""
    middle = np.median(np.maximum(brightest, 0.0), axis=0)
    saturation = float((middle.max() - middle.min()) / max(middle.max(), 1e-9))
    return float(np.interp(saturation, (_NEUTRAL_SATURATION, _COLOURED_SATURATION), (1.0, 0.0)))


def find_slide_exposure(light: F64Array) -> PrintExposure:
    """Find how bright a slide is to be shown: its clearest parts just below white, the film's own look kept.

    Parameters
    ----------
    light : ndarray
        Shape (..., 3), linear sRGB, 1 = the bare light.
    """
    luminance = light.reshape(-1, 3) @ _LUMINANCE
    white = max(float(np.percentile(luminance, 99.5)), 0.2)
    return PrintExposure(float(np.clip(0.92 / white, 1.0, 2.5)))


def neutral_kind(film_kind: FilmKind) -> bool:
    """Say whether a kind of film has no colour of its own."""
    return film_kind is FilmKind.BW_NEGATIVE
