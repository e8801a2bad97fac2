"""Pictures as Sixel text, made by NumPy. Pure.

Sixel (DEC VT330/VT340 Programmer Reference, volume 2, chapter 14): a picture is bands of six rows; in a band each
colour is drawn as characters ``?`` + six bits, the top row lowest, runs as ``!count character``; ``$`` goes back to the
band's left, ``-`` on to the next.
"""

from collections.abc import Sequence
from itertools import product

import numpy as np
import numpy.typing as npt

from tethercap.pictures import U8Array

_BAND = 6
_LEVELS = 6
_RANGED = _LEVELS**3
"""Colours in steps over the range that the picture has; film has little of most."""
MOST_EXACT = 256 - _RANGED
"""Colours that may be asked for exactly."""
_DITHER = np.array([[0, 8, 2, 10], [12, 4, 14, 6], [3, 11, 1, 9], [15, 7, 13, 5]], dtype=np.uint8)
"""Ordered thresholds (Bayer, 1973), sixteenths of a step."""
_SPELT_OUT = 3
"""Runs up to this long are written out: a count would be no shorter."""

Rgb = tuple[int, int, int]


def _ranges(pixels_rgb: U8Array) -> list[tuple[float, float]]:
    """Lowest and highest level of each channel, but for a hundredth at both ends."""
    sample = pixels_rgb[::8, ::8].reshape(-1, 3)
    low, high = np.percentile(sample, (1, 99), axis=0)
    return [(float(start), float(max(stop, start + _LEVELS))) for start, stop in zip(low, high, strict=True)]


def _definitions(ranges: Sequence[tuple[float, float]], exact: Sequence[Rgb]) -> str:
    """Colours in percent, as the format wants them: ``#number;2;red;green;blue``."""
    steps = [np.linspace(low, high, _LEVELS) for low, high in ranges]
    colours = [*product(*steps), *exact]
    return "".join(
        f"#{number};2;" + ";".join(str(round(float(level) * 100 / 255)) for level in colour)
        for number, colour in enumerate(colours)
    )


def _numbers(pixels_rgb: U8Array, ranges: Sequence[tuple[float, float]], exact: Sequence[Rgb]) -> npt.NDArray[np.intp]:
    """Number of the colour for each pixel; ordered dither makes the levels between."""
    height, width = pixels_rgb.shape[:2]
    dither = np.tile(_DITHER, (-(-height // 4), -(-width // 4)))[:height, :width]
    numbers = np.zeros((height, width), dtype=np.uint8)
    levels = np.arange(256)
    for channel, (low, high) in enumerate(ranges):
        sixteenths = np.clip((levels - low) / (high - low), 0, 1) * (16 * (_LEVELS - 1))
        step = (sixteenths.astype(np.uint8)[pixels_rgb[..., channel]] + dither) >> 4
        numbers = numbers * np.uint8(_LEVELS) + step
    for number, colour in enumerate(exact, start=_RANGED):
        numbers[(pixels_rgb == np.array(colour, dtype=np.uint8)).all(axis=-1)] = number
    return numbers.astype(np.intp)


def encode(pixels_rgb: U8Array, *, magnify: int = 1, exact: Sequence[Rgb] = ()) -> str:
    """Write a picture as Sixel text.

    Parameters
    ----------
    pixels_rgb : ndarray
        Shape (height, width, 3), 0..255.
    magnify : int
        Show each pixel as a square of so many, 1, 2 or 3: a coarser picture of the same size for less work.
    exact : sequence of colours
        At most `MOST_EXACT`, shown as they are: lines and letters drawn on the picture.

    Returns
    -------
    str
        From the introducer to the string terminator; the cursor is left to the terminal.
    """
    ranges, exact = _ranges(pixels_rgb), tuple(dict.fromkeys(exact))[:MOST_EXACT]
    numbers = _numbers(pixels_rgb, ranges, exact)
    height, width = numbers.shape
    bands, colours, planes = _planes(numbers, magnify)
    last_of_band = np.r_[bands[1:] != bands[:-1], True]
    parts = [f'\x1bP0;1q"1;1;{width * magnify};{height * magnify}', _definitions(ranges, exact)]
    for colour, line, last in zip(colours.tolist(), _run_lengths(planes, magnify), last_of_band.tolist(), strict=True):
        parts.append(f"#{colour}{line}{'-' if last else '$'}")
    parts.append("\x1b\\")
    return "".join(parts)


def _planes(numbers: npt.NDArray[np.intp], magnify: int) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp], U8Array]:
    """Bits of the colours that each band uses: band and colour of each line, and the lines, shape (lines, width)."""
    height, width = numbers.shape
    source_rows = _BAND // magnify
    band = (np.arange(height) // source_rows)[:, None]
    used = np.zeros((-(-height // source_rows), 256), dtype=bool)
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
