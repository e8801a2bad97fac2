"""Film models for rolls on which nothing was measured but the base.

The figures were fitted by least squares to 150 invented stocks under eight panels and a spread of camera sensitivities
(the colour check in tests/quality keeps stocks of its own apart). They are estimates of what is usual, not measurements
of any film.
"""

import dataclasses

import numpy as np

from tethercap.convert import spaces
from tethercap.convert.film_model import FilmModel, Matrix, Triple
from tethercap.film.kinds import FilmKind
from tethercap.pictures import ColourSpace, F64Array, RawPicture

_USUAL_CAMERA = np.array([[1.702, -0.715, 0.013], [-0.184, 1.555, -0.371], [0.053, -0.442, 1.389]])
"""Balanced camera RGB to linear sRGB of the cameras of the fit, on average."""
_TRUST_IN_CAMERA_MATRIX = 0.85
"""A file's matrix is itself a fit, to other light than the panel's; this share of it gave the smallest errors."""
_FURTHEST_CAMERA = 1.3
"""Largest difference of an element from the usual at which a file's matrix is still believed."""
_SRGB_TO_BANDS = np.array([[0.985, 0.009, 0.006], [-0.111, 1.099, 0.012], [0.041, 0.040, 0.919]])
"""Linear sRGB to the light in the three bands where the dyes absorb most."""
_BASE_IN_BANDS = np.array([0.60, 0.25, 0.13])
"""Transmittance of an orange base in those bands."""
_DYES = np.array([[0.827, 0.077, 0.096], [0.017, 1.082, -0.099], [-0.047, -0.009, 1.056]])
"""Densities in the bands to what the layers saw: side absorptions and inhibition between layers undone."""
_STRENGTH = 0.85
"""Share of the unmixing that is done: nearly as good on the usual film, and safer on one that is not."""
_LAYERS: Matrix = ((1.500, -0.400, -0.100), (-0.038, 1.075, -0.037), (-0.064, -0.116, 1.180))
"""Exposures of the layers to linear sRGB."""

_GENERIC = {
    FilmKind.COLOUR_NEGATIVE: FilmModel(
        film_kind=FilmKind.COLOUR_NEGATIVE,
        gamma=(0.608, 0.660, 0.652),
        speed=(0.048, 0.0, -0.047),
        toe=0.20,
        light_matrix=_LAYERS,
        source="estimate for the kind of film",
    ),
    FilmKind.BW_NEGATIVE: FilmModel(
        film_kind=FilmKind.BW_NEGATIVE, gamma=(0.6, 0.6, 0.6), toe=0.2, source="estimate for the kind of film"
    ),
    FilmKind.SLIDE: FilmModel(film_kind=FilmKind.SLIDE, source="estimate for the kind of film"),
}


def generic_model(film_kind: FilmKind, raw: RawPicture | None = None) -> FilmModel:
    """Model of a kind of film at large, as a camera sees it.

    Parameters
    ----------
    film_kind : FilmKind
    raw : RawPicture, optional
        Any picture of the camera; its colour matrix tells how far the camera's channels overlap, which is most of what
        mixes the dyes' densities.
    """
    model = _GENERIC[film_kind]
    if film_kind is not FilmKind.COLOUR_NEGATIVE:
        return model
    return dataclasses.replace(model, density_matrix=_density_matrix(camera_to_srgb(raw)))


def camera_to_srgb(raw: RawPicture | None) -> F64Array:
    """Balanced camera RGB to linear sRGB, rows summing to one, shape (3, 3): the file's own where it is believable."""
    if raw is None or raw.camera_to_xyz is None:
        return _USUAL_CAMERA
    matrix = np.linalg.inv(spaces.rgb_to_xyz(ColourSpace.SRGB)) @ raw.camera_to_xyz
    matrix = matrix / matrix.sum(axis=1, keepdims=True)
    away = matrix - _USUAL_CAMERA
    if not np.all(np.abs(away) < _FURTHEST_CAMERA):
        return _USUAL_CAMERA
    return np.asarray(_USUAL_CAMERA + _TRUST_IN_CAMERA_MATRIX * away)


def _density_matrix(camera: F64Array) -> Matrix:
    """Undo in density, to first order, that a camera channel sees a little of the other bands.

    A channel sees sum_j Q_ij T_j; the change of its density with that of band j is Q_ij T_j over the sum, at the base.
    """
    seen = np.linalg.inv(_SRGB_TO_BANDS @ camera) * _BASE_IN_BANDS
    mixing = seen / seen.sum(axis=1, keepdims=True)
    matrix = _DYES @ np.linalg.inv(mixing)
    matrix = matrix / matrix.sum(axis=1, keepdims=True)
    matrix = np.eye(3) + _STRENGTH * (matrix - np.eye(3))
    rows: list[Triple] = [(float(row[0]), float(row[1]), float(row[2])) for row in matrix]
    return rows[0], rows[1], rows[2]
