"""Small DNG files for tests: a Bayer mosaic with the tags LibRaw reads."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import tifffile

from tethercap.pictures import F64Array, U16Array

BLACK, WHITE = 512, 16383
_MATRIX = (0.9, -0.3, -0.1, -0.4, 1.25, 0.15, 0.0, 0.2, 0.65)


def write_dng(
    path: Path,
    mosaic: U16Array,
    *,
    pattern: Sequence[int] = (0, 1, 1, 2),
    black: Sequence[int] = (BLACK,) * 4,
    neutral: Sequence[float] = (0.5, 1.0, 0.6),
    orientation: int = 1,
) -> Path:
    """Write a mosaic of 14-bit counts as an uncompressed DNG."""
    tags: list[tuple[Any, ...]] = [
        (274, "H", 1, orientation, True),
        (50706, "B", 4, b"\1\4\0\0", True),
        (50708, "s", 0, "Invented Camera", True),
        (33421, "H", 2, (2, 2), True),
        (33422, "B", 4, bytes(pattern), True),
        (50713, "H", 2, (2, 2), True),
        (50714, "H", 4, tuple(black), True),
        (50717, "H", 1, WHITE, True),
        (50721, "2i", 9, _rationals(_MATRIX), True),
        (50778, "H", 1, 21, True),
        (50728, "2I", 3, _rationals(neutral), True),
    ]
    tifffile.imwrite(path, mosaic, photometric=32803, extratags=tags, metadata=None)
    return path


def _rationals(values: Sequence[float]) -> tuple[int, ...]:
    return tuple(number for value in values for number in (round(value * 10000), 10000))


def mosaic_of(rgb_counts: F64Array, pattern: Sequence[int] = (0, 1, 1, 2)) -> U16Array:
    """Take from counts over black, shape (height, width, 3), what each photosite of a Bayer sensor records."""
    mosaic = np.empty(rgb_counts.shape[:2])
    for place, channel in enumerate(pattern):
        row, column = divmod(place, 2)
        mosaic[row::2, column::2] = rgb_counts[row::2, column::2, channel]
    return np.clip(np.rint(mosaic + BLACK), 0, WHITE).astype(np.uint16)
