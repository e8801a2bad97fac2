"""Film models from greys and colours that are known: grey cards on the roll, or a colour chart."""

import dataclasses

import numpy as np
import numpy.typing as npt

from tethercap.convert import spaces
from tethercap.convert.exposure import scene_light
from tethercap.convert.film_model import FilmModel, Matrix, Triple
from tethercap.convert.least_squares import fit
from tethercap.convert.neutral import with_shifts
from tethercap.pictures import ColourSpace, F64Array

_GAMMA_SPREAD = 0.10
"""How far slopes of stocks lie apart, as a share; the pull towards the usual where few greys are known."""
_SPEED_SPREAD = 0.2
_TOE_SPREAD = 0.06
_TOE_RATIO_SPREAD = 0.15
_STEP_DOUBT = 0.35
"""Stops that the distance of two greys may be from a whole number."""
_DENSITY_NOISE = 0.004


def curve(log_exposure: F64Array, gamma: float, speed: float, toe: float) -> F64Array:
    """Density over base of the model's curve; see `film_model`."""
    return np.asarray(gamma * toe * np.logaddexp(0.0, (log_exposure - speed) / toe))


def fit_greys(density: F64Array, log_exposure: F64Array, start: FilmModel) -> FilmModel:
    """Fit curves to greys whose exposures are known relative to each other.

    Parameters
    ----------
    density : ndarray
        Shape (n, 3), density over base as the camera sees it.
    log_exposure : ndarray
        Shape (n,), log10 of scene exposure; 0 = white of a normal exposure, or any other zero.
    start : FilmModel
        What is usual; where the greys say little, the answer stays near it. Its matrices are kept.
    """
    usual_gamma, usual_toe = np.array(start.gamma), start.toe
    middle = float(np.median(log_exposure))
    reach = float(np.median(density[:, 1]))
    usual_speed = middle - reach / usual_gamma[1] + np.array(start.speed) - start.speed[1]

    def toes(parameters: F64Array) -> F64Array:
        return np.asarray((abs(parameters[6]) + 0.02) * np.exp([parameters[7], 0.0, parameters[8]]))

    def residuals(parameters: F64Array) -> F64Array:
        gamma, speed, toe = parameters[:3], parameters[3:6], toes(parameters)
        misfit = [(curve(log_exposure, gamma[k], speed[k], toe[k]) - density[:, k]) / _DENSITY_NOISE for k in range(3)]
        pulls = [
            (gamma / usual_gamma - 1.0) / _GAMMA_SPREAD,
            (speed - usual_speed) / _SPEED_SPREAD,
            [(toe[1] - usual_toe) / _TOE_SPREAD],
            parameters[7:9] / _TOE_RATIO_SPREAD,
        ]
        return np.concatenate([*misfit, *pulls])

    found = fit(residuals, np.concatenate([usual_gamma, usual_speed, [usual_toe - 0.02, 0.0, 0.0]]))
    toe = toes(found)
    return dataclasses.replace(
        start,
        gamma=_triple(found[:3]),
        speed=_triple(found[3:6]),
        toe=float(toe[1]),
        toe_ratio=_triple(toe / toe[1]),
    )


def fit_neutral(density: F64Array, start: FilmModel) -> FilmModel:
    """Fit the outer channels' curves to greys whose exposures are not known.

    Parameters
    ----------
    density : ndarray
        Shape (n, 3), density over base of greys, n >= 1.
    start : FilmModel
        What is usual; its green curve, toe and matrices are kept.
    """

    def residuals(shifts: F64Array) -> F64Array:
        model = with_shifts(start, shifts)
        misfit = [(model.equalised(density[:, k], k) - density[:, 1]) / _DENSITY_NOISE for k in (0, 2)]
        pulls = [shifts[:2] / _GAMMA_SPREAD, shifts[2:] / _SPEED_SPREAD]
        return np.concatenate([*misfit, *pulls])

    return with_shifts(start, fit(residuals, np.zeros(4)))


def whole_stops(density: F64Array, usual: FilmModel) -> F64Array | None:
    """Tell how many stops apart bracketed greys were exposed; brackets go in whole stops.

    Parameters
    ----------
    density : ndarray
        Shape (n, 3), density over base of one grey at different exposures.
    usual : FilmModel
        Its slopes are off by a tenth at most, which leaves one, two and three stops apart.

    Returns
    -------
    ndarray or None
        Shape (n,), log10 of exposure, whole stops apart; None where they are all alike or do not fit whole stops.
    """
    rough = np.log10(np.maximum(usual.exposure(density[:, 1]), 1e-9))
    stops = (rough - rough[np.argsort(rough)[len(rough) // 2]]) / np.log10(2.0)
    # The steps are counted from one to the next, so that a slope that is off does not add up.
    order = np.argsort(stops)
    steps = np.diff(stops[order])
    whole = np.rint(steps)
    if whole.sum() < 1 or np.abs(steps - whole).max() > _STEP_DOUBT:
        return None
    counted = np.concatenate([[0.0], np.cumsum(whole)])
    placed = np.empty_like(stops)
    placed[order] = counted - counted[len(order) // 2]
    return np.asarray(np.median(rough) + placed * np.log10(2.0))


def fit_chart(
    density: F64Array, linear_srgb: F64Array, greys: npt.NDArray[np.intp], start: FilmModel, *, pull: float = 0.15
) -> FilmModel:
    """Fit curves and both matrices to a colour chart on the roll.

    Parameters
    ----------
    density : ndarray
        Shape (n, 3), density over base of the patches as the camera sees them.
    linear_srgb : ndarray
        Shape (n, 3), what the patches are, white = 1.
    greys : ndarray
        Indices of the grey patches.
    start : FilmModel
        What is usual.
    pull : float
        How far elements of the matrices may lie from the usual; smaller holds them nearer.
    """
    model = fit_greys(density[greys], np.log10(linear_srgb[greys].mean(axis=1)), start)
    usual = np.concatenate([free_of(model.density_matrix), free_of(model.light_matrix)])
    wanted = _lab(linear_srgb)
    weight = 1.0 / (1.0 + 0.045 * np.hypot(wanted[:, 1], wanted[:, 2]))
    weights = np.stack([np.ones_like(weight), weight, weight], axis=1)

    def with_matrices(free: F64Array) -> FilmModel:
        return dataclasses.replace(
            model,
            density_matrix=as_matrix(matrix_from(free[:6])),
            light_matrix=as_matrix(matrix_from(free[6:])),
        )

    def residuals(free: F64Array) -> F64Array:
        misfit = (_lab(scene_light(density, with_matrices(free))) - wanted) * weights
        return np.concatenate([misfit.ravel(), (free - usual) / pull])

    return with_matrices(fit(residuals, usual))


def _lab(linear_srgb: F64Array) -> F64Array:
    """CIE L*a*b* of linear sRGB under its own white (CIE 15:2018, 8.2.1)."""
    ratio = (np.clip(linear_srgb, 0.0, 1.3) @ spaces.rgb_to_xyz(ColourSpace.SRGB).T) / spaces.xyz_of(spaces.D65_XY)
    root = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    x, y, z = root[..., 0], root[..., 1], root[..., 2]
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def matrix_from(free: F64Array) -> F64Array:
    """Build a 3 x 3 whose rows sum to one from its six off-diagonal elements, row by row."""
    a, b, c, d, e, f = free
    return np.array([[1 - a - b, a, b], [c, 1 - c - d, d], [e, f, 1 - e - f]])


def free_of(matrix: Matrix) -> F64Array:
    """Take the six off-diagonal elements of a 3 x 3, row by row."""
    m = np.array(matrix)
    return np.array([m[0, 1], m[0, 2], m[1, 0], m[1, 2], m[2, 0], m[2, 1]])


def as_matrix(array: F64Array) -> Matrix:
    """Plain tuples of a 3 x 3 array."""
    rows = [_triple(row) for row in array]
    return rows[0], rows[1], rows[2]


def _triple(values: F64Array) -> Triple:
    return float(values[0]), float(values[1]), float(values[2])
