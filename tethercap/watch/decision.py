"""From alignment and motion to a verdict in words: pure rules, one reason for each limit broken."""

from collections.abc import Iterator

from tethercap.film.formats import FilmFormat
from tethercap.watch.limits import Limits
from tethercap.watch.sighting import (
    Alignment,
    Decision,
    EdgeEvidence,
    FrameEdges,
    Motion,
    Reason,
    ReasonCode,
    Side,
    Verdict,
)

SEEN_ENOUGH = 0.12
"""Share of an edge's length from which on the edge itself, and not the model, says where it is."""


def decide(
    edges: FrameEdges | None,
    alignment: Alignment | None,
    motion: Motion | None,
    limits: Limits,
    *,
    not_seen: tuple[Reason, ...] = (),
    film_format: FilmFormat | None = None,
    blank: bool = False,
    grid_known: bool = False,
) -> Verdict:
    """Decide about the frame in view.

    Parameters
    ----------
    edges, alignment
        The found frame and how it lies; None when none was found.
    motion : Motion or None
        None for a still picture.
    limits : Limits
        What is good enough.
    not_seen : tuple of Reason
        What was missing when no frame was found.
    film_format : FilmFormat or None
        Checks the frame's size when given.
    blank : bool
        The frame is thought to be unexposed.
    grid_known : bool
        Size, tilt and the place across are known from the roll's other frames; then one seen short edge is enough.

    Returns
    -------
    Verdict
        ACCEPT may carry reasons too: what was inferred is always said.
    """
    if edges is None or alignment is None:
        return Verdict(
            Decision.CANNOT_TELL, not_seen or (Reason(ReasonCode.EDGES_NOT_SEEN, "no edge of a frame is seen"),)
        )
    missing = tuple(_inferred(edges))
    held = (*_out_of_limits(alignment, limits), *_wrong_size(edges, film_format, limits), *_moving(motion))
    if blank:
        return Verdict(
            Decision.CANNOT_TELL, (Reason(ReasonCode.BLANK_FRAME, "the frame looks unexposed"), *missing, *held)
        )
    if edges.confidence < limits.least_confidence:
        return Verdict(Decision.CANNOT_TELL, missing or (Reason(ReasonCode.EDGES_NOT_SEEN, "the edges are too faint"),))
    if held:
        return Verdict(Decision.HOLD, (*held, *missing))
    if edges.confidence < limits.accept_confidence or not _enough_seen(edges, grid_known):
        doubt = missing or (Reason(ReasonCode.EDGES_NOT_SEEN, "the edges are too faint to be sure"),)
        return Verdict(Decision.HOLD, doubt)
    return Verdict(Decision.ACCEPT, missing)


def _by_side(edges: FrameEdges) -> dict[Side, EdgeEvidence]:
    return {evidence.side: evidence for evidence in edges.evidence}


def _enough_seen(edges: FrameEdges, grid_known: bool) -> bool:
    seen = {side: not e.inferred and e.seen_fraction >= SEEN_ENOUGH for side, e in _by_side(edges).items()}
    across = seen[Side.TOP] + seen[Side.BOTTOM]
    along = seen[Side.LEFT] + seen[Side.RIGHT]
    return (across >= 1 and along >= 1 and across + along >= 3) or (grid_known and along >= 1)


def _inferred(edges: FrameEdges) -> Iterator[Reason]:
    sides = [e.side.value for e in edges.evidence if e.inferred]
    if sides:
        what = f"{' and '.join(sides)} edge not seen, placed by the frame's size"
        yield Reason(ReasonCode.INFERRED, what)


def _out_of_limits(alignment: Alignment, limits: Limits) -> Iterator[Reason]:
    x_mm, y_mm = alignment.offset
    if max(abs(x_mm), abs(y_mm)) > limits.centring_mm:
        yield Reason(ReasonCode.OFF_CENTRE, f"{x_mm:+.2f} mm, {y_mm:+.2f} mm off centre (x right, y down)")
    if abs(alignment.tilt_deg) > limits.tilt_deg:
        yield Reason(ReasonCode.TILTED, f"tilted {alignment.tilt_deg:+.2f} degrees (clockwise positive)")
    if alignment.keystone_deg > limits.keystone_deg:
        yield Reason(ReasonCode.KEYSTONE, f"opposite edges {alignment.keystone_deg:.1f} degrees out of parallel")
    if alignment.cut_off_fraction > limits.cut_off_fraction:
        yield Reason(ReasonCode.CUT_OFF, f"{alignment.cut_off_fraction:.1%} of the frame is outside the view")


def _wrong_size(edges: FrameEdges, film_format: FilmFormat | None, limits: Limits) -> Iterator[Reason]:
    if film_format is None or any(e.inferred for e in edges.evidence):
        return
    tl, tr, br, bl = edges.corners.as_array()
    wide = float(((tr - tl)[0] + (br - bl)[0]) / 2) * edges.mm_per_px
    high = float(((bl - tl)[1] + (br - tr)[1]) / 2) * edges.mm_per_px
    along, across = (high, wide) if edges.upright else (wide, high)
    for measured, nominal in ((along, film_format.along_mm), (across, film_format.across_mm)):
        slack = film_format.size_tolerance_mm + limits.size_off_fraction * nominal
        if abs(measured - nominal) > slack:
            yield Reason(ReasonCode.WRONG_FORMAT, f"{measured:.1f} mm where {film_format.name} has {nominal:.1f} mm")


def _moving(motion: Motion | None) -> Iterator[Reason]:
    if motion is not None and not motion.still:
        yield Reason(ReasonCode.MOVING, f"moving {motion.along_mm_s:+.1f} mm/s")
