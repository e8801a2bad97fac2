"""Colour at every pixel of a mosaic whose channels are in balance.

Green is interpolated along and across the rows, each with the second derivative of the colour that is there added
(Hamilton and Adams, US patent 5,629,734, 1997, expired), and the two are mixed by how little that colour bends in each
direction; red and blue follow green by the mean of their differences from it (Freeman, US patent 4,724,395, 1988,
expired). This holds where a grey has the same value in all channels, which density over the film's base has, and raw
counts through an orange mask have not. Everything is done on the four quarter planes of the mosaic, a band at a time.
"""

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np

from tethercap.pictures import F32Array, U8Array

Plane = np.ndarray[Any, np.dtype[np.integer[Any] | np.floating[Any]]]
"""What OpenCV hands out."""

MARGIN_PX = 8
"""Rows beside a band that must be there for its own rows to come out as in the whole picture (6 are reached)."""
_GREEN = 1
_LEAST_BEND = np.float32(6e-6)
"""Square of a bend, in density, that is as good as none."""


def demosaic(band: F32Array, pattern: U8Array, bows: F32Array | None = None) -> F32Array:
    """Interpolate all three colours.

    Parameters
    ----------
    band : ndarray
        Shape (rows, columns), both even, float32, channels in balance.
    pattern : ndarray
        Colour at (row % 2, column % 2), shape (2, 2): 0 red, 1 green, 2 blue; a Bayer pattern.

    bows : ndarray, optional
        Shape (3, 5), factors of terms of second order that are added, see `second_order`; once for each cell of the
        mosaic, since colour is not known any finer.

    Returns
    -------
    ndarray
        Shape (rows, columns, 3), float32, order red, green, blue. Known values pass unchanged, but for the bows.
    """
    known = {(row, column): np.ascontiguousarray(band[row::2, column::2]) for row in (0, 1) for column in (0, 1)}
    green = dict(known)
    differences: dict[int, dict[tuple[int, int], F32Array]] = {}
    for place, plane in known.items():
        colour = int(pattern[place])
        if colour != _GREEN:
            green[place] = _green_at(place, known)
            differences[colour] = _spread(place, np.asarray(cv2.subtract(plane, green[place]), np.float32))
    bowed = None if bows is None else second_order(_cell_colours(known, pattern), bows)
    out = np.empty((*band.shape, 3), np.float32)
    pairs = out.reshape(band.shape[0], band.shape[1] // 2, 6)
    for row in (0, 1):
        planes: list[Plane] = [
            _colour_at((row, column), colour, int(pattern[row, column]), known, green, differences)
            for column in (0, 1)
            for colour in range(3)
        ]
        if bowed is not None:
            planes = [cv2.add(plane, bowed[place % 3]) for place, plane in enumerate(planes)]
        pairs[row::2] = cv2.merge(planes)
    return out


def second_order(colours: Sequence[Plane], bows: F32Array) -> list[Plane]:
    """Terms of second order in the differences of red and blue from green.

    Parameters
    ----------
    colours : sequence of ndarray
        Planes of red, green and blue.
    bows : ndarray
        Shape (3, 5): for each colour the factors of u·u, u·v, v·v, u·g and v·g; u is red less green, v is blue
        less green.

    Returns
    -------
    list of ndarray
        A plane for each colour.
    """
    red, green, blue = colours
    u, v = cv2.subtract(red, green), cv2.subtract(blue, green)
    planes = []
    for uu, uv, vv, ug, vg in bows:
        of_u = cv2.scaleAdd(u, float(uu), cv2.addWeighted(v, float(uv), green, float(ug), 0.0))
        of_v = cv2.addWeighted(v, float(vv), green, float(vg), 0.0)
        planes.append(cv2.add(cv2.multiply(u, of_u), cv2.multiply(v, of_v)))
    return planes


def _cell_colours(known: dict[tuple[int, int], F32Array], pattern: U8Array) -> list[Plane]:
    """Red, green and blue of each cell of the mosaic, green as the mean of its two."""
    seen: list[list[F32Array]] = [[], [], []]
    for place, plane in known.items():
        seen[int(pattern[place])].append(plane)
    return [planes[0] if len(planes) == 1 else cv2.addWeighted(planes[0], 0.5, planes[1], 0.5, 0.0) for planes in seen]


def _green_at(place: tuple[int, int], known: dict[tuple[int, int], F32Array]) -> F32Array:
    """Green at a red or blue place of the mosaic's cell."""
    row, column = place
    here = _padded(known[place])
    bend_along, bend_across = _bend(here, axis=1), _bend(here, axis=0)
    along = cv2.add(_mean_of_two(known[row, 1 - column], axis=1, ahead=column == 1), bend_along)
    across = cv2.add(_mean_of_two(known[1 - row, column], axis=0, ahead=row == 1), bend_across)
    bent_along = np.asarray(cv2.multiply(bend_along, bend_along), np.float32)
    bent_across = np.asarray(cv2.multiply(bend_across, bend_across), np.float32)
    bent_across += _LEAST_BEND
    bent_along += bent_across
    bent_along += _LEAST_BEND
    share = cv2.divide(bent_across, bent_along)
    return np.asarray(cv2.add(across, cv2.multiply(share, cv2.subtract(along, across))), np.float32)


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


def _padded(plane: F32Array) -> Plane:
    """A plane with a rim of one, mirrored."""
    return cv2.copyMakeBorder(plane, 1, 1, 1, 1, cv2.BORDER_REFLECT_101)


def _bend(padded: Plane, *, axis: int) -> Plane:
    """A quarter of the second derivative, over next neighbours of the same colour, along an axis: 0 down, 1 right."""
    before, behind = (padded[1:-1, :-2], padded[1:-1, 2:]) if axis == 1 else (padded[:-2, 1:-1], padded[2:, 1:-1])
    return cv2.addWeighted(padded[1:-1, 1:-1], 0.5, cv2.add(before, behind), -0.25, 0.0)


def _mean_of_two(plane: F32Array, *, axis: int, ahead: bool) -> F32Array:
    """Mean of each value and its next (or, not `ahead`, its last) neighbour along an axis: 0 down, 1 to the right."""
    before, behind = (0, 1) if ahead else (1, 0)
    down, right = ((before, behind), (0, 0)) if axis == 0 else ((0, 0), (before, behind))
    wide = cv2.copyMakeBorder(plane, *down, *right, cv2.BORDER_REFLECT_101)
    one, other = (wide[:, :-1], wide[:, 1:]) if axis == 1 else (wide[:-1], wide[1:])
    return np.asarray(cv2.addWeighted(one, 0.5, other, 0.5, 0.0), np.float32)
