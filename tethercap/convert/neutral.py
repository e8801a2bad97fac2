"""The roll's neutral: what grey looks like on this film, told from all its frames together.

No frame need hold a grey. Over a roll, though, what is brightest is near grey more often than near any one colour,
and light and shade on a surface change its brightness and not its colour. So the curves are sought for which most of
the bright cells, and most differences between neighbouring cells, come out grey; what stands apart has no pull, and
where the film shows too little the answer stays at what is usual. A mean over each frame ("the world is grey on
average") is not used: it takes the colour out of meadows and sunsets.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tethercap.convert.exposure import scene_light
from tethercap.convert.film_model import FilmModel
from tethercap.convert.least_squares import fit
from tethercap.convert.usual_film import UsualFilm
from tethercap.pictures import F64Array

_BRIGHT_SHARE = 0.05
"""Share of a frame's cells that counts as bright."""
_FAINT = 0.04
"""Density below which a cell tells no colour."""
_LEAST_LIGHT = 1e-6
"""Light below this is taken for it: logarithms need some."""
_CELLS_PER_FRAME, _PAIRS_PER_FRAME = 150, 300
"""Bright cells, and pairs of neighbours, that a frame gives at most, so that frames count about alike."""
_STRONG = 0.03
"""Density by which two neighbours have to differ in green to tell a slope: grain differs by less."""
_WIDTHS = (0.40, 0.20, 0.12, 0.08, 0.055, 0.04, 0.03, 0.022)
"""Chroma, in density, that still counts as near grey: wide at first, so that the start need not be good."""
_DIFFERENCE_WIDTH = 0.4
"""The same for differences, as a share of `_WIDTHS`."""
_WARMTH = np.array([0.005, -0.012])
"""Chroma of what is bright in open photographs, red and blue against green, density: sun and skin outweigh sky. So much
that greys of drawn rolls come out grey in the mean."""
_WEIGHT_OF_FRAME = 3.0
"""Independent observations of grey that the bright cells of a frame are worth."""
_WEIGHT_OF_PAIRS = 4.0
"""The same for its differences, which tell the slopes."""
_LEAST_STEEPNESS = 0.2
"""Of the green scale over density: what is tried in a fit need not be a film."""
_RED, _GREEN, _BLUE = 0, 1, 2
_GRID = np.linspace(-0.5, 4.5, 251)
"""Densities over base at which curves are worked out; between them they are straight within a fraction of the grain."""


def estimate_neutral(frames: Sequence[F64Array], usual: UsualFilm) -> FilmModel:
    """Estimate the film's curves from a roll.

    Parameters
    ----------
    frames : sequence of ndarray
        Density over base of each frame's cells, shape (rows, columns, 3).
    usual : UsualFilm
        What is usual for the film on its rig, and how far it may be off.

    Returns
    -------
    FilmModel
        The usual one where there is nothing to go by.
    """
    cells, pairs = _observations(frames)
    if len(cells) < _CELLS_PER_FRAME // 10:
        return usual.model()
    seen = _Seen.of(cells, pairs)
    found = np.zeros(usual.curve_directions)
    for width in _WIDTHS:
        found = _refit(seen, usual, found, width)
    return usual.model(found)


def cast_of_brights(frames: Sequence[F64Array], model: FilmModel) -> float:
    """How far what is bright in a roll's frames is from grey, mostly, if a model were right.

    Parameters
    ----------
    frames : sequence of ndarray
        As in `estimate_neutral`.
    model : FilmModel

    Returns
    -------
    float
        log10 of the light of red or blue over green's, the larger; infinite where nothing is to be seen.
    """
    casts = []
    for frame in frames:
        usable = _usable(frame)
        if usable.any():
            light = np.maximum(scene_light(frame[_bright(frame, usable)], model), _LEAST_LIGHT)
            casts.append(np.median(np.log10(light[:, [_RED, _BLUE]] / light[:, [_GREEN]]), axis=0))
    return float(np.abs(np.median(casts, axis=0)).max()) if casts else np.inf


def _usable(frame: F64Array) -> np.ndarray:
    return np.asarray(np.all(np.isfinite(frame), axis=2) & (frame[..., _GREEN] > _FAINT))


def _bright(frame: F64Array, usable: np.ndarray) -> np.ndarray:
    return np.asarray(usable & (frame[..., _GREEN] >= np.quantile(frame[usable][:, _GREEN], 1.0 - _BRIGHT_SHARE)))


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """Cells and pairs as places on `_GRID`, so that a curve that is tried is worked out there alone."""

    below: NDArray[np.intp]
    """Number of the grid's place at or below each density, shape (3, cells + 2 * pairs)."""
    share: F64Array
    """How far it is on to the next."""
    number_of_cells: int

    @classmethod
    def of(cls, cells: F64Array, pairs: F64Array) -> "_Seen":
        density = np.concatenate([cells, pairs.reshape(-1, 3)]).T
        place = (np.clip(density, _GRID[0], _GRID[-1]) - _GRID[0]) / (_GRID[1] - _GRID[0])
        below = np.minimum(place.astype(np.intp), len(_GRID) - 2)
        return cls(below, place - below, len(cells))

    def chroma(self, model: FilmModel) -> tuple[F64Array, F64Array]:
        """Chroma of the cells, shape (cells, 2), and by how much that of pairs differs, (pairs, 2); density."""
        equal = np.empty(self.share.shape)
        for channel, (below, share) in enumerate(zip(self.below, self.share, strict=True)):
            table = model.equalised(_GRID, channel)
            equal[channel] = table[below] + share * np.diff(table)[below]
        # As steep as green's own density is, whatever its bend: a bend that flattens all would else make all look grey.
        steepness = np.maximum(np.diff(model.equalised(_GRID, _GREEN)) / np.diff(_GRID), _LEAST_STEEPNESS)
        chroma = ((equal[[_RED, _BLUE]] - equal[_GREEN]) / steepness[self.below[_GREEN]]).T
        pairs = chroma[self.number_of_cells :].reshape(-1, 2, 2)
        return chroma[: self.number_of_cells], pairs[:, 1] - pairs[:, 0]


def _observations(frames: Sequence[F64Array]) -> tuple[F64Array, F64Array]:
    """Take bright cells, shape (n, 3), and pairs of neighbours, shape (m, 2, 3), spread evenly over the frames."""
    cells, pairs = [], []
    for frame in frames:
        usable = _usable(frame)
        if not usable.any():
            continue
        cells.append(_spread(frame[_bright(frame, usable)], _CELLS_PER_FRAME))
        both = usable[:, :-1] & usable[:, 1:]
        neighbours = np.stack([frame[:, :-1][both], frame[:, 1:][both]], axis=1)
        strong = np.abs(neighbours[:, 0, _GREEN] - neighbours[:, 1, _GREEN]) > _STRONG
        pairs.append(_spread(neighbours[strong], _PAIRS_PER_FRAME))
    if not cells:
        return np.empty((0, 3)), np.empty((0, 2, 3))
    return np.concatenate(cells), np.concatenate(pairs)


def _spread(rows: F64Array, number: int) -> F64Array:
    """Give about `number` rows, evenly spread."""
    return rows[:: max(len(rows) // number, 1)][:number]


def _refit(seen: _Seen, usual: UsualFilm, away: F64Array, width: float) -> F64Array:
    narrow = width * _DIFFERENCE_WIDTH
    chroma, differences = seen.chroma(usual.model(away))
    of_cell, of_pair = _WEIGHT_OF_FRAME / _CELLS_PER_FRAME, _WEIGHT_OF_PAIRS / _PAIRS_PER_FRAME
    cell_root = np.sqrt(of_cell) / width * np.exp(-0.25 * np.sum(((chroma - _WARMTH) / width) ** 2, axis=1))
    pair_root = np.sqrt(of_pair) / narrow * np.exp(-0.25 * np.sum((differences / narrow) ** 2, axis=1))

    def residuals(trial: F64Array) -> F64Array:
        of_cells, of_pairs = seen.chroma(usual.model(trial))
        weighted = ((of_cells - _WARMTH) * cell_root[:, None]).ravel(), (of_pairs * pair_root[:, None]).ravel()
        return np.concatenate([*weighted, trial])

    # Weights change with the next width anyway: more rounds change no colour that could be told.
    return fit(residuals, away, rounds=2)
