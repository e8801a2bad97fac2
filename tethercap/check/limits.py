"""Where a finding about a RAW begins."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckLimits:
    """Thresholds of the check of a RAW; the alignment limits are the watch's own, widened by `slip_allowance_mm`."""

    slip_allowance_mm: float = 0.15
    """Added to the centring limit: a film that settled this much after the verdict is well inside."""
    tilt_allowance_deg: float = 0.15
    """Added to the tilt limit, for the same reason."""
    saturated_share: float = 0.985
    """A raw value above this share of the range counts as being at the limit (common practice, no source)."""
    clipped_note_fraction: float = 0.0005
    """Share of the frame at the limit from which it is said."""
    clipped_failure_fraction: float = 0.02
    """Share of the frame at the limit from which the frame is taken again; specular points stay below it."""
    underexposed_share: float = 0.08
    """A frame whose brightest 0.1 % stays below this share of the range gives away more than three stops."""
    blur_loss: float = 0.45
    """Share of fine detail missing along one axis from which a smear is thought of; streaky subjects lose as much."""
    slip_mm: float = 0.04
    """Film that went on by this much between the verdict and the picture was moving: with missing detail, a smear.
    Film that did not was at rest, whatever the subject looks like."""
