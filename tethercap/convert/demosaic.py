"""Colour at every pixel of a mosaic whose channels are in balance.

Green is interpolated along and across the rows, each with the second derivative of the colour that is there added
(Hamilton and Adams, US patent 5,629,734, 1997, expired), and the two are mixed by how little that colour bends in each
direction; red and blue follow green by the mean of their differences from it (Freeman, US patent 4,724,395, 1988,
expired). This holds where a grey has the same value in all channels, which density over the film's base has, and raw
counts through an orange mask have not. Everything is done on the four quarter planes of the mosaic, a band at a time.
"""

import cv2
import numpy as np

from tethercap.pictures import F32Array, U8Array

MARGIN_PX = 8
"""Rows beside a band that must be there for its own rows to come out as in the whole picture (6 are reached)."""
_GREEN = 1
_BEND = np.array([[-0.25, 0.5, -0.25]], np.float32)
"""A quarter of the second derivative, over next neighbours of the same colour."""
_PAIR = np.array([[0.5, 0.5]], np.float32)
_LEAST_BEND = np.float32(6e-6)
"""Square of a bend, in density, that is as good as none."""


def demosaic(band: F32Array, pattern: U8Array) -> F32Array:
    """Interpolate all three colours.

    Parameters
    ----------
    band : ndarray
        Shape (rows, columns), both even, float32, channels in balance.
    pattern : ndarray
        Colour at (row % 2, column % 2), shape (2, 2): 0 red, 1 green, 2 blue; a Bayer pattern.

    Returns
    -------
    ndarray
        Shape (rows, columns, 3), float32, order red, green, blue. Known values pass unchanged.
    """
    known = {(row, column): np.ascontiguousarray(band[row::2, column::2]) for row in (0, 1) for column in (0, 1)}
    green = dict(known)
    differences: dict[int, dict[tuple[int, int], F32Array]] = {}
    for place, plane in known.items():
        colour = int(pattern[place])
        if colour != _GREEN:
            green[place] = _green_at(place, known)
            differences[colour] = _spread(place, plane - green[place])
    out = np.empty((*band.shape, 3), np.float32)
    pairs = out.reshape(band.shape[0], band.shape[1] // 2, 6)
    for row in (0, 1):
        planes = [
            _colour_at((row, column), colour, int(pattern[row, column]), known, green, differences)
            for column in (0, 1)
            for colour in range(3)
        ]
        pairs[row::2] = cv2.merge(planes)
    return out


def _green_at(place: tuple[int, int], known: dict[tuple[int, int], F32Array]) -> F32Array:
    """Green at a red or blue place of the mosaic's cell."""
    row, column = place
    here = known[place]
    bend_along, bend_across = _filter(here, _BEND), _filter(here, np.ascontiguousarray(_BEND.T))
    along = _mean_of_two(known[row, 1 - column], axis=1, ahead=column == 1) + bend_along
    across = _mean_of_two(known[1 - row, column], axis=0, ahead=row == 1) + bend_across
    bent_along, bent_across = bend_along * bend_along, bend_across * bend_across
    share = (bent_across + _LEAST_BEND) / (bent_along + bent_across + 2 * _LEAST_BEND)
    return np.asarray(across + share * (along - across))


def _spread(place: tuple[int, int], difference: F32Array) -> dict[tuple[int, int], F32Array]:
    """Difference from green, known at one place of the cell, at all four."""
    row, column = place
    beside = _mean_of_two(difference, axis=1, ahead=column == 0)
    return {
        place: difference,
        (row, 1 - column): beside,
        (1 - row, column): _mean_of_two(difference, axis=0, ahead=row == 0),
        (1 - row, 1 - column): _mean_of_two(beside, axis=0, ahead=row == 0),
    }


def _colour_at(
    place: tuple[int, int],
    colour: int,
    colour_here: int,
    known: dict[tuple[int, int], F32Array],
    green: dict[tuple[int, int], F32Array],
    differences: dict[int, dict[tuple[int, int], F32Array]],
) -> F32Array:
    if colour == colour_here:
        return known[place]
    if colour == _GREEN:
        return green[place]
    return np.asarray(cv2.add(green[place], differences[colour][place]), np.float32)


def _mean_of_two(plane: F32Array, *, axis: int, ahead: bool) -> F32Array:
    """Mean of each value and its next (or, not `ahead`, its last) neighbour along an axis: 0 down, 1 to the right."""
    before = 0 if ahead else 1
    kernel, anchor = (_PAIR, (before, 0)) if axis == 1 else (np.ascontiguousarray(_PAIR.T), (0, before))
    return _filter(plane, kernel, anchor)


def _filter(plane: F32Array, kernel: F32Array, anchor: tuple[int, int] = (-1, -1)) -> F32Array:
    return np.asarray(cv2.filter2D(plane, -1, kernel, anchor=anchor, borderType=cv2.BORDER_REFLECT_101), np.float32)
