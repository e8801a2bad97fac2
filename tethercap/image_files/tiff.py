"""The door to TIFF: finished pictures, 16 bits a channel, with the profile that says what the numbers mean."""

import hashlib
import os
import struct
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import tifffile

from tethercap import __version__
from tethercap.errors import UnreadablePictureError
from tethercap.geometry import SizePx
from tethercap.image_files._whole import write_whole
from tethercap.image_files.exif_block import EXIF_POINTER_TAG, exif_directory
from tethercap.image_files.icc import icc_profile
from tethercap.image_files.parts import PartsOnDisk
from tethercap.pictures import ColourSpace, U16Array

PutRows = Callable[[int, U16Array], None]
"""Takes the number of a first row and the rows from there on."""
_ASCII_TAGS = {
    "Exif.Image.ImageDescription": 270,
    "Exif.Image.Make": 271,
    "Exif.Image.Model": 272,
    "Exif.Image.DateTime": 306,
    "Exif.Image.Artist": 315,
    "Exif.Image.Copyright": 33432,
}
_XMP_TAG = 700
_KEPT_FOR_EXIF = EXIF_POINTER_TAG + 1
"""A number nobody uses: the library below writes no entry of the EXIF pointer's own."""
_LONG = 4
_ROWS_PER_STRIP = 64


class Compression(StrEnum):
    """How the pixels of a TIFF are packed; all are lossless."""

    NONE = "none"
    DEFLATE = "deflate"
    """Read by everything."""
    ZSTD = "zstd"
    """Faster and smaller, read by fewer programs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TiffOptions:
    """What goes into a TIFF beside the pixels."""

    colour_space: ColourSpace | None = ColourSpace.SRGB
    """None for numbers that are no colours; no profile goes in then."""
    compression: Compression = Compression.NONE
    properties: Mapping[str, object] = field(default_factory=dict)
    """Values for the main TIFF directory and the EXIF one, keyed as exiv2 names them ("Exif.Image.Artist",
    "Exif.Photo.FNumber"); other keys are left out."""
    xmp: bytes | None = None
    """XMP packet, from `metadata.xmp_packet`."""


def fill_positive(
    path: Path, size: SizePx, options: TiffOptions, fill: Callable[[PutRows], None], *, with_sha256: bool = False
) -> str:
    """Write a positive as 16-bit TIFF, whole or not at all: the same rows give the same bytes.

    They come from `fill`; without compression they go straight to the file.

    Parameters
    ----------
    path : Path
        Target; a file of that name is replaced.
    size : SizePx
    options : TiffOptions
    fill : callable
        Takes a function to be called with a first row and rows of shape (n, width, 3), uint16; in any order, from any
        thread, until all rows were given.
    with_sha256 : bool
        Take a checksum, which costs a tenth of a conversion.

    Returns
    -------
    str
        SHA-256 of the file as it was written, hex; empty where it was not asked for.

    Raises
    ------
    StorageError
        If the disk refuses.
    """
    shape = (size.height_px, size.width_px, 3)
    sha256 = ""

    def write(temporary: Path) -> None:
        nonlocal sha256
        if options.compression is Compression.NONE:
            sha256 = _write_rows(temporary, shape, options, fill, with_sha256=with_sha256)
            return
        pixels = np.empty(shape, np.uint16)
        fill(partial(_copy_rows, pixels))
        _write_packed(temporary, pixels, options)
        if not with_sha256:
            return
        with temporary.open("rb") as written:
            sha256 = hashlib.file_digest(written, "sha256").hexdigest()

    write_whole(path, write)
    return sha256


def _copy_rows(pixels: U16Array, first: int, rows: U16Array) -> None:
    pixels[first : first + len(rows)] = rows


def _write_rows(
    path: Path,
    shape: tuple[int, int, int],
    options: TiffOptions,
    fill: Callable[[PutRows], None],
    *,
    with_sha256: bool,
) -> str:
    mapped = tifffile.memmap(path, shape=shape, dtype=np.uint16, **_arguments(options))
    start, row_bytes = int(mapped.offset), shape[1] * shape[2] * 2
    # Writing at a place is quicker than filling the mapping, which costs a page fault for every 4 KiB.
    del mapped
    _append_exif(path, options)
    with path.open("r+b") as opened, PartsOnDisk(opened.fileno(), with_sha256=with_sha256) as parts:
        parts.add_written(0, start)

        def put(first: int, rows: U16Array) -> None:
            parts.write(start + first * row_bytes, memoryview(np.ascontiguousarray(rows).data).cast("B"))

        fill(put)
        end = start + shape[0] * row_bytes
        parts.add_written(end, path.stat().st_size - end)
        return parts.finish()


def _append_exif(path: Path, options: TiffOptions) -> None:
    """Put the EXIF directory behind the pixels, and its place into the entry that was kept for it.

    A file of more than 4 GB gets none: it is a BigTIFF with directories of another form, and its XMP says the same.
    """
    if not _has_exif(options):
        return
    with tifffile.TiffFile(path) as tiff:
        if tiff.is_bigtiff:
            return
        entry = tiff.pages.first.tags[_KEPT_FOR_EXIF].offset
    with path.open("r+b") as opened:
        place = opened.seek(0, os.SEEK_END)
        place += opened.write(bytes(place % 2))
        opened.write(exif_directory(options.properties, place))
        opened.seek(entry)
        opened.write(struct.pack("<HHII", EXIF_POINTER_TAG, _LONG, 1, place))


def _has_exif(options: TiffOptions) -> bool:
    return bool(exif_directory(options.properties, 0))


def _write_packed(path: Path, pixels: U16Array, options: TiffOptions) -> None:
    tifffile.imwrite(
        path,
        pixels,
        rowsperstrip=_ROWS_PER_STRIP,
        compression=options.compression.value,
        predictor=True,
        maxworkers=1,
        **_arguments(options),
    )
    _append_exif(path, options)


def _arguments(options: TiffOptions) -> dict[str, Any]:
    tags: list[tuple[int, str, int, object, bool]] = []
    for key, number in _ASCII_TAGS.items():
        if options.properties.get(key):
            tags.append((number, "s", 0, str(options.properties[key]).encode("utf-8"), True))
    if _has_exif(options):
        tags.append((_KEPT_FOR_EXIF, "I", 1, 0, True))
    if options.xmp is not None:
        tags.append((_XMP_TAG, "B", len(options.xmp), options.xmp, True))
    return {
        "photometric": "rgb",
        "planarconfig": "contig",
        "iccprofile": None if options.colour_space is None else icc_profile(options.colour_space),
        "software": f"tethercap {__version__}",
        "extratags": tags,
        "metadata": None,
    }


def read_tiff(path: Path) -> U16Array:
    """Read the pixels of a 16-bit TIFF.

    Returns
    -------
    ndarray
        Shape (height, width, 3) or (height, width), uint16.

    Raises
    ------
    UnreadablePictureError
        If it is no TIFF, damaged, or not of 16 bits.
    """
    try:
        pixels = tifffile.imread(path)
    except (OSError, tifffile.TiffFileError, ValueError) as error:
        raise UnreadablePictureError(f"{path} is not a TIFF that can be read: {error}.") from error
    if pixels.dtype != np.uint16:
        raise UnreadablePictureError(f"{path} has pixels of type {pixels.dtype}, 16 bits are needed.")
    return np.asarray(pixels, dtype=np.uint16)


def map_tiff(path: Path) -> U16Array:
    """Map the pixels of an uncompressed 16-bit TIFF into memory, for reading parts of it.

    Raises
    ------
    UnreadablePictureError
        If it is no TIFF that can be mapped.
    """
    try:
        pixels = tifffile.memmap(path, mode="r")
    except (OSError, tifffile.TiffFileError, ValueError) as error:
        raise UnreadablePictureError(f"{path} is not a TIFF that can be mapped: {error}.") from error
    return pixels  # type: ignore[no-any-return]
