"""Pictures as they travel through the program: pixels, and what must be known about them."""

from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from tethercap.geometry import SizePx

U8Array = npt.NDArray[np.uint8]
U16Array = npt.NDArray[np.uint16]
F32Array = npt.NDArray[np.float32]
F64Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LiveJpeg:
    """One live-view picture as the camera sent it."""

    jpeg: bytes
    taken_at_s: float
    """Monotonic time at which it arrived, s. The driver gives none of its own."""
    sequence: int
    """Counts up by one for every picture the camera process received; a gap means dropped pictures."""


@dataclass(frozen=True, slots=True, eq=False)
class LiveFrame:
    """A decoded live-view picture."""

    pixels_bgr: U8Array
    """Shape (height, width, 3), 0..255, display-encoded, channel order blue, green, red as OpenCV decodes it."""
    taken_at_s: float = 0.0
    sequence: int = 0

    @property
    def size(self) -> SizePx:
        """Width and height, px."""
        height_px, width_px = self.pixels_bgr.shape[:2]
        return SizePx(width_px, height_px)


@dataclass(frozen=True, slots=True)
class ShotData:
    """What a RAW says about its own exposure; None where it says nothing."""

    exposure_s: float | None = None
    f_number: float | None = None
    iso: int | None = None
    taken_at: str | None = None
    """ISO 8601 local date and time of the exposure, with subseconds when known."""
    camera_make: str | None = None
    camera_model: str | None = None
    camera_serial: str | None = None
    lens_model: str | None = None
    focal_length_mm: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class RawPicture:
    """A RAW picture, opened: the mosaic as recorded and what is needed to read it."""

    mosaic: U16Array
    """Visible area, shape (height, width), raw counts."""
    pattern: npt.NDArray[np.uint8]
    """Colour filter at (row % 2, column % 2), shape (2, 2): 0 red, 1 green, 2 blue."""
    black: npt.NDArray[np.float64]
    """Black level at (row % 2, column % 2), shape (2, 2), raw counts."""
    white: float
    """Saturation, raw counts."""
    camera_to_xyz: npt.NDArray[np.float64] | None
    """Camera RGB, balanced so that white is 1, 1, 1, to CIE XYZ (D65, Y of white = 1), shape (3, 3); None when the file
    has no matrix."""
    daylight_multipliers: npt.NDArray[np.float64]
    """Factors for R, G, B that make the file's own neutral grey, green = 1, shape (3,)."""
    d65_multipliers: npt.NDArray[np.float64] | None = None
    """Factors for R, G, B that make daylight (CIE D65) grey by the file's matrix, green = 1, shape (3,); None when the
    file has no matrix."""
    orientation: int = 1
    """EXIF orientation, 1..8; the mosaic is as recorded, not turned."""
    shot: ShotData = field(default_factory=ShotData)
    scale: float = 1.0
    """Counts for each count of the camera; above 1 where exposures were merged, which need finer steps."""

    @property
    def size(self) -> SizePx:
        """Width and height of the mosaic, px."""
        height_px, width_px = self.mosaic.shape
        return SizePx(width_px, height_px)


class ColourSpace(StrEnum):
    """Spaces a positive may be in."""

    SRGB = "srgb"
    DISPLAY_P3 = "display-p3"
    ADOBE_RGB_COMPATIBLE = "a98"
    PROPHOTO_TYPE = "rimm"
    LINEAR_SRGB = "linear-srgb"


@dataclass(frozen=True, slots=True, eq=False)
class Positive:
    """A finished picture."""

    pixels_rgb: U16Array
    """Shape (height, width, 3), 0..65535, encoded as `colour_space` says."""
    colour_space: ColourSpace = ColourSpace.SRGB
