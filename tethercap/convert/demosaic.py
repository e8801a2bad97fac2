"""Colour at every pixel of a mosaic whose channels are in balance.

Green is interpolated along and across the rows, each with the second derivative of the colour that is there added
(Hamilton and Adams, US patent 5,629,734, 1997, expired), and the two are mixed by how little that colour bends in each
direction; red and blue follow green by the mean of their differences from it (Freeman, US patent 4,724,395, 1988,
expired). This holds where a grey has the same value in all channels, which density over the film's base has, and raw
counts through an orange mask have not.

Everything is done on the four quarter planes of the mosaic, one for each place of its cell, in memory that is taken
once and used for tile after tile. A plane's neighbour to the right is the same plane one number further on, its
neighbour below one row of numbers further on; what runs over a row's end falls into the margin, which is of no use.
"""

from collections.abc import Iterator
from functools import partial

import cv2
import numpy as np

from tethercap.convert.bows import Colours, Step, steps_to_bows
from tethercap.pictures import F32Array, U8Array

MARGIN_CELLS = 2
"""Cells of the mosaic around a tile that must be there for its own to come out as in the whole picture."""
MARGIN_PX = 2 * MARGIN_CELLS
PLACES = ((0, 0), (0, 1), (1, 0), (1, 1))
"""Row and column of the four places of the mosaic's cell."""
RED_ROW, AT_RED, AT_BLUE, BLUE_ROW = range(4)
"""Order of planes: the green place in red's row, red's place, blue's place, the green place in blue's row."""
COLOURS = (1, 0, 2, 1)
"""Colour that the mosaic recorded in each: 0 red, 1 green, 2 blue."""
_ALONG, _ACROSS = range(2)
_GREEN_BESIDE = ((RED_ROW, BLUE_ROW), (BLUE_ROW, RED_ROW))
"""Where red's place and blue's have their green neighbours, along the row and across it."""
_LEAST_BEND = np.float32(6e-6)
"""Square of a bend, in density, that is as good as none."""


def places_of(pattern: U8Array) -> tuple[tuple[int, int], ...]:
    """Row and column, in the cell of a Bayer pattern, of the four planes in their order.

    Parameters
    ----------
    pattern : ndarray
        Colour at (row % 2, column % 2), shape (2, 2): 0 red, 1 green, 2 blue.
    """
    row, column = next(place for place in PLACES if pattern[place] == 0)
    return (row, 1 - column), (row, column), (1 - row, 1 - column), (1 - row, column)


class Planes:
    """A tile of a mosaic as planes, and the memory in which its colours are found.

    Fill `known`, call `complete`, then read `colours`.

    Parameters
    ----------
    rows, columns : int
        Cells of the tile, margin included.
    pattern : ndarray
        As in `places_of`.
    bows : ndarray, optional
        From `bows.bows_before`: what is added to the colours of each cell.
    half_size : bool
        Give each cell one colour, green as the mean of its two, instead of interpolating; then no margin is needed.
    """

    def __init__(
        self, rows: int, columns: int, pattern: U8Array, bows: F32Array | None = None, *, half_size: bool = False
    ) -> None:
        self.shape = (rows, columns)
        self.places = places_of(pattern)
        self._size = rows * columns
        # Neighbours of the first and of the last number are looked at as well.
        self._guard = columns + 1
        self._red_blue, self._greens, self._reds, self._blues = (self._stack(number) for number in (2, 4, 4, 4))
        number = 1 if half_size else 4
        self.colours: Colours = (
            self._within(self._greens, 0, number),
            self._within(self._reds, 0, number),
            self._within(self._blues, 0, number),
        )
        """Green, red less green and blue less green: at each of the four places a plane, one behind the other, flat. At
        half size there is one plane of each; else the outermost `MARGIN_CELLS` cells are of no use."""
        flat = [self._within(self._greens, RED_ROW, 1), *np.split(self._within(self._red_blue, 0, 2), 2)]
        flat.append(self._within(self._greens, BLUE_ROW, 1))
        self.known = [plane.reshape(rows, columns) for plane in flat]
        """What the mosaic recorded, for each place a plane of shape (rows, columns)."""
        self._steps = [*self._steps_to_average(bows)] if half_size else [*self._steps_to_interpolate(bows)]

    def _stack(self, number: int) -> F32Array:
        return np.zeros(number * self._size + 2 * self._guard, np.float32)

    def _within(self, stack: F32Array, first: int, number: int, moved: int = 0) -> F32Array:
        """Planes of a stack, flat, read so many numbers further on."""
        start = self._guard + first * self._size + moved
        return stack[start : start + number * self._size]

    def complete(self) -> None:
        """Find all colours from what the mosaic recorded."""
        for step in self._steps:
            step()

    def _steps_to_average(self, bows: F32Array | None) -> Iterator[Step]:
        green, red_over, blue_over = self.colours
        yield partial(cv2.addWeighted, green, 0.5, self._within(self._greens, BLUE_ROW, 1), 0.5, 0.0, green)
        yield partial(cv2.subtract, self._within(self._red_blue, 0, 1), green, red_over)
        yield partial(cv2.subtract, self._within(self._red_blue, 1, 1), green, blue_over)
        if bows is not None:
            added, steps = steps_to_bows(bows, self.colours)
            yield from steps
            for colour, bow in zip(self.colours, added, strict=True):
                yield partial(cv2.add, colour, bow, colour)

    def _steps_to_interpolate(self, bows: F32Array | None) -> Iterator[Step]:
        yield from self._steps_to_green()
        red, blue = (self._within(stack, at, 1) for stack, at in ((self._reds, AT_RED), (self._blues, AT_BLUE)))
        green_at_red, green_at_blue = np.split(self._within(self._greens, AT_RED, 2), 2)
        yield partial(cv2.subtract, self._within(self._red_blue, 0, 1), green_at_red, red)
        yield partial(cv2.subtract, self._within(self._red_blue, 1, 1), green_at_blue, blue)
        if bows is not None:
            # Colour is not known any finer than a cell, so each has one bow.
            (of_green, of_red, of_blue), steps = steps_to_bows(bows, (green_at_red, red, blue))
            yield from steps
            greens = self.colours[0].reshape(4, -1)
            yield partial(np.add, greens, of_green, greens)
            yield partial(cv2.add, red, of_red, red)
            yield partial(cv2.add, blue, of_blue, blue)
        yield from self._steps_to_spread(self._reds, AT_RED, RED_ROW, BLUE_ROW, AT_BLUE)
        yield from self._steps_to_spread(self._blues, AT_BLUE, BLUE_ROW, RED_ROW, AT_RED)

    def _steps_to_green(self) -> Iterator[Step]:
        here = self._within(self._red_blue, 0, 2)
        (bent_along, along), (bent_across, across) = (tuple(np.empty((2, here.size), np.float32)) for _ in range(2))
        for axis, step, bend, value in ((_ALONG, 1, bent_along, along), (_ACROSS, self.shape[1], bent_across, across)):
            before, behind = (self._within(self._red_blue, 0, 2, moved) for moved in (-step, step))
            # A quarter of the second derivative, over next neighbours of the same colour.
            yield partial(cv2.add, before, behind, bend)
            yield partial(cv2.addWeighted, here, 0.5, bend, -0.25, 0.0, bend)
            for target, place, seen in zip(np.split(value, 2), (AT_RED, AT_BLUE), _GREEN_BESIDE[axis], strict=True):
                yield self._mean_of_two(self._greens, seen, place, axis, target)
            yield partial(cv2.add, value, bend, value)
        for bend in (bent_along, bent_across):
            yield partial(cv2.multiply, bend, bend, bend)
            yield partial(np.add, bend, _LEAST_BEND, bend)
        both = share = bent_along
        yield partial(cv2.add, bent_along, bent_across, both)
        yield partial(cv2.divide, bent_across, both, share)
        yield partial(cv2.subtract, along, across, along)
        yield partial(cv2.multiply, along, share, along)
        yield partial(cv2.add, along, across, self._within(self._greens, AT_RED, 2))

    def _steps_to_spread(
        self, stack: F32Array, here: int, in_row: int, in_column: int, opposite: int
    ) -> Iterator[Step]:
        """Give a difference that is known at one place to those in its row, in its column, and cornerwise."""
        for source, target, axis in ((here, in_row, _ALONG), (here, in_column, _ACROSS), (in_row, opposite, _ACROSS)):
            yield self._mean_of_two(stack, source, target, axis, self._within(stack, target, 1))

    def _mean_of_two(self, stack: F32Array, source: int, place: int, axis: int, target: F32Array) -> Step:
        """Mean of the two neighbours that a place has, along an axis, at another place."""
        step = 1 if axis == _ALONG else self.shape[1]
        is_second = self.places[place][1 - axis] == 1
        other = self._within(stack, source, 1, step if is_second else -step)
        return partial(cv2.addWeighted, self._within(stack, source, 1), 0.5, other, 0.5, 0.0, target)


def demosaic(band: F32Array, pattern: U8Array) -> F32Array:
    """Interpolate all three colours.

    Parameters
    ----------
    band : ndarray
        Shape (rows, columns), both even, float32, channels in balance.
    pattern : ndarray
        As in `places_of`.

    Returns
    -------
    ndarray
        Shape (rows, columns, 3), float32, order red, green, blue. Known values pass unchanged.
    """
    wide = cv2.copyMakeBorder(band, *(MARGIN_PX,) * 4, cv2.BORDER_REFLECT_101)
    rows, columns = wide.shape[0] // 2, wide.shape[1] // 2
    planes = Planes(rows, columns, pattern)
    for known, (row, column) in zip(planes.known, planes.places, strict=True):
        np.copyto(known, wide[row::2, column::2])
    planes.complete()
    green, red, blue = (stack.reshape(4, rows, columns) for stack in planes.colours)
    inner = (slice(MARGIN_CELLS, -MARGIN_CELLS),) * 2
    out = np.empty((*band.shape, 3), np.float32)
    for place, (row, column) in enumerate(planes.places):
        colours = [green[place] + red[place], green[place], green[place] + blue[place]]
        colours[COLOURS[place]] = planes.known[place]
        out[row::2, column::2] = cv2.merge([colour[inner] for colour in colours])
    return out
