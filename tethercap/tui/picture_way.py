"""How a picture gets onto the terminal: in cells of text, or in pixels where the terminal has them. Pure."""

from enum import StrEnum
from typing import NamedTuple

from tethercap.geometry import SizePx
from tethercap.tui.terminal_talents import Talents


class Way(StrEnum):
    """The ways of showing a picture, coarse to fine."""

    HALF_BLOCKS = "half blocks"
    """Two pixels a cell, one above the other, each in its own colour; every terminal has them."""
    QUADRANTS = "quadrants"
    """Two by two a cell, in two colours."""
    SEXTANTS = "sextants"
    """Two by three a cell, in two colours; needs a font that has them."""
    OCTANTS = "octants"
    """Two by four a cell, in two colours; needs a new font."""
    SIXEL = "sixel"
    """Pixels, 64 colours, drawn by the terminal where the text would be."""
    KITTY = "kitty"
    """Pixels in full colour by the graphics protocol of that name; handed over in memory on the same machine."""

    @property
    def in_pixels(self) -> bool:
        """True where the terminal is given pixels instead of text."""
        return self in (Way.SIXEL, Way.KITTY)


class Subpixels(NamedTuple):
    """Pixels that one cell holds."""

    across: int
    down: int


SUBPIXELS: dict[Way, Subpixels] = {
    Way.HALF_BLOCKS: Subpixels(1, 2),
    Way.QUADRANTS: Subpixels(2, 2),
    Way.SEXTANTS: Subpixels(2, 3),
    Way.OCTANTS: Subpixels(2, 4),
}
USUAL_CELL_PX = SizePx(10, 20)
"""Where a terminal does not tell its cell's size."""


def choose_way(talents: Talents, wished: str, *, colour: bool = True) -> Way:
    """Choose how pictures are shown.

    Parameters
    ----------
    talents : Talents
        What the terminal answered.
    wished : str
        Name of a way, which is taken whatever the terminal says; anything else leaves the choice to the answers.
    colour : bool
        False where no colour is wanted: dots of text then carry the picture, unless a way was wished for.
    """
    named = {way.value: way for way in Way}
    if wished in named:
        return named[wished]
    if colour and talents.kitty:
        return Way.KITTY
    if colour and talents.sixel and talents.cell_px is not None:
        return Way.SIXEL
    return Way.HALF_BLOCKS
