"""Film formats in millimetres: the frame, the pitch, the strip, the perforations."""

from dataclasses import dataclass

from tethercap.geometry import SizeMm


@dataclass(frozen=True, slots=True, kw_only=True)
class Perforations:
    """A row of perforations along each edge of the strip, mm."""

    pitch_mm: float
    """Leading edge to leading edge along the film."""
    along_mm: float
    """Size of one hole along the film."""
    across_mm: float
    """Size of one hole across the film."""
    edge_mm: float
    """Edge of the film to the near side of the holes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmFormat:
    """One frame size on one width of film; one file in profiles/film_formats, file name = id."""

    schema: int
    id: str
    name: str
    along_mm: float
    """Length of the frame along the film."""
    across_mm: float
    """Height of the frame across the film."""
    pitch_mm: float
    """Nominal advance from one frame to the next."""
    strip_width_mm: float
    frames_per_strip: int
    """Frames on the strips it is usually cut into."""
    perforations: Perforations | None = None
    size_tolerance_mm: float = 0.6
    """How far a camera's gate may be from the nominal size, either way."""
    source: str = ""
    """Where the figures come from."""

    @property
    def frame(self) -> SizeMm:
        """Frame size with the film lying along x."""
        return SizeMm(self.along_mm, self.across_mm)

    @property
    def gap_mm(self) -> float:
        """Nominal clear film between two frames."""
        return self.pitch_mm - self.along_mm
