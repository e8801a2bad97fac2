"""Kinds of film: which way density runs."""

from dataclasses import dataclass
from enum import StrEnum


class FilmKind(StrEnum):
    """The three kinds of developed film, told apart by their base and by which way density runs."""

    COLOUR_NEGATIVE = "colour-negative"
    """Orange masked base, lighter than the picture."""
    BW_NEGATIVE = "bw-negative"
    """Grey base, lighter than the picture."""
    SLIDE = "slide"
    """Positive; unexposed rebate is black."""

    @property
    def is_negative(self) -> bool:
        """True where more light on the film made it darker."""
        return self is not FilmKind.SLIDE


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmKindProfile:
    """What a kind of film is like before anything was measured; one file in profiles/film_kinds."""

    schema: int
    id: FilmKind
    name: str
    base_density_rgb: tuple[float, float, float]
    """Typical density of the clear base over bare light, per channel; used only until the base is measured."""
    gamma: float
    """Typical slope of density over log10 exposure in the straight part."""
    source: str = ""
    """Where the figures come from."""
