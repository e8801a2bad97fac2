"""What greys of a roll of slides tell about its rig: where they come out tinted, and by how much.

How a camera sees a film's dyes by a panel's light is known only roughly from the RAW file. What is wrong shows first
in greys: they take a tint, the stronger the denser they are. Film is made so that greys come out grey, and most rolls
have some; so a tint that greys of all densities share is laid to the rig, as far as drawn rolls say it is likely
(``python -m tests.quality.fit_slides``). The rest is the film's own look, and is kept.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tethercap.convert import usual_slide_numbers
from tethercap.convert.exposure import LUMINANCE, scene_light
from tethercap.convert.film_model import GREEN, FilmModel
from tethercap.convert.usual_film import UsualFilm
from tethercap.pictures import F64Array

_LIGHTEST, _DARKEST = 0.12, 2.3
"""Densities between which a cell tells its colour: clear film has none, and what is darker is stray light as well."""
_STEPS = 12
"""Steps of density between the two, which count alike however many cells are in each."""
_CELLS_PER_FRAME = 400
"""Cells that a frame gives, so that each frame counts alike."""
_WIDTHS = (0.2, 0.12, 0.08, 0.05, 0.035, 0.03)
"""Tint, log10 of the light of red or blue over green's, that still counts as near grey: wide at first, so that the
start need not be good."""
_FURTHEST = 0.45
"""Tint beyond which a cell shows a colour, whatever the rig."""
_TINT_NOISE = 0.05 / np.sqrt(60.0)
"""Doubt of the tint of one roll's greys, at the densities together."""
_SLOPE_DOUBT, _BOW_DOUBT = 0.06, 0.04
"""How far the tint may well go with density, and bend: standard deviations before a roll is looked at."""
_BOW_ENDS = 1.2
"""Density at which the bend is 0, as it is on clear film: about the middle, so that slope and bend are told apart."""
_FRAMES_FOR_HALF = 1.5
"""So many frames tell half of what a long roll tells: what is in one picture is its subject's colour."""
_MOST_AWAY = 1.5
"""Standard deviations from which on a tint is believed less and less: it is the film's."""
_BLACKEST_PERCENTILE, _MOST_STRAY = 99.8, 0.8
"""Density that counts as a frame's blackest, and the most of its light that is stray."""
_LEAST_LIGHT = 1e-4
"""Light below this is taken for it: logarithms need some."""


def cast_of_frames(frames: Sequence[F64Array], model: FilmModel) -> F64Array:
    """Find the tint that greys would have, if a model were right.

    Parameters
    ----------
    frames : sequence of ndarray
        Density over the bare light of each frame's cells, shape (rows, columns, 3); NaN where there is no picture.
    model : FilmModel

    Returns
    -------
    ndarray
        Shape (4,): log10 of the light of red over green's per density of the slide, and how it bends; the same of blue.
        All 0 where nothing is to be seen.
    """
    seen = [frame[np.isfinite(frame[..., GREEN])] for frame in frames]
    light = np.log10(np.maximum(scene_light(np.concatenate([_spread(cells) for cells in seen]), model), _LEAST_LIGHT))
    density, tint = -np.log10(10.0**light @ LUMINANCE), light[:, [0, 2]] - light[:, [GREEN]]
    tells = (density > _LIGHTEST) & (density < _DARKEST) & (np.abs(tint).max(axis=1) < _FURTHEST)
    if not tells.any():
        return np.zeros(4)
    density, tint = density[tells], tint[tells]
    powers = np.stack([density, density * (density - _BOW_ENDS)], axis=1)
    evenly, doubt = _even(density) / _TINT_NOISE**2, np.diag([_SLOPE_DOUBT**-2, _BOW_DOUBT**-2])
    cast = np.zeros((2, 2))
    for width in _WIDTHS:
        near = evenly * np.exp(-0.5 * np.sum((tint - powers @ cast) ** 2, axis=1) / width**2)
        weighted = powers.T * near
        cast = np.linalg.solve(weighted @ powers + doubt, weighted @ tint)
    return np.asarray(cast.T.ravel())


def _spread(cells: F64Array) -> F64Array:
    return cells[:: max(len(cells) // _CELLS_PER_FRAME, 1)]


def _even(density: F64Array) -> F64Array:
    """Weights that sum to one, alike for all densities but those that hardly occur."""
    place = ((density - _LIGHTEST) / (_DARKEST - _LIGHTEST) * _STEPS).astype(np.intp).clip(0, _STEPS - 1)
    number = np.bincount(place, minlength=_STEPS)
    weights = 1.0 / np.maximum(number, len(density) / (5 * _STEPS))[place]
    return np.asarray(weights / weights.sum())


def slide_of_frames(frames: Sequence[F64Array], usual: UsualFilm) -> FilmModel:
    """Say how slides are to be read after their frames were looked at.

    Parameters
    ----------
    frames : sequence of ndarray
        As in `cast_of_frames`; those of the roll.
    usual : UsualFilm
        What is usual for slides on the rig.
    """
    seen = [frame[np.isfinite(frame[..., GREEN])] for frame in frames]
    if not any(len(cells) for cells in seen):
        return usual.model()
    cast = cast_of_frames(frames, usual.model())
    model = seen_by_cast(usual, cast, len(frames)).model()
    # More stray light than reaches the roll's blackest cells there is not: shadows would be cut off.
    blackest = max(float(np.percentile(cells.max(axis=1), _BLACKEST_PERCENTILE)) for cells in seen if len(cells))
    return replace(model, stray=min(model.stray, _MOST_STRAY * 10.0**-blackest))


def seen_by_cast(usual: UsualFilm, cast: F64Array, frames: int) -> UsualFilm:
    """Move what is usual by a cast that was found on so many frames."""
    known = usual_slide_numbers
    told = frames / (frames + _FRAMES_FOR_HALF)
    away = believed((cast - known.CAST) / known.CAST_SPREAD)
    return replace(usual, middle=usual.middle + told * away @ known.PER_CAST)


def believed(away: F64Array) -> F64Array:
    """How much of a cast is laid to the rig.

    Parameters
    ----------
    away : ndarray
        Shape (..., 4), standard deviations from the cast of most rolls.

    Returns
    -------
    ndarray
        The same where it is small, the less the further it lies out.
    """
    return np.asarray(away * np.exp(-0.5 * np.maximum(np.abs(away) - _MOST_AWAY, 0.0) ** 2))
