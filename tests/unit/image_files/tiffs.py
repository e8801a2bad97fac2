"""TIFF files of pictures that are there as a whole."""

from pathlib import Path

from tethercap.geometry import SizePx
from tethercap.image_files.tiff import TiffOptions, fill_positive
from tethercap.pictures import U16Array


def write_tiff(path: Path, pixels_rgb: U16Array, options: TiffOptions) -> None:
    """Write pixels of shape (height, width, 3)."""
    height, width = pixels_rgb.shape[:2]
    fill_positive(path, SizePx(width, height), options, lambda put: put(0, pixels_rgb))
