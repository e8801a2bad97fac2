"""Colour spaces a positive may be in: primaries, white and the encoding curve of each."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tethercap.pictures import ColourSpace, F64Array

D65_XY = (0.3127, 0.3290)
"""White of sRGB and its relatives (IEC 61966-2-1)."""
D50_XY = (0.3457, 0.3585)
"""White of ROMM RGB (ISO 22028-2)."""
PCS_WHITE_XYZ = np.array([0.9642, 1.0, 0.8249])
"""D50 as the ICC profile connection space writes it (ICC.1)."""
BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
"""XYZ to sharpened cone responses; the linear Bradford transform that ICC.1 annex E prescribes."""


@dataclass(frozen=True, slots=True)
class EncodingCurve:
    """From encoded value to linear light as ICC's parametric curve of type 3: (a·x + b)^g above d, c·x below."""

    exponent: float
    scale: float = 1.0
    offset: float = 0.0
    slope: float = 0.0
    knee: float = 0.0
    """Encoded value below which the straight part holds."""

    def decode(self, encoded: npt.ArrayLike) -> F64Array:
        """Encoded 0..1 to linear 0..1."""
        value = np.asarray(encoded, dtype=np.float64)
        power = np.maximum(self.scale * value + self.offset, 0.0) ** self.exponent
        return np.where(value < self.knee, self.slope * value, power)

    def encode(self, linear: npt.ArrayLike) -> F64Array:
        """Linear 0..1 to encoded 0..1; negative light is taken as none."""
        value = np.maximum(np.asarray(linear, dtype=np.float64), 0.0)
        power = (value ** (1.0 / self.exponent) - self.offset) / self.scale
        if self.knee == 0.0:
            return power
        return np.where(value < self.slope * self.knee, value / self.slope, power)


@dataclass(frozen=True, slots=True)
class SpaceDefinition:
    """What a colour space is."""

    name: str
    primaries_xy: tuple[tuple[float, float], tuple[float, float], tuple[float, float]]
    """Chromaticities of red, green, blue."""
    white_xy: tuple[float, float]
    curve: EncodingCurve


_SRGB_CURVE = EncodingCurve(2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
_SRGB_PRIMARIES = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))

SPACES: Mapping[ColourSpace, SpaceDefinition] = {
    # IEC 61966-2-1
    ColourSpace.SRGB: SpaceDefinition("sRGB", _SRGB_PRIMARIES, D65_XY, _SRGB_CURVE),
    # SMPTE EG 432-1 primaries, D65 white, sRGB curve
    ColourSpace.DISPLAY_P3: SpaceDefinition(
        "Display P3", ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060)), D65_XY, _SRGB_CURVE
    ),
    # Primaries and exponent 563/256 as published for the space this one is compatible with
    ColourSpace.ADOBE_RGB_COMPATIBLE: SpaceDefinition(
        "Compatible with Adobe RGB (1998)", ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06)), D65_XY, EncodingCurve(563 / 256)
    ),
    # ISO 22028-2: exponent 1.8 with a straight part below 16·2^-9
    ColourSpace.PROPHOTO_TYPE: SpaceDefinition(
        "ROMM RGB",
        ((0.7347, 0.2653), (0.1596, 0.8404), (0.0366, 0.0001)),
        D50_XY,
        EncodingCurve(1.8, slope=1 / 16, knee=1 / 32),
    ),
    ColourSpace.LINEAR_SRGB: SpaceDefinition("Linear, sRGB primaries", _SRGB_PRIMARIES, D65_XY, EncodingCurve(1.0)),
}


def xyz_of(chromaticity_xy: tuple[float, float]) -> F64Array:
    """XYZ of a chromaticity, Y = 1, shape (3,)."""
    x, y = chromaticity_xy
    return np.array([x / y, 1.0, (1.0 - x - y) / y])


def rgb_to_xyz(space: ColourSpace) -> F64Array:
    """Linear RGB of a space to XYZ under its own white, shape (3, 3); RGB 1, 1, 1 gives Y = 1."""
    definition = SPACES[space]
    primaries = np.stack([xyz_of(xy) for xy in definition.primaries_xy], axis=1)
    return primaries * np.linalg.solve(primaries, xyz_of(definition.white_xy))


def adaptation(from_xyz: F64Array, to_xyz: F64Array) -> F64Array:
    """Matrix that adapts XYZ from one white to another, linear Bradford, shape (3, 3)."""
    gains = (BRADFORD @ to_xyz) / (BRADFORD @ from_xyz)
    adapted: F64Array = np.linalg.inv(BRADFORD) @ (gains[:, None] * BRADFORD)
    return adapted


def rgb_to_pcs(space: ColourSpace) -> F64Array:
    """Linear RGB of a space to XYZ of the ICC connection space (D50), shape (3, 3)."""
    return adaptation(xyz_of(SPACES[space].white_xy), PCS_WHITE_XYZ) @ rgb_to_xyz(space)


def srgb_to(space: ColourSpace) -> F64Array:
    """Linear sRGB to the linear RGB of another space, white to white, shape (3, 3); rows sum to one."""
    return np.asarray(np.linalg.inv(rgb_to_pcs(space)) @ rgb_to_pcs(ColourSpace.SRGB))
