"""Small DNG files for tests: mosaics with the tags LibRaw reads."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import tifffile

from tethercap.pictures import F64Array, U16Array

BLACK, WHITE = 512, 16383
_COLOUR_FILTER_ARRAY, _LINEAR_RAW = 32803, 34892
"""Photometric interpretations of the DNG specification."""
_SIX_BY_SIX = np.array(
    [
        [1, 2, 1, 1, 0, 1],
        [0, 1, 0, 2, 1, 2],
        [1, 2, 1, 1, 0, 1],
        [1, 0, 1, 1, 2, 1],
        [2, 1, 2, 0, 1, 0],
        [1, 0, 1, 1, 2, 1],
    ],
    np.uint8,
)
_MATRIX = (0.9, -0.3, -0.1, -0.4, 1.25, 0.15, 0.0, 0.2, 0.65)


def write_dng(
    path: Path,
    mosaic: U16Array | Iterator[bytes],
    *,
    pattern: Sequence[int] = (0, 1, 1, 2),
    black: Sequence[int] = (BLACK,) * 4,
    neutral: Sequence[float] = (0.5, 1.0, 0.6),
    orientation: int = 1,
    white: int = WHITE,
    active_area: tuple[int, int, int, int] | None = None,
    **layout: Any,
) -> Path:
    """Write a mosaic as a DNG, uncompressed but where the layout says otherwise.

    `active_area` is top, left, bottom and right of the part that shows the picture. `layout` is what tifffile takes;
    tiles that are packed already are given as bytes.
    """
    tags = [
        *_common_tags(orientation, white),
        *_colour_tags(neutral),
        (33421, "H", 2, (2, 2), True),
        (33422, "B", 4, bytes(pattern), True),
        (50713, "H", 2, (2, 2), True),
        (50714, "H", 4, tuple(black), True),
    ]
    if active_area is not None:
        tags.append((50829, "I", 4, active_area, True))
    tifffile.imwrite(path, mosaic, photometric=_COLOUR_FILTER_ARRAY, extratags=tags, metadata=None, **layout)
    return path


def write_six_by_six_dng(path: Path, rgb_counts: F64Array) -> Path:
    """Write what a sensor with a 6 x 6 mosaic records of counts over black, shape (height, width, 3), over 512 px."""
    mosaic = np.empty(rgb_counts.shape[:2])
    for (row, column), channel in np.ndenumerate(_SIX_BY_SIX):
        mosaic[row::6, column::6] = rgb_counts[row::6, column::6, channel]
    tags = [
        *_common_tags(),
        *_colour_tags(),
        (33421, "H", 2, (6, 6), True),
        (33422, "B", 36, _SIX_BY_SIX.tobytes(), True),
        (50714, "H", 1, BLACK, True),
    ]
    tifffile.imwrite(path, _counts(mosaic), photometric=_COLOUR_FILTER_ARRAY, extratags=tags, metadata=None)
    return path


def write_interpolated_dng(path: Path, rgb_counts: F64Array) -> Path:
    """Write counts over black as a camera does that interpolates by itself: all colours at every place."""
    tags = [*_common_tags(), *_colour_tags(), (50714, "H", 1, BLACK, True)]
    tifffile.imwrite(path, _counts(rgb_counts), photometric=_LINEAR_RAW, extratags=tags, metadata=None)
    return path


def write_grey_dng(path: Path, counts: F64Array) -> Path:
    """Write counts over black as a sensor without colour filters does."""
    tags = [*_common_tags(), (50714, "H", 1, BLACK, True)]
    tifffile.imwrite(path, _counts(counts), photometric="minisblack", extratags=tags, metadata=None)
    with tifffile.TiffFile(path, mode="r+b") as file:
        file.pages[0].tags["PhotometricInterpretation"].overwrite(_LINEAR_RAW)
    return path


def _common_tags(orientation: int = 1, white: int = WHITE) -> list[tuple[Any, ...]]:
    return [
        (274, "H", 1, orientation, True),
        (50706, "B", 4, b"\1\4\0\0", True),
        (50708, "s", 0, "Invented Camera", True),
        (50717, "H", 1, white, True),
    ]


def _colour_tags(neutral: Sequence[float] = (0.5, 1.0, 0.6)) -> list[tuple[Any, ...]]:
    return [
        (50721, "2i", 9, _rationals(_MATRIX), True),
        (50778, "H", 1, 21, True),
        (50728, "2I", 3, _rationals(neutral), True),
    ]


def _rationals(values: Sequence[float]) -> tuple[int, ...]:
    return tuple(number for value in values for number in (round(value * 10000), 10000))


def mosaic_of(rgb_counts: F64Array, pattern: Sequence[int] = (0, 1, 1, 2)) -> U16Array:
    """Take from counts over black, shape (height, width, 3), what each photosite of a Bayer sensor records."""
    mosaic = np.empty(rgb_counts.shape[:2])
    for place, channel in enumerate(pattern):
        row, column = divmod(place, 2)
        mosaic[row::2, column::2] = rgb_counts[row::2, column::2, channel]
    return _counts(mosaic)


def _counts(over_black: F64Array) -> U16Array:
    return np.clip(np.rint(over_black + BLACK), 0, WHITE).astype(np.uint16)
