"""The tone of a print: faithful in the middle, an end to the highlights that keeps them apart."""

import numpy as np
import numpy.typing as npt

from tethercap.pictures import F64Array

MIDDLE_GREY = 0.18
"""Reflectance of the grey card."""
SHOULDER_FROM = 0.90
"""Linear value above which highlights are drawn together; diffuse white (0.9) is not touched."""

_TOE = 0.003
"""Linear light at which the darkest tones begin to be drawn together, so that none is cut off at black."""


def print_tone(light: npt.ArrayLike, contrast: float = 1.0) -> F64Array:
    """Linear scene light, 1 = a perfect white, to linear light of the print.

    Parameters
    ----------
    light : array_like
        Any shape; negative light, which colours outside the space have, ends just above 0.
    contrast : float
        Exponent around middle grey.

    Returns
    -------
    ndarray
        0..1. Straight up to `SHOULDER_FROM`, then 1 - (1 - k)·(1 + u/2)^-2 with u = (light - k)/(1 - k): slope and
        value go on smoothly at k, and two stops over white still differ from three.
    """
    raw = np.asarray(light, dtype=np.float64)
    scene = 0.5 * (raw + np.sqrt(raw * raw + _TOE * _TOE))
    if contrast != 1.0:
        scene = MIDDLE_GREY * (scene / MIDDLE_GREY) ** contrast
    room = 1.0 - SHOULDER_FROM
    above = np.maximum(scene - SHOULDER_FROM, 0.0) / room
    return np.where(scene <= SHOULDER_FROM, scene, 1.0 - room * (1.0 + above / 2.0) ** -2)
