"""Every threshold of watching, in one place, with its reason."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What is still good enough. Lengths in mm on the film, angles in degrees, times in s."""

    centring_mm: float = 0.3
    """Frame centre off the view's centre, along and across. 0.3 mm of 36 is under 1 %: less than the rim usually
    shown."""
    tilt_deg: float = 0.3
    """Frame against the sensor. 0.3 degrees costs 0.5 % of the width when it is cut straight; archives allow 1
    degree."""
    keystone_deg: float = 1.0
    """Opposite edges out of parallel. More than this is the rig's fault, and squaring it would blur the corners."""
    cut_off_fraction: float = 0.0
    """Share of the frame's area allowed outside the view, 0..0.05. Up to 5 % passes unnoticed, but it is not given
    away unasked."""
    blur_raw_px: float = 0.5
    """Movement allowed while the shutter is open, RAW px: half a pixel keeps 90 % of the contrast at the sensor's
    limit."""
    slowest_still_mm_s: float = 0.12
    """Speed below which film always counts as lying still: a live view cannot tell it from rest."""
    still_for_s: float = 0.09
    """How long it must have been still: three live pictures at 30 a second, so that a turning point of the hand is
    not taken for rest."""
    rearm_pitch_fraction: float = 0.6
    """After a shot, the film must move by this share of the pitch before the next: more than a correction, less than
    an advance."""
    least_confidence: float = 0.2
    """Below this an answer is not given: CANNOT_TELL instead."""
    accept_confidence: float = 0.75
    """Below this a frame is shown but not accepted."""
    size_off_fraction: float = 0.04
    """Frame size against the format beyond its own tolerance: more means another format or another scale."""
    carry_mm: float = 120.0
    """How far a known frame grid is carried by movement alone: three pitches, so that a blank or dark frame may lie
    between."""
    fires_on_blank: bool = False
    """Whether hands-free takes frames thought to be unexposed."""

    def still_mm_s(self, shutter_s: float, raw_px_per_mm: float) -> float:
        """Give the speed below which a picture taken now is not blurred, mm/s.

        Parameters
        ----------
        shutter_s : float
            Exposure time in use, s; greater than 0.
        raw_px_per_mm : float
            RAW pixels per mm of film.

        Notes
        -----
        Blur in px is speed times exposure time times px per mm; 0.5 px at 4000 px per inch (157.48 px/mm)
        and 1/30 s is 0.095 mm/s.
        """
        return max(self.blur_raw_px / (shutter_s * raw_px_per_mm), self.slowest_still_mm_s)
