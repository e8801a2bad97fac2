"""Exposure of a print, frame by frame, within the look of its roll."""

from dataclasses import dataclass

import numpy as np

from tethercap.convert.film_model import FilmModel
from tethercap.film.kinds import FilmKind
from tethercap.pictures import F64Array

WHITE_PERCENTILE = 99.0
"""Brightest share of a frame that is taken for its white; single lamps and glints are left above it."""
WHITE_LIGHT = 0.86
"""Linear print light which that white is brought to: diffuse white, as a card or paper in the scene would be."""
_LOWEST_WHITE_DENSITY = 0.25
_LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
_MOST_HAZE = 0.012


@dataclass(frozen=True, slots=True)
class PrintExposure:
    """How the light of a frame is scaled for its print."""

    gain: float
    """Factor on the scene's linear light."""
    haze: float = 0.0
    """Linear print light taken away everywhere: stray light in camera and copy."""


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
    equal = np.stack([model.equalised(density[..., channel], channel) for channel in range(3)], axis=-1)
    mixed = equal @ np.array(model.density_matrix).T
    return np.asarray(model.exposure(mixed) @ np.array(model.light_matrix).T)


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
    light = scene_light(density.reshape(-1, 3), model)
    luminance = light @ _LUMINANCE
    lowest = float(model.exposure(_LOWEST_WHITE_DENSITY))
    white = max(float(np.percentile(luminance, WHITE_PERCENTILE)), lowest)
    gain = WHITE_LIGHT / white
    darkest = gain * float(np.percentile(light.max(axis=1), 0.5))
    return PrintExposure(gain, black_point * float(np.clip(darkest - 0.004, 0.0, _MOST_HAZE)))


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
