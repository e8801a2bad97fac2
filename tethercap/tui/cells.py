"""Pictures as terminal cells: pixels in, finished escape text out. Pure; all work on pixels is NumPy's.

A cell shows a glyph in a foreground on a background colour. With the upper half block ``▀`` a cell is two square-ish
pixels, one above the other; with Braille dots it is two by four points without colour.
"""

from dataclasses import dataclass
from enum import IntEnum
from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt
from rich.color import Color
from rich.segment import Segment
from rich.style import Style

from tethercap.pictures import U8Array

U32Array = npt.NDArray[np.uint32]

HALF_BLOCK = 0x2580
BRAILLE = 0x2800

# Bit of each dot by (row, column): Unicode Standard, block "Braille Patterns"; dots 1-3 and 7 left, 4-6 and 8 right.
_BRAILLE_BITS = np.array([[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]], dtype=np.uint16)

# Ordered dither thresholds, 0..63 (Bayer, "An optimum method for two-level rendition", 1973).
_BAYER_2 = np.array([[0, 2], [3, 1]])
_BAYER_4 = np.block([[4 * _BAYER_2, 4 * _BAYER_2 + 2], [4 * _BAYER_2 + 3, 4 * _BAYER_2 + 1]])
_BAYER_8 = np.block([[4 * _BAYER_4, 4 * _BAYER_4 + 2], [4 * _BAYER_4 + 3, 4 * _BAYER_4 + 1]])


class Depth(IntEnum):
    """How many colours go out, finest first."""

    BITS_24 = 24
    BITS_15 = 15
    """Five bits a channel: a third fewer bytes, hardly seen. The drawing quantises the picture, not the encoder, so
    that lines, letters and the ground beside the picture keep their colours."""
    PALETTE = 8
    """The fixed 256 colours of xterm."""
    NONE = 0
    """No colour at all: the glyphs carry the picture."""


@dataclass(frozen=True, slots=True, eq=False)
class CellGrid:
    """A picture in cells."""

    glyphs: U32Array
    """Code points, shape (rows, columns), each one cell wide."""
    foreground: U8Array
    """Shape (rows, columns, 3), RGB 0..255."""
    background: U8Array
    """As `foreground`."""

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        rows, columns = self.glyphs.shape
        return rows, columns

    def put(
        self, row: int, column: int, text: str, foreground: tuple[int, int, int], background: tuple[int, int, int]
    ) -> None:
        """Write text over the cells, in place; what falls outside is cut off."""
        rows, columns = self.shape
        if not 0 <= row < rows:
            return
        start, stop = max(0, column), min(columns, column + len(text))
        if start >= stop:
            return
        self.glyphs[row, start:stop] = [ord(character) for character in text[start - column : stop - column]]
        self.foreground[row, start:stop] = foreground
        self.background[row, start:stop] = background


def half_blocks(pixels_rgb: U8Array) -> CellGrid:
    """Take pixel rows by pairs: the upper one is the glyph's colour, the lower one the background.

    Parameters
    ----------
    pixels_rgb : ndarray
        Shape (2 * rows, columns, 3), RGB, 0..255.
    """
    rows, columns = pixels_rgb.shape[0] // 2, pixels_rgb.shape[1]
    glyphs = np.full((rows, columns), HALF_BLOCK, dtype=np.uint32)
    return CellGrid(glyphs, pixels_rgb[0 : 2 * rows : 2].copy(), pixels_rgb[1 : 2 * rows : 2].copy())


def braille(grey: U8Array) -> CellGrid:
    """Dither a grey picture to Braille dots, for terminals without colour.

    Parameters
    ----------
    grey : ndarray
        Shape (4 * rows, 2 * columns), 0..255; a raised dot stands for light.
    """
    rows, columns = grey.shape[0] // 4, grey.shape[1] // 2
    grey = grey[: 4 * rows, : 2 * columns]
    repeats = (-(-grey.shape[0] // 8), -(-grey.shape[1] // 8))
    threshold = np.tile((_BAYER_8 * 4 + 2).astype(np.uint8), repeats)[: grey.shape[0], : grey.shape[1]]
    dots = (grey > threshold).reshape(rows, 4, columns, 2)
    glyphs = BRAILLE + np.einsum("rycx,yx->rc", dots.astype(np.uint16), _BRAILLE_BITS)
    colours = np.zeros((rows, columns, 3), dtype=np.uint8)
    return CellGrid(glyphs.astype(np.uint32), colours + np.uint8(255), colours)


@lru_cache(maxsize=1)
def _palette_of_bits_15() -> U8Array:
    """Nearest of xterm's 256 colours (cube 16..231, greys 232..255) for each 5-bit RGB, shape (32768,)."""
    levels = np.array([0, 95, 135, 175, 215, 255])
    channel = np.arange(32) * 255 // 31
    nearest = np.abs(channel[:, None] - levels).argmin(axis=1)
    red, green, blue = np.meshgrid(np.arange(32), np.arange(32), np.arange(32), indexing="ij")
    cube = 16 + 36 * nearest[red] + 6 * nearest[green] + nearest[blue]
    wanted = np.stack([channel[red], channel[green], channel[blue]], axis=-1).astype(np.int64)
    in_cube = np.stack([levels[nearest[red]], levels[nearest[green]], levels[nearest[blue]]], axis=-1)
    mean = wanted.mean(axis=-1)
    grey_step = np.clip(np.rint((mean - 8) / 10), 0, 23).astype(np.int64)
    cube_error = ((wanted - in_cube) ** 2).sum(axis=-1)
    grey_error = ((wanted - (8 + 10 * grey_step)[..., None]) ** 2).sum(axis=-1)
    indices: U8Array = np.where(grey_error < cube_error, 232 + grey_step, cube).astype(np.uint8).reshape(-1)
    return indices


def to_palette(colours: U8Array) -> U8Array:
    """Index of the nearest of xterm's 256 colours for RGB colours of shape (..., 3)."""
    five = (colours >> 3).astype(np.uint16)
    packed = (five[..., 0] << 10) | (five[..., 1] << 5) | five[..., 2]
    indices: U8Array = _palette_of_bits_15()[packed]
    return indices


def to_bits_15(colours: U8Array) -> U8Array:
    """Quantise to five bits a channel, the two ends of the range kept."""
    five = colours & np.uint8(0xF8)
    return np.asarray(five | (five >> 5), dtype=np.uint8)


_DIGITS = np.array([[ord(digit) for digit in f"{value:03d}"] for value in range(256)], dtype=np.uint8)
_DIGIT_KEPT = np.array([[value >= 100, value >= 10, True] for value in range(256)])
_RESET = "\x1b[0m"


class CellEncoder:
    """Turns grids of one size and depth into lines of escape text, its buffers kept between pictures.

    Each cell has a fixed template of bytes; digits come from a table, and a mask drops leading zeros and colours that
    did not change from the cell before.

    Parameters
    ----------
    rows, columns : int
    depth : Depth
    """

    def __init__(self, rows: int, columns: int, depth: Depth) -> None:
        self.rows, self.columns, self.depth = rows, columns, depth
        lead_fore, lead_back = (b"38;2;", b"48;2;") if depth >= Depth.BITS_15 else (b"38;5;", b"48;5;")
        numbers = b"000;000;000" if depth >= Depth.BITS_15 else b"000"
        template = b"\x1b[" + lead_fore + numbers + b";" + lead_back + numbers + b"m" + b"    "
        self._colour_size = len(lead_fore) + len(numbers)
        self._bytes = np.empty((rows, columns, len(template)), dtype=np.uint8)
        self._bytes[:] = np.frombuffer(template, dtype=np.uint8)
        self._kept = np.ones((rows, columns, len(template)), dtype=bool)

    def lines(self, grid: CellGrid) -> list[str]:
        """Encode a grid; every line stands alone and ends with a reset.

        Raises
        ------
        ValueError
            If the grid has another size.
        """
        if grid.shape != (self.rows, self.columns):
            raise ValueError(f"the encoder is for {self.rows} x {self.columns} cells, the grid has {grid.shape}")
        if self.depth is Depth.NONE:
            return ["".join(map(chr, row)) for row in grid.glyphs.tolist()]
        self._write_colours(grid)
        self._write_glyphs(grid.glyphs)
        ends = np.count_nonzero(self._kept.reshape(self.rows, -1), axis=1).cumsum()
        text = self._bytes[self._kept].tobytes()
        starts = [0, *ends[:-1].tolist()]
        return [text[start:end].decode() + _RESET for start, end in zip(starts, ends.tolist(), strict=True)]

    def _write_colours(self, grid: CellGrid) -> None:
        size = self._colour_size
        fore_at, back_at = 2, 2 + size + 1
        fore_new = self._write_colour(grid.foreground, fore_at)
        back_new = self._write_colour(grid.background, back_at)
        self._kept[..., fore_at : fore_at + size] &= fore_new[..., None]
        self._kept[..., back_at : back_at + size] &= back_new[..., None]
        any_new = fore_new | back_new
        self._kept[..., :2] = any_new[..., None]
        self._kept[..., back_at - 1] = fore_new & back_new
        self._kept[..., back_at + size] = any_new

    def _write_colour(self, colours: U8Array, start: int) -> npt.NDArray[np.bool_]:
        values = self._values(colours)
        for channel in range(values.shape[-1]):
            at = start + 5 + 4 * channel
            self._bytes[..., at : at + 3] = _DIGITS[values[..., channel]]
            self._kept[..., at : at + 3] = _DIGIT_KEPT[values[..., channel]]
            self._kept[..., at - 1] = True
        self._kept[..., start : start + 5] = True
        changed = np.ones((self.rows, self.columns), dtype=bool)
        changed[:, 1:] = (values[:, 1:] != values[:, :-1]).any(axis=-1)
        return changed

    def _values(self, colours: U8Array) -> U8Array:
        if self.depth is Depth.PALETTE:
            return to_palette(colours)[..., None]
        return colours

    def _write_glyphs(self, glyphs: U32Array) -> None:
        """Write code points as UTF-8 (RFC 3629): the last byte always, those before it as they are needed."""
        utf8, kept = self._bytes[..., -4:], self._kept[..., -4:]
        two, three, four = glyphs >= 0x80, glyphs >= 0x800, glyphs >= 0x10000
        utf8[..., 0] = 0xF0 | (glyphs >> 18)
        utf8[..., 1] = np.where(four, 0x80 | ((glyphs >> 12) & 0x3F), 0xE0 | ((glyphs >> 12) & 0x0F))
        utf8[..., 2] = np.where(three, 0x80 | ((glyphs >> 6) & 0x3F), 0xC0 | ((glyphs >> 6) & 0x1F))
        utf8[..., 3] = np.where(two, 0x80 | (glyphs & 0x3F), glyphs & 0x7F)
        kept[..., 0], kept[..., 1], kept[..., 2], kept[..., 3] = four, three, two, True


def row_segments(grid: CellGrid, row: int, depth: Depth) -> list[Segment]:
    """Build one line as Rich segments, equal neighbours merged: for dialogs and screen shots, not for the live path."""
    glyphs = "".join(map(chr, grid.glyphs[row].tolist()))
    if depth is Depth.NONE:
        return [Segment(glyphs, Style())]
    pairs = np.concatenate([grid.foreground[row], grid.background[row]], axis=-1)
    new = np.flatnonzero(np.r_[True, (pairs[1:] != pairs[:-1]).any(axis=-1)]).tolist()
    segments = []
    for start, stop in zip(new, [*new[1:], len(glyphs)], strict=True):
        red, green, blue, back_red, back_green, back_blue = pairs[start].tolist()
        style = Style.from_color(Color.from_rgb(red, green, blue), Color.from_rgb(back_red, back_green, back_blue))
        segments.append(Segment(glyphs[start:stop], style))
    return segments


def shrink_into(pixels: U8Array, width_px: int, height_px: int) -> U8Array:
    """Resize by area means, never enlarging blurrily: small pictures are enlarged by nearest pixels."""
    smaller = pixels.shape[1] >= width_px and pixels.shape[0] >= height_px
    resized = cv2.resize(pixels, (width_px, height_px), interpolation=cv2.INTER_AREA if smaller else cv2.INTER_NEAREST)
    return np.asarray(resized, dtype=np.uint8)
