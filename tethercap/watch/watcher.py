"""Watching a roll: one live picture in, one sighting out, with what was learned from the pictures before."""

import numpy as np

from tethercap.film.formats import FilmFormat
from tethercap.film.kinds import FilmKind
from tethercap.pictures import LiveFrame
from tethercap.watch.alignment import measure_alignment
from tethercap.watch.decision import decide
from tethercap.watch.directions import Directions, sentence_for
from tethercap.watch.edges import NotSeen, find_frame_edges
from tethercap.watch.limits import Limits
from tethercap.watch.motion import MotionMeter
from tethercap.watch.reduced import reduce_view
from tethercap.watch.sighting import Decision, FrameEdges, Motion, Sighting

_DEFAULT_LIMITS = Limits()
_DEFAULT_DIRECTIONS = Directions()
RAW_PX_PER_VIEW_PX = 5.9
"""A 24-megapixel sensor over a 1024 px live view; used when the sensor is not known."""


class Watcher:
    """Judges live pictures one after the other.

    Parameters
    ----------
    film_format : FilmFormat
        What is on the roll.
    film_kind : FilmKind or None
        None learns it.
    mm_per_px : float or None
        Scale of the live view; None learns it.
    limits : Limits
        What is good enough.
    shutter_s : float
        Exposure time in use, s.
    raw_px_per_view_px : float
        RAW pixels per live-view pixel.
    directions : Directions
        Words for the person at the holder.
    """

    def __init__(
        self,
        film_format: FilmFormat,
        *,
        film_kind: FilmKind | None = None,
        mm_per_px: float | None = None,
        limits: Limits = _DEFAULT_LIMITS,
        shutter_s: float = 1 / 30,
        raw_px_per_view_px: float = RAW_PX_PER_VIEW_PX,
        directions: Directions = _DEFAULT_DIRECTIONS,
    ) -> None:
        self.film_format = film_format
        self.film_kind = film_kind
        self.mm_per_px = mm_per_px
        self.limits = limits
        self.shutter_s = shutter_s
        self.raw_px_per_view_px = raw_px_per_view_px
        self.directions = directions
        self._meter = MotionMeter()
        self._fired_at_mm: float | None = None
        self._film_mm = 0.0

    def watch(self, frame: LiveFrame) -> Sighting:
        """Judge one live picture.

        Parameters
        ----------
        frame : LiveFrame
            Decoded; its pixels are not kept.
        """
        view = reduce_view(frame.pixels_bgr)
        grey = np.asarray(view.pixels.mean(axis=2), np.float32)
        mm_per_px = self.mm_per_px or self.film_format.along_mm / (0.85 * frame.size.width_px)
        before_px = self._meter.along_px
        still_mm_s = self.limits.still_mm_s(self.shutter_s, self.raw_px_per_view_px / mm_per_px)
        motion = self._meter.update(grey, frame.taken_at_s, mm_per_px * view.factor, still_mm_s)
        self._film_mm += (self._meter.along_px - before_px) * view.factor * mm_per_px
        found = find_frame_edges(
            frame.pixels_bgr, film_format=self.film_format, film_kind=self.film_kind, mm_per_px=self.mm_per_px
        )
        if isinstance(found, NotSeen):
            verdict = decide(None, None, motion, self.limits, not_seen=found.reasons)
            return Sighting(
                frame.sequence, frame.taken_at_s, verdict, None, None, motion, False, found.film_present, self.film_kind
            )
        return self._judge(frame, found, motion)

    def _judge(self, frame: LiveFrame, found: FrameEdges, motion: Motion | None) -> Sighting:
        alignment = measure_alignment(found, frame.size)
        verdict = decide(found, alignment, motion, self.limits, film_format=self.film_format)
        ready = (
            verdict.decision is Decision.ACCEPT
            and motion is not None
            and motion.still_for_s >= self.limits.still_for_s
            and self._armed()
        )
        return Sighting(
            frame.sequence, frame.taken_at_s, verdict, found, alignment, motion, ready, True, found.film_kind
        )

    def _armed(self) -> bool:
        if self._fired_at_mm is None:
            return True
        return abs(self._film_mm - self._fired_at_mm) >= self.limits.rearm_pitch_fraction * self.film_format.pitch_mm

    def shot_taken(self, at_s: float) -> None:
        """Note that a shot was fired: not ready again until the film has moved by about a pitch.

        Parameters
        ----------
        at_s : float
            When the shutter was commanded, s, on the live pictures' clock.
        """
        self._fired_at_mm = self._film_mm

    def reopen_frame(self) -> None:
        """Note that the shot was not good: this frame may be fired on again."""
        self._fired_at_mm = None

    def sentence(self, sighting: Sighting) -> str:
        """Say in one line what the person at the holder should do now."""
        return sentence_for(sighting, self.directions)
