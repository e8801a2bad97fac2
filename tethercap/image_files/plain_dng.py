"""DNGs whose mosaic lies in the file as the sensor counted it: read in one go, and LibRaw asked about all the rest.

LibRaw handles photosites one by one, for this kind of file too, and that takes as long as a quarter of a conversion.
What the tags mean it is still the one to say: it is shown the same file with a picture of a few rows in it.
"""

import logging
import os
import struct
import sys
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO

import numpy as np
import rawpy
import tifffile

from tethercap.pictures import U16Array

# Of a damaged file LibRaw says what is wrong; tifffile's own lines would stand between ours.
logging.getLogger("tifffile").setLevel(logging.CRITICAL)

_COLOUR_FILTER_ARRAY = 32803
_SHOWN_PX = 64
"""Side of the picture that is left: LibRaw takes much smaller ones for something else."""
_CHANGES_COUNTS_OR_MARGINS = (
    "LinearizationTable",
    "BlackLevelDeltaH",
    "BlackLevelDeltaV",
    "ActiveArea",
    "MaskedAreas",
    "OpcodeList1",
    "OpcodeList2",
    "OpcodeList3",
)
"""Tags of the DNG specification by which counts are not meant as they stand, or not all of them show the picture."""
_BYTE_ORDER = {"little": "<", "big": ">"}[sys.byteorder]
_TAG_FORMATS = {3: "=H", 4: "=I"}


@dataclass(frozen=True, slots=True, eq=False)
class PlainDng:
    """A DNG that was read without unpacking."""

    shown: "rawpy.RawPy"
    """What LibRaw says of the file; its sizes and pixels are not the file's."""
    mosaic: U16Array
    """Shape (height, width), all of it visible; the caller's to keep."""


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a mosaic lies in a file, and where the tags stand that say how large it is."""

    start: int
    shape: tuple[int, int]
    sizes: tuple[tuple[int, str, int], ...]
    """For each tag: where its value stands, in which format, and what it is for the picture that is left."""

    @property
    def end(self) -> int:
        return self.start + 2 * self.shape[0] * self.shape[1]


@contextmanager
def open_plain_dng(path: Path) -> Iterator[PlainDng | None]:
    """Open a DNG whose counts need no unpacking, for as long as a block runs.

    Parameters
    ----------
    path : Path
        A file that is there.

    Yields
    ------
    PlainDng or None
        None for every other file: packed, with margins, with counts to be translated, cut short, no DNG at all; and
        where LibRaw has to see all of it.

    Raises
    ------
    rawpy.LibRawError
        If LibRaw refuses it.
    """
    place = _place_of_mosaic(path)
    with ExitStack() as opened:
        if place is None or not _is_whole_picture(path, place):
            yield None
            return
        try:
            shown, name = opened.enter_context(_passing_file())
            mosaic = _take_apart(path, place, shown)
            raw = opened.enter_context(rawpy.imread(name))
            raw.unpack()
        except (OSError, rawpy.LibRawError):
            # No room for a passing file, a disk that is gone, tags that do not do: LibRaw reads all, or says why not.
            yield None
            return
        yield PlainDng(raw, mosaic)


@contextmanager
def _passing_file() -> Iterator[tuple[IO[bytes], str]]:
    """A file that can be read by its name while a block runs; on Linux in memory, so that no kill leaves it behind."""
    if sys.platform == "linux":
        with os.fdopen(os.memfd_create("tethercap"), "w+b") as file:
            yield file, f"/proc/self/fd/{file.fileno()}"
    else:
        with tempfile.NamedTemporaryFile(prefix="tethercap-", suffix=".dng") as file:
            yield file, file.name


def _place_of_mosaic(path: Path) -> _Place | None:
    try:
        with tifffile.TiffFile(path) as tiff:
            if tiff.byteorder != _BYTE_ORDER or tiff.is_bigtiff or "DNGVersion" not in tiff.pages.first.tags:
                return None
            pages = [tiff.pages.first, *(tiff.pages.first.pages or ())]
            mosaics = [page for page in pages if page.photometric == _COLOUR_FILTER_ARRAY]
            return _place_of(mosaics[0], path.stat().st_size) if len(mosaics) == 1 else None
    except Exception:  # of a damaged file tifffile raises whatever it stumbles over; LibRaw says what is wrong with it
        return None


def _place_of(page: "tifffile.TiffPage", file_size: int) -> _Place | None:
    tags = page.tags
    is_plain = (
        page.compression == 1
        and page.dtype == np.uint16
        and page.bitspersample == 16
        and len(page.shape) == 2
        and min(page.shape) >= _SHOWN_PX
        and not page.is_tiled
        and len(page.dataoffsets) == 1
        and tags.valueof("CFARepeatPatternDim") == (2, 2)
        and not any(name in tags for name in _CHANGES_COUNTS_OR_MARGINS)
    )
    if not is_plain:
        return None
    shown = {
        "ImageWidth": _SHOWN_PX,
        "ImageLength": _SHOWN_PX,
        "RowsPerStrip": _SHOWN_PX,
        "StripByteCounts": 2 * _SHOWN_PX * _SHOWN_PX,
    }
    sizes = tuple(
        (tags[name].offset + 8, _TAG_FORMATS[tags[name].dtype], value) for name, value in shown.items() if name in tags
    )
    place = _Place(page.dataoffsets[0], page.shape, sizes)
    return place if place.end <= file_size else None


def _is_whole_picture(path: Path, place: _Place) -> bool:
    """Whether LibRaw takes just this mosaic for the picture, all of it: it knows margins of some cameras by heart."""
    with rawpy.imread(str(path)) as raw:
        sizes = raw.sizes
        return (sizes.raw_height, sizes.raw_width) == (sizes.height, sizes.width) == place.shape


def _take_apart(path: Path, place: _Place, shown: IO[bytes]) -> U16Array:
    """Read the mosaic, and make of `shown` a file like this one that has a hole in its place."""
    mosaic = np.empty(place.shape, np.uint16)
    with path.open("rb") as file:
        shown.write(file.read(place.start))
        if file.readinto(mosaic.data.cast("B")) < mosaic.nbytes:
            raise OSError(f"{path} is cut short")
        shown.seek(place.end)
        shown.write(file.read())
        # The last byte of the hole may be the last of the file.
        shown.truncate(file.tell())
    for where, form, value in place.sizes:
        shown.seek(where)
        shown.write(struct.pack(form, value))
    shown.flush()
    return mosaic
