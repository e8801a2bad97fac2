"""Pictures as Sixel text, made by NumPy. Pure.

Sixel (DEC VT330/VT340 Programmer Reference, volume 2, chapter 14): a picture is bands of six rows; in a band each
colour is drawn as characters ``?`` + six bits, the top row lowest, runs as ``!count character``; ``$`` goes back to the
band's left, ``-`` on to the next.
"""

from functools import lru_cache
from itertools import product

import numpy as np
import numpy.typing as npt

from tethercap.pictures import U8Array

_BAND = 6
_LEVELS = 6
COLOURS = _LEVELS**3
"""Fixed colours, the same levels in each channel, so that nothing flickers from picture to picture."""
_DITHER = np.array([[0, 8, 2, 10], [12, 4, 14, 6], [3, 11, 1, 9], [15, 7, 13, 5]], dtype=np.int16)
"""Ordered thresholds (Bayer, 1973)."""
_SPELT_OUT = 3
"""Runs up to this long are written out: a count would be no shorter."""


@lru_cache(maxsize=1)
def _introducer_colours() -> str:
    """Definitions of the colours, in percent as the format wants them: ``#number;2;red;green;blue``."""
    percent = [round(100 * level / (_LEVELS - 1)) for level in range(_LEVELS)]
    levels = product(percent, repeat=3)
    return "".join(f"#{number};2;{red};{green};{blue}" for number, (red, green, blue) in enumerate(levels))


def colour_numbers(pixels_rgb: U8Array) -> npt.NDArray[np.intp]:
    """Number of the fixed colour for each pixel, ordered dither making the levels between.

    Parameters
    ----------
    pixels_rgb : ndarray
        Shape (height, width, 3), 0..255.
    """
    height, width = pixels_rgb.shape[:2]
    step = 255 // (_LEVELS - 1)
    threshold = ((_DITHER + 0.5) * (step / 16)).astype(np.uint16)
    tiled = np.tile(threshold, (-(-height // 4), -(-width // 4)))[:height, :width, None]
    level = (pixels_rgb + tiled) // np.uint16(step)
    return np.asarray(level @ np.array([_LEVELS**2, _LEVELS, 1], dtype=np.uint16), dtype=np.intp)


def encode(pixels_rgb: U8Array, *, magnify: int = 1) -> str:
    """Write a picture as Sixel text.

    Parameters
    ----------
    pixels_rgb : ndarray
        Shape (height, width, 3), 0..255.
    magnify : int
        Show each pixel as a square of so many, 1, 2 or 3: a coarser picture of the same size for less work.

    Returns
    -------
    str
        From the introducer to the string terminator; the cursor is left to the terminal.
    """
    numbers = colour_numbers(pixels_rgb)
    height, width = numbers.shape
    bands, colours, planes = _planes(numbers, magnify)
    last_of_band = np.r_[bands[1:] != bands[:-1], True]
    parts = [f'\x1bP0;1q"1;1;{width * magnify};{height * magnify}', _introducer_colours()]
    for colour, line, last in zip(colours.tolist(), _run_lengths(planes, magnify), last_of_band.tolist(), strict=True):
        parts.append(f"#{colour}{line}{'-' if last else '$'}")
    parts.append("\x1b\\")
    return "".join(parts)


def _planes(numbers: npt.NDArray[np.intp], magnify: int) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp], U8Array]:
    """Bits of the colours that each band uses: band and colour of each line, and the lines, shape (lines, width)."""
    height, width = numbers.shape
    source_rows = _BAND // magnify
    band = (np.arange(height) // source_rows)[:, None]
    used = np.zeros((-(-height // source_rows), COLOURS), dtype=bool)
    used[band, numbers] = True
    line_of = (used.cumsum() - 1).reshape(used.shape) * width
    place = line_of[band, numbers] + np.arange(width)
    bands, colours = np.nonzero(used)
    planes = np.zeros(len(bands) * width, dtype=np.uint8)
    for row in range(source_rows):
        planes[place[row::source_rows]] |= np.uint8(((1 << magnify) - 1) << (row * magnify))
    return bands, colours, planes.reshape(-1, width)


def _run_lengths(planes: U8Array, magnify: int) -> list[str]:
    """Each row of bits as characters, long runs counted; shape (rows, width) in, a text a row out."""
    rows, width = planes.shape
    starts_run = np.ones(planes.shape, dtype=bool)
    starts_run[:, 1:] = planes[:, 1:] != planes[:, :-1]
    at = np.flatnonzero(starts_run)
    bits = planes.reshape(-1)[at]
    lengths = np.diff(at, append=rows * width) * magnify
    ends_row = np.r_[at[1:] % width == 0, True]
    lengths[ends_row & (bits == 0)] = 0  # the rest of the line is empty: nothing need be said
    digits = 1 + (lengths > 9).astype(np.intp) + (lengths > 99) + (lengths > 999)
    counted = lengths > _SPELT_OUT
    sizes = np.where(counted, digits + 2, lengths)
    ends = sizes.cumsum()
    text = np.empty(int(ends[-1]), dtype=np.uint8)
    starts, characters = ends - sizes, bits + np.uint8(ord("?"))
    for place in range(_SPELT_OUT):
        short = ~counted & (lengths > place)
        text[starts[short] + place] = characters[short]
    _write_counts(text, starts[counted], lengths[counted], digits[counted], characters[counted])
    whole = text.tobytes().decode("ascii")
    row_ends = ends[ends_row].tolist()
    return [whole[start:end] for start, end in zip([0, *row_ends[:-1]], row_ends, strict=True)]


def _write_counts(
    text: U8Array,
    starts: npt.NDArray[np.intp],
    lengths: npt.NDArray[np.intp],
    digits: npt.NDArray[np.intp],
    characters: U8Array,
) -> None:
    """Write ``!count character`` at each start."""
    text[starts] = ord("!")
    text[starts + digits + 1] = characters
    for place in range(int(digits.max(initial=0))):
        has = digits > place
        text[(starts + digits - place)[has]] = ord("0") + lengths[has] // 10**place % 10
