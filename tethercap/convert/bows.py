"""Terms of second order in the colour of a film: dyes that overlap do not add up quite straight."""

from collections.abc import Callable, Iterator
from functools import partial

import cv2
import numpy as np

from tethercap.pictures import F32Array, F64Array

Step = Callable[[], object]
"""One pass over planes of numbers, its memory chosen beforehand: what is left to do is to run them in turn."""
Colours = tuple[F32Array, F32Array, F32Array]
"""Densities of green, and how much larger those of red and of blue are: planes of one shape, float32."""


def bows_before(matrix: F64Array, bows: F64Array) -> F32Array:
    """Bows of green, of red over green and of blue over green that a density matrix turns into those of a film model.

    Parameters
    ----------
    matrix : ndarray
        Shape (3, 3), `FilmModel.density_matrix`.
    bows : ndarray
        Shape (3, 5), `FilmModel.density_bows`.

    Returns
    -------
    ndarray
        Shape (3, 5), float32; for each the factors of u·u, u·v, v·v, u·g and v·g, where u is red less green, v is blue
        less green and g is green.
    """
    red, green, blue = np.linalg.solve(matrix, bows)
    return np.stack([green, red - green, blue - green]).astype(np.float32)


def steps_to_bows(bows: F32Array, colours: Colours) -> tuple[Colours, Iterator[Step]]:
    """Prepare to work out the terms of second order of a film's colours.

    Parameters
    ----------
    bows : ndarray
        As from `bows_before`.
    colours : tuple of ndarray
        Read by the steps when they are run, not by this call.

    Returns
    -------
    tuple
        Planes for what is to be added to `colours`, and the steps that fill them.
    """
    green = colours[0]
    added = (np.empty_like(green), np.empty_like(green), np.empty_like(green))
    return added, _steps(bows, colours, added, np.empty_like(green))


def _steps(bows: F32Array, colours: Colours, added: Colours, spare: F32Array) -> Iterator[Step]:
    green, red, blue = colours
    for (red_red, red_blue, blue_blue, red_green, blue_green), bow in zip(bows.tolist(), added, strict=True):
        yield partial(cv2.addWeighted, blue, red_blue, green, red_green, 0.0, bow)
        yield partial(cv2.scaleAdd, red, red_red, bow, bow)
        yield partial(cv2.multiply, red, bow, bow)
        yield partial(cv2.addWeighted, blue, blue_blue, green, blue_green, 0.0, spare)
        yield partial(cv2.multiply, blue, spare, spare)
        yield partial(cv2.add, bow, spare, bow)
