"""What watching one live frame yields: evidence, alignment, motion, verdict. Values only."""

from dataclasses import dataclass
from enum import StrEnum

from tethercap.film.kinds import FilmKind
from tethercap.geometry import OffsetMm, QuadPx


class Side(StrEnum):
    """A side of the frame, as the picture shows it."""

    TOP = "top"
    RIGHT = "right"
    BOTTOM = "bottom"
    LEFT = "left"


@dataclass(frozen=True, slots=True)
class EdgeEvidence:
    """What speaks for one edge of the frame."""

    side: Side
    seen_fraction: float
    """Share of its length along which the edge was seen, 0..1."""
    contrast: float
    """Step across the edge over the noise beside it; 0 where nothing is seen."""
    ragged_px: float
    """Root mean square distance of the seen points from the straight line, px."""
    inferred: bool
    """True where the place follows from the model (size, pitch, neighbours), not from this edge."""


@dataclass(frozen=True, slots=True)
class FrameEdges:
    """The frame nearest the middle of the view."""

    corners: QuadPx
    """Corners where the straight edge lines meet, px; may lie outside the view."""
    evidence: tuple[EdgeEvidence, ...]
    """Top, right, bottom, left."""
    mm_per_px: float
    film_kind: FilmKind
    format_id: str
    confidence: float
    """0..1, calibrated on generated pictures: share of such answers with every seen edge within 1 % of the width."""
    upright: bool = False
    """The film lies upright in the view: the frame's long sides, along the film, are left and right."""


@dataclass(frozen=True, slots=True)
class Alignment:
    """Where the frame lies in the view."""

    offset: OffsetMm
    """Frame centre minus view centre, as the picture shows it."""
    tilt_deg: float
    """Clockwise positive."""
    keystone_deg: float
    """Largest difference from parallel of two opposite edges."""
    whole: bool
    """All four edges lie inside the view."""
    cut_off_fraction: float
    """Share of the frame's area outside the view, 0..1."""
    mm_per_px: float


@dataclass(frozen=True, slots=True)
class Motion:
    """How the film moves, measured between live frames."""

    along_mm_s: float
    """Signed speed along x as the picture shows it."""
    across_mm_s: float
    noise_mm_s: float
    """What the measurement cannot tell from rest."""
    still: bool
    still_for_s: float
    """Time since the film came to rest, s; 0 while it moves."""


class Decision(StrEnum):
    """The verdict in one word."""

    ACCEPT = "accept"
    HOLD = "hold"
    CANNOT_TELL = "cannot-tell"


class ReasonCode(StrEnum):
    """Why a verdict is not ACCEPT, or what should be known with it."""

    OFF_CENTRE = "off-centre"
    TILTED = "tilted"
    KEYSTONE = "keystone"
    CUT_OFF = "cut-off"
    MOVING = "moving"
    EDGES_NOT_SEEN = "edges-not-seen"
    INFERRED = "inferred"
    NO_FILM = "no-film"
    BETWEEN_FRAMES = "between-frames"
    BLANK_FRAME = "blank-frame"
    WRONG_FORMAT = "wrong-format"
    NO_PICTURE = "no-picture"


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason, fit to be shown."""

    code: ReasonCode
    text: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """What is to be done about the frame in view."""

    decision: Decision
    reasons: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class Sighting:
    """Everything known about one live frame."""

    sequence: int
    taken_at_s: float
    verdict: Verdict
    edges: FrameEdges | None
    alignment: Alignment | None
    motion: Motion | None
    """None on the first frame and for stills."""
    ready: bool
    """Hands-free would fire now: ACCEPT, still, and not fired on since the film last moved by about a pitch."""
    film_present: bool | None
    """None where it cannot be told."""
    film_kind: FilmKind | None
    blank: bool = False
    """The frame is thought to be unexposed or wholly fogged."""
    gone_on: bool = False
    """At rest, and another frame than the one last fired on (or none was yet)."""
