"""The recipe of a positive: everything a person may choose, as plain data that a TOML file can hold."""

from dataclasses import dataclass
from enum import StrEnum

from tethercap.pictures import ColourSpace


class Border(StrEnum):
    """How much is kept around the found frame."""

    FRAME = "frame"
    """The picture only, a hair inside its edge."""
    HAIR = "hair"
    """A thin rim, so that the edge of the picture shows."""
    REBATE = "rebate"
    """The clear film around it as well."""
    WHOLE = "whole"
    """Everything the camera saw; not squared."""


class Turn(StrEnum):
    """Turn of the finished picture, clockwise."""

    NONE = "none"
    QUARTER = "quarter"
    HALF = "half"
    THREE_QUARTERS = "three-quarters"


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """How a positive is made; the defaults make a plain good print. One file in profiles/recipes, file name = id."""

    schema: int = 1
    id: str = ""
    exposure_stops: float = 0.0
    """Brighter (positive) or darker than found, stops of scene light."""
    auto_exposure: bool = True
    """Find the exposure of each frame; False keeps the film's own differences between frames."""
    contrast: float = 1.0
    """Slope of the print around middle grey, 1 = as the scene was."""
    saturation: float = 1.0
    """1 = as the film recorded it, 0 = grey."""
    balance_stops: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """Added to red, green, blue, stops of scene light."""
    black_point: float = 1.0
    """Share of the haze in the darkest parts that is taken away, 0..1."""
    space: ColourSpace = ColourSpace.SRGB
    border: Border = Border.FRAME
    turn: Turn = Turn.NONE
    mirrored: bool = False
    """The film lay the wrong way up: the picture is mirrored left to right."""
    half_size: bool = False
    """One pixel for each 2 x 2 cell of the mosaic: a quarter of the pixels, for proofs."""
    channel_weights: tuple[float, float, float] = (0.25, 0.5, 0.25)
    """Share of red, green and blue in a black-and-white picture; they are made to sum to one."""
