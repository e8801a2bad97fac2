"""The door to TIFF: finished pictures, 16 bits a channel, with the profile that says what the numbers mean."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from pathlib import Path
from typing import Any

import numpy as np
import tifffile

from tethercap import __version__
from tethercap.errors import UnreadablePictureError
from tethercap.geometry import SizePx
from tethercap.image_files._whole import write_whole
from tethercap.image_files.icc import icc_profile
from tethercap.pictures import ColourSpace, Positive, U16Array

_ASCII_TAGS = {
    "Exif.Image.ImageDescription": 270,
    "Exif.Image.Make": 271,
    "Exif.Image.Model": 272,
    "Exif.Image.DateTime": 306,
    "Exif.Image.Artist": 315,
    "Exif.Image.Copyright": 33432,
}
_XMP_TAG = 700
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

    colour_space: ColourSpace = ColourSpace.SRGB
    compression: Compression = Compression.NONE
    properties: Mapping[str, object] = field(default_factory=dict)
    """Values for the main TIFF directory, keyed as exiv2 names them ("Exif.Image.Artist"); other keys are left out."""
    xmp: bytes | None = None
    """XMP packet, from `metadata.xmp_packet`."""
    ppi: float | None = None
    """Pixels per inch on the film."""


def write_positive(path: Path, positive: Positive, options: TiffOptions | None = None) -> None:
    """Write a positive as 16-bit TIFF through a temporary file. The same picture gives the same bytes.

    Parameters
    ----------
    path : Path
        Target; a file of that name is replaced.
    positive : Positive
        The picture; its colour space is the one the profile is for.
    options : TiffOptions, optional

    Raises
    ------
    StorageError
        If the disk refuses.
    """
    chosen = replace(options or TiffOptions(), colour_space=positive.colour_space)
    write_whole(path, lambda temporary: _write_pixels(temporary, positive.pixels_rgb, chosen))


def fill_positive(path: Path, size: SizePx, options: TiffOptions, fill: Callable[[U16Array], None]) -> None:
    """Write a positive whose pixels `fill` makes; without compression they go straight to the file, not through memory.

    Parameters
    ----------
    path : Path
        Target; a file of that name is replaced.
    size : SizePx
    options : TiffOptions
    fill : callable
        Takes the array of shape (height, width, 3), uint16, and fills it.

    Raises
    ------
    StorageError
        If the disk refuses.
    """
    shape = (size.height_px, size.width_px, 3)

    def write(temporary: Path) -> None:
        if options.compression is not Compression.NONE:
            pixels = np.empty(shape, np.uint16)
            fill(pixels)
            _write_pixels(temporary, pixels, options)
            return
        mapped = tifffile.memmap(temporary, shape=shape, dtype=np.uint16, **_arguments(options))
        try:
            fill(mapped)
            mapped.flush()
        finally:
            del mapped

    write_whole(path, write)


def _write_pixels(path: Path, pixels: U16Array, options: TiffOptions) -> None:
    packed = options.compression is not Compression.NONE
    tifffile.imwrite(
        path,
        pixels,
        rowsperstrip=_ROWS_PER_STRIP if packed else None,
        compression=options.compression.value if packed else None,
        predictor=packed,
        maxworkers=1,
        **_arguments(options),
    )


def _arguments(options: TiffOptions) -> dict[str, Any]:
    tags: list[tuple[int, str, int, object, bool]] = []
    for key, number in _ASCII_TAGS.items():
        if options.properties.get(key):
            tags.append((number, "s", 0, str(options.properties[key]).encode("utf-8"), True))
    if options.xmp is not None:
        tags.append((_XMP_TAG, "B", len(options.xmp), options.xmp, True))
    return {
        "photometric": "rgb",
        "planarconfig": "contig",
        "iccprofile": icc_profile(options.colour_space),
        "resolution": None if options.ppi is None else (options.ppi, options.ppi),
        "resolutionunit": None if options.ppi is None else "INCH",
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
