"""The recipe of a positive: everything a person may choose, as plain data that a TOML file can hold."""

from dataclasses import dataclass
from enum import StrEnum

from tethercap.pictures import ColourSpace

CornersPx = tuple[tuple[float, float], tuple[float, float], tuple[float, float], tuple[float, float]]
"""Four points x, y in pixels of the RAW, clockwise from the top left."""


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


class Dust(StrEnum):
    """What is done about dust on the film."""

    KEEP = "keep"
    """Nothing: the picture is as the camera saw it."""
    MARK = "mark"
    """It is looked for, and a mask of it is written beside the positive, which stays as it is."""
    REPAIR = "repair"
    """Marked, and painted over from what lies around it, in the positive only."""


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
    own_base: bool = False
    """Measure the film base on this frame instead of taking the roll's."""
    corners_px: CornersPx | None = None
    """The picture on the film as a person pointed at it, pixels of the RAW; None takes what was found."""
    trim_mm: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    """Cut off beyond the border at left, top, right, bottom of the finished picture, mm on the film; negative adds."""
    flat: str = ""
    """A RAW of the bare light, as seen from the roll's folder; its unevenness is taken out of every picture."""
    film: str = ""
    """A film as it was measured on this rig before, in profiles/films; where nothing is said it is told anew."""
    beside_film: str = ""
    """Another film that was measured on this rig, whose colours tell something of this one's."""
    dust: Dust = Dust.KEEP
    jpeg: bool = False
    """Write the positive as a JPEG of full size as well."""

    def __post_init__(self) -> None:
        """Refuse what no picture can be made with.

        Raises
        ------
        ValueError
            With the field, its value and its limits.
        """
        for name, (low, high) in _LIMITS.items():
            value = getattr(self, name)
            if not all(low <= number <= high for number in (value if isinstance(value, tuple) else (value,))):
                raise ValueError(f"{name} is {value}, and has to lie between {low:g} and {high:g}")
        if min(self.channel_weights) < 0 or sum(self.channel_weights) <= 0:
            raise ValueError(f"channel_weights are {self.channel_weights}, and have to be shares of which one is not 0")
        if self.corners_px is not None and not _is_frame(self.corners_px):
            raise ValueError(f"corners_px are {self.corners_px}, and have to go clockwise around the frame")


def _is_frame(corners: CornersPx) -> bool:
    """Whether every corner turns to the right on the way around, which no point that is no number does."""
    turns = []
    for number in range(4):
        (ax, ay), (bx, by), (cx, cy) = (corners[(number + step) % 4] for step in range(3))
        turns.append((bx - ax) * (cy - by) - (by - ay) * (cx - bx))
    return all(turn > 0 for turn in turns) and all(abs(place) < _FURTHEST_PX for corner in corners for place in corner)


_FURTHEST_PX = 100_000.0
"""No sensor is as large."""
_LIMITS = {
    "exposure_stops": (-8.0, 8.0),
    "contrast": (0.1, 5.0),
    "saturation": (0.0, 4.0),
    "balance_stops": (-4.0, 4.0),
    "black_point": (0.0, 1.0),
    "trim_mm": (-60.0, 60.0),
}
"""Field -> least and largest value; far beyond what gives a usable print."""
