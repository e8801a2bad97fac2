"""Image formats in words that belong to no maker."""

from enum import StrEnum


class ImageFormat(StrEnum):
    """What a camera writes for one shot."""

    RAW = "raw"
    """One RAW file with every pixel, and nothing beside it."""
    RAW_PLUS = "raw+jpeg"
    """A RAW file and a developed picture (JPEG or HEIF): two files a shot, in any order."""
    REDUCED = "reduced-raw"
    """A RAW file that is smaller or loses something: fewer pixels, or lossy packing."""
    REDUCED_PLUS = "reduced-raw+jpeg"
    JPEG = "jpeg"
    HEIF = "heif"
    TIFF = "tiff"


SHOWN: dict[ImageFormat, str] = {
    ImageFormat.RAW: "RAW",
    ImageFormat.RAW_PLUS: "RAW + JPEG",
    ImageFormat.REDUCED: "reduced RAW",
    ImageFormat.REDUCED_PLUS: "reduced RAW + JPEG",
    ImageFormat.JPEG: "JPEG",
    ImageFormat.HEIF: "HEIF",
    ImageFormat.TIFF: "TIFF",
}
"""How a format is written on a screen."""
