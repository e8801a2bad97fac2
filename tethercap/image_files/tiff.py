"""The door to TIFF: finished pictures, 16 bits a channel, with the profile that says what the numbers mean."""

from collections.abc import Mapping
from enum import StrEnum
from pathlib import Path

import numpy as np
import tifffile

from tethercap import __version__
from tethercap.errors import UnreadablePictureError
from tethercap.image_files._whole import write_whole
from tethercap.image_files.icc import icc_profile
from tethercap.pictures import Positive, U16Array

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


def write_positive(
    path: Path,
    positive: Positive,
    *,
    compression: Compression = Compression.NONE,
    properties: Mapping[str, str] | None = None,
    xmp: bytes | None = None,
    ppi: float | None = None,
) -> None:
    """Write a positive as 16-bit TIFF through a temporary file. The same picture gives the same bytes.

    Parameters
    ----------
    path : Path
        Target; a file of that name is replaced.
    positive : Positive
        The picture.
    compression : Compression
        How the pixels are packed.
    properties : mapping, optional
        Texts for the main TIFF directory, keyed as exiv2 names them ("Exif.Image.Artist"); other keys are left out.
    xmp : bytes, optional
        XMP packet to embed, from `metadata.xmp_packet`.
    ppi : float, optional
        Pixels per inch on the film.

    Raises
    ------
    StorageError
        If the disk refuses.
    """
    tags: list[tuple[int, str, int, object, bool]] = []
    for key, number in _ASCII_TAGS.items():
        if properties and properties.get(key):
            text = properties[key].encode("utf-8")
            tags.append((number, "s", 0, text, True))
    if xmp is not None:
        tags.append((_XMP_TAG, "B", len(xmp), xmp, True))

    def write(temporary: Path) -> None:
        tifffile.imwrite(
            temporary,
            positive.pixels_rgb,
            photometric="rgb",
            planarconfig="contig",
            rowsperstrip=_ROWS_PER_STRIP,
            compression=None if compression is Compression.NONE else compression.value,
            predictor=compression is not Compression.NONE,
            iccprofile=icc_profile(positive.colour_space),
            resolution=None if ppi is None else (ppi, ppi),
            resolutionunit=None if ppi is None else "INCH",
            software=f"tethercap {__version__}",
            extratags=tags,
            metadata=None,
            maxworkers=1,
        )

    write_whole(path, write)


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
