"""Cells of more than two pixels: quadrants, sextants, octants. A cell has two colours, so each is fitted in two."""

from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt

from tethercap.pictures import U8Array
from tethercap.tui.cells import CellGrid, U32Array
from tethercap.tui.picture_way import SUBPIXELS, Subpixels, Way

_FULL, _BLANK = 0x2588, 0x20
# Bit n is the n-th pixel, row by row from the top left: Unicode Standard, block "Block Elements", U+2580 to U+259F.
_QUADRANTS = (
    _BLANK, 0x2598, 0x259D, 0x2580, 0x2596, 0x258C, 0x259E, 0x259B, 0x2597, 0x259A, 0x2590, 0x259C, 0x2584, 0x2599,
    0x259F, _FULL,
)  # fmt: skip
# Octant patterns that other blocks already have: halves, quarters, quadrants, and the eighths at the corners
# (Unicode 16.0, block "Symbols for Legacy Computing Supplement", U+1CD00 to U+1CDE5, and the names beside it).
_ELSEWHERE = {
    0b00000000: _BLANK, 0b00000001: 0x1CEA8, 0b00000010: 0x1CEAB, 0b00000011: 0x1FB82, 0b00000101: 0x2598,
    0b00001010: 0x259D, 0b00001111: 0x2580, 0b00010100: 0x1FBE6, 0b00101000: 0x1FBE7, 0b00111111: 0x1FB85,
    0b01000000: 0x1CEA3, 0b01010000: 0x2596, 0b01010101: 0x258C, 0b01011010: 0x259E, 0b01011111: 0x259B,
    0b10000000: 0x1CEA0, 0b10100000: 0x2597, 0b10100101: 0x259A, 0b10101010: 0x2590, 0b10101111: 0x259C,
    0b11000000: 0x2582, 0b11110000: 0x2584, 0b11110101: 0x2599, 0b11111010: 0x259F, 0b11111100: 0x2586,
    0b11111111: _FULL,
}  # fmt: skip


def _sextant(bits: int) -> int:
    """U+1FB00 to U+1FB3B in the order of their bits, less the four that are blank, full and the two halves."""
    if bits in (0, 63):
        return _FULL if bits else _BLANK
    if bits in (0b010101, 0b101010):
        return 0x258C if bits == 0b010101 else 0x2590
    return 0x1FB00 + bits - 1 - (bits > 0b010101) - (bits > 0b101010)


def _octants() -> list[int]:
    glyphs, following = [], 0x1CD00
    for bits in range(256):
        if bits in _ELSEWHERE:
            glyphs.append(_ELSEWHERE[bits])
        else:
            glyphs.append(following)
            following += 1
    return glyphs


@lru_cache(maxsize=4)
def glyphs_of(way: Way) -> U32Array:
    """Code point of each pattern of a way's pixels; bit n is the n-th pixel, row by row from the top left."""
    table = {
        Way.QUADRANTS: list(_QUADRANTS),
        Way.SEXTANTS: [_sextant(bits) for bits in range(64)],
        Way.OCTANTS: _octants(),
    }[way]
    return np.array(table, dtype=np.uint32)


def two_tones(canvas_rgb: U8Array, way: Way) -> CellGrid:
    """Fit each cell in two colours: its pixels brighter than their mean in one, the others in the other.

    Parameters
    ----------
    canvas_rgb : ndarray
        Shape (4 * rows, 2 * columns, 3), square pixels.
    way : Way
        Quadrants, sextants or octants.
    """
    sub = SUBPIXELS[way]
    rows, columns = canvas_rgb.shape[0] // 4, canvas_rgb.shape[1] // 2
    pixels = _pixels_of_cells(canvas_rgb, rows, columns, sub)
    light = pixels @ np.array([0.299, 0.587, 0.114], dtype=np.float32)
    bright = light > light.mean(axis=-1, keepdims=True) + 0.5  # half a level: noise alone makes no pattern
    count = bright.sum(axis=-1, keepdims=True)
    total = pixels.sum(axis=2)
    lit = np.einsum("rcp,rcpk->rck", bright.astype(np.float32), pixels)
    whole = sub.across * sub.down
    foreground = lit / np.maximum(count, 1)
    background = (total - lit) / np.maximum(whole - count, 1)
    weights = (1 << np.arange(whole)).astype(np.uint32)
    patterns = bright.astype(np.uint32) @ weights
    foreground = np.where(count == 0, background, foreground)
    return CellGrid(glyphs_of(way)[patterns], _levels(foreground), _levels(background))


def _pixels_of_cells(canvas_rgb: U8Array, rows: int, columns: int, sub: Subpixels) -> npt.NDArray[np.float32]:
    """Pixels by cell, shape (rows, columns, pixels of a cell, 3)."""
    if sub.down != 4:
        size = (columns * sub.across, rows * sub.down)
        canvas_rgb = np.asarray(cv2.resize(canvas_rgb, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    by_cell = canvas_rgb.reshape(rows, sub.down, columns, sub.across, 3).transpose(0, 2, 1, 3, 4)
    return by_cell.reshape(rows, columns, sub.across * sub.down, 3).astype(np.float32)


def _levels(values: npt.NDArray[np.float32]) -> U8Array:
    return np.rint(values).astype(np.uint8)
