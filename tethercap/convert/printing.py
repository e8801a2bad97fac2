"""From balanced densities to the numbers of a finished picture: layers, light, print, tone, on planes of numbers.

Colours are taken as green and the differences of red and blue from it, which is how a mosaic is interpolated; so every
matrix costs two passes a channel. Planes are flat, in any order of pixels.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from tethercap.convert.bows import Colours, Step
from tethercap.pictures import F32Array, F64Array, U8Array, U16Array

Mat = np.ndarray[Any, np.dtype[np.integer[Any] | np.floating[Any]]]
"""What OpenCV hands out."""
Order = tuple[tuple[int, ...], ...]
LUT_SIZE = 65536
LOWEST_DENSITY, HIGHEST_DENSITY = -0.5, 4.5
"""Range of densities over base that a 16-bit index spans, in steps of 0.00008."""
STEPS_PER_DENSITY = (LUT_SIZE - 1) / (HIGHEST_DENSITY - LOWEST_DENSITY)
DARKEST, BRIGHTEST = -0.008, 4.0
"""Range of linear print light that 16 bits span, white = 1, in steps of 0.00006: grain is coarser everywhere.

Colours outside the output space have some negative light; two stops over white are within half a step of an 8-bit
picture of the brightest there is."""
STEPS_PER_LIGHT = (LUT_SIZE - 1) / (BRIGHTEST - DARKEST)


@dataclass(frozen=True, slots=True, eq=False)
class PrintTables:
    """All that is done to the colours of one picture, as tables and matrices."""

    density_matrix: F32Array
    """Shape (3, 3), on equalised densities."""
    exposure: U16Array
    """Shape (65536,): density index to linear light at the print's exposure, in `STEPS_PER_LIGHT`."""
    light_matrix: F32Array
    """Shape (3, 4), light to light of the output space over `DARKEST`; the last column is an offset, in steps."""
    encode: U16Array | U8Array
    """Shape (65536,): linear light over `DARKEST`, in steps, to the encoded value, of 16 bits or of 8."""

    def for_screen(self) -> "PrintTables":
        """The same print in 8 bits, blue-green-red."""
        return replace(
            self,
            light_matrix=np.ascontiguousarray(self.light_matrix[::-1]),
            encode=np.rint(self.encode / 257.0).astype(np.uint8),
        )


def density_at(index: npt.ArrayLike) -> F64Array:
    """Density that a 16-bit index stands for."""
    return LOWEST_DENSITY + np.asarray(index, dtype=np.float64) / STEPS_PER_DENSITY


def density_index(density: npt.ArrayLike) -> U16Array:
    """16-bit index nearest to a density, at the end of the range beyond it."""
    steps = np.rint((np.asarray(density, dtype=np.float64) - LOWEST_DENSITY) * STEPS_PER_DENSITY)
    return np.clip(steps, 0, LUT_SIZE - 1).astype(np.uint16)


def light_steps(light: npt.ArrayLike) -> U16Array:
    """Linear light as a 16-bit number of steps, at the end of the range beyond it."""
    steps = np.rint(np.asarray(light, dtype=np.float64) * STEPS_PER_LIGHT)
    return np.clip(steps, 0, LUT_SIZE - 1).astype(np.uint16)


def encode_light() -> F64Array:
    """Linear light that each index of `PrintTables.encode` stands for, shape (65536,)."""
    return np.asarray(DARKEST + np.arange(LUT_SIZE) / STEPS_PER_LIGHT)


class Printer:
    """Prints planes of colours as pixels, in memory that is taken once.

    Parameters
    ----------
    tables : PrintTables
    colours : tuple of ndarray
        What is printed, read anew each time, each of shape (planes * rows * columns,), float32: equalised densities of
        green, and how much larger those of red and of blue are.
    shape : tuple of int
        Rows and columns of a plane.
    order : tuple of tuple of int
        For each row of the mosaic's cell the planes of its pixels, from left to right.
    """

    def __init__(self, tables: PrintTables, colours: Colours, shape: tuple[int, int], order: Order) -> None:
        self._tables, self._shape, self._order = tables, shape, order
        layers = np.empty((3, colours[0].size), np.uint16)
        self._woven = np.empty((len(order), shape[0], shape[1] * len(order[0]), 3), np.uint16)
        self._light, self._printed = np.empty_like(self._woven), np.empty_like(self._woven)
        self._steps = [*self._steps_to_expose(colours, layers), *self._steps_to_print()]

    def print(self) -> None:
        """Print what the planes hold now."""
        for step in self._steps:
            step()

    def encode(self, cell_row: int, rows: slice, columns: slice, out: Mat) -> None:
        """Give printed pixels of one row of the cell, shape (rows, columns, 3), of the type of `PrintTables.encode`."""
        cv2.LUT(self._printed[cell_row, rows, columns], self._tables.encode, out)

    def _steps_to_expose(self, colours: Colours, layers: U16Array) -> Iterator[Step]:
        yield from steps_to_layers(colours, self._tables.density_matrix, layers)
        yield from self._steps_to_weave(layers, self._woven)
        yield partial(cv2.LUT, _flat(self._woven), self._tables.exposure, _flat(self._light))

    def _steps_to_weave(self, layers: U16Array, pixels: U16Array) -> Iterator[Step]:
        """Planes of the places of a cell to rows of pixels."""
        rows, columns = self._shape
        planes = layers.reshape(3, -1, rows, columns)
        channels = np.empty((3, rows, pixels.shape[2]), np.uint16)
        for numbers, target in zip(self._order, pixels, strict=True):
            if len(numbers) == 1:
                yield partial(cv2.merge, list(planes[:, numbers[0]]), target)
                continue
            for layer, channel in zip(planes, channels, strict=True):
                pairs = channel.reshape(rows, columns, len(numbers))
                yield partial(cv2.merge, [layer[number] for number in numbers], pairs)
            yield partial(cv2.merge, list(channels), target)

    def _steps_to_print(self) -> Iterator[Step]:
        light, printed = (pixels.reshape(-1, *pixels.shape[2:]) for pixels in (self._light, self._printed))
        yield partial(cv2.transform, light, self._tables.light_matrix, printed)


def steps_to_layers(colours: Colours, density_matrix: F32Array, layers: U16Array) -> Iterator[Step]:
    """Steps that turn planes of colours into density indices of the film's layers, shape (3, numbers of a plane)."""
    green, red_over, blue_over = colours
    mixed = np.empty_like(green)
    scale, offset = STEPS_PER_DENSITY, -LOWEST_DENSITY * STEPS_PER_DENSITY
    for layer, (red, of_green, blue) in zip(layers, density_matrix.tolist(), strict=True):
        yield partial(cv2.addWeighted, red_over, red, green, red + of_green + blue, 0.0, mixed)
        yield partial(cv2.addWeighted, blue_over, blue * scale, mixed, scale, offset, layer, cv2.CV_16U)


def print_layers(layers: U16Array, tables: PrintTables) -> U16Array:
    """Print a small picture from its layers, density indices of shape (rows, columns, 3).

    Returns
    -------
    ndarray
        Of the same shape, linear light over `DARKEST` in steps, to be looked up in `PrintTables.encode`.
    """
    light = cv2.LUT(layers, tables.exposure)
    return np.asarray(cv2.transform(light, tables.light_matrix), np.uint16)


def _flat(pixels: U16Array) -> U16Array:
    return pixels.reshape(-1, pixels.shape[-2] * 3)
