"""Watching a roll: one live picture in, one sighting out, with what was learned from the pictures before."""

from dataclasses import replace

import numpy as np

from tethercap.film.formats import FilmFormat
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx
from tethercap.pictures import F32Array, LiveFrame
from tethercap.watch.alignment import measure_alignment
from tethercap.watch.decision import decide
from tethercap.watch.directions import Directions, sentence_for
from tethercap.watch.edges import choose, evidence_of, fit_likely, kind_of
from tethercap.watch.likeness import halved, likeness, small_view, view_of
from tethercap.watch.limits import Limits
from tethercap.watch.motion import MotionMeter
from tethercap.watch.presence import film_in_view, is_blank
from tethercap.watch.reduced import Reducer, reduce_view
from tethercap.watch.refits import Refits
from tethercap.watch.sighting import Alignment, Decision, FrameEdges, Motion, Reason, ReasonCode, Sighting
from tethercap.watch.tracking import FrameGrid, Track

_DEFAULT_LIMITS = Limits()
_DEFAULT_DIRECTIONS = Directions()
RAW_PX_PER_VIEW_PX = 5.9
"""A 24-megapixel sensor over a 1024 px live view; used when the sensor is not known."""
SURE = 0.8
"""Confidence from which on an answer needs no support from the grid."""
SURE_AT_SIGHT = 0.9
"""Confidence from which on a frame tells kind and scale before it was shot."""
AGREE_MM = 1.0
"""How far a frame may be from its place in the grid: gaps vary by up to a millimetre."""
LEAST_SHORT_EDGE = 0.15
"""Share of a short edge that must be seen to place a frame of the grid along the film."""
SEARCH_SLOW, SEARCH_FAST = 2, 5
"""So many pictures pass between two searches while film runs without a frame to follow: slower and faster than
`FAST_MM_S`."""
PRESENCE_EVERY = 4
"""While no frame is seen, so many pictures pass until it is asked again whether there is film at all."""
FAST_MM_S = 25.0
SLOW_MM_S = 4.0
SAME_PLACE_MM = 2.0
"""Film followed all the time since the shot, and moved by less than this to and fro in all, is where it was."""
SAME_PICTURE, VERY_SAME_PICTURE = 0.75, 0.97
"""Likeness from which on two views show the same picture; and where the film seems to have gone on, though it was lost
from sight on its way: two pictures taken of one thing are alike, but not so much."""


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
        Exposure time in use, s; may be changed at any time.
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
        self._reducer = Reducer()
        self._meter = MotionMeter()
        self._grid = FrameGrid(film_format, limits.carry_mm)
        self._track: Track | None = None
        self._judged: Track | None = None
        self._grid_agrees = False
        self._looked_at_rest = False
        self._lies_steady = True
        """The last fit found the frame where it was: film that only turns is not seen to move."""
        self._since_search = 0
        self._since_presence = 0
        self._present: bool | None = None
        self._refits = Refits()
        self._went_px = (0.0, 0.0)
        """Movement along and across that the track was not moved by yet."""
        self._last: Sighting | None = None
        self._film_mm = 0.0
        self._fired_at_mm: float | None = None
        self._fired_grey: F32Array | None = None
        self._kept_view: F32Array | None = None
        self._lost_since_shot = False
        self._run_since_shot_mm = 0.0
        self._reopened = False
        self._another_lies_here: bool | None = None
        """Known once the film has come to rest; None before."""

    def watch(self, frame: LiveFrame) -> Sighting:
        """Judge one live picture.

        Parameters
        ----------
        frame : LiveFrame
            Decoded; its pixels are not kept.
        """
        grey = self._reducer.grey(frame.pixels_bgr)
        factor = self._reducer.factor
        before_px = self._meter.along_px, self._meter.across_px
        scale = self._scale(frame)
        still_mm_s = self.limits.still_mm_s(self.shutter_s, self.raw_px_per_view_px / scale)
        motion = self._meter.update(grey, frame.taken_at_s, scale * factor, still_mm_s)
        if self._meter.repeated and self._last is not None:
            self._last = replace(self._last, sequence=frame.sequence, taken_at_s=frame.taken_at_s, ready=False)
            return self._last
        moved = (
            (self._meter.along_px - before_px[0]) * factor,
            (self._meter.across_px - before_px[1]) * factor,
        )
        self._film_mm += moved[0] * scale
        self._run_since_shot_mm += abs(moved[0]) * scale
        self._lost_since_shot |= self._meter.lost
        if self._meter.lost:
            self._grid.forget()
        self._follow(frame, motion, moved)
        self._last = self._judge(frame, grey, motion)
        return self._last

    def _scale(self, frame: LiveFrame) -> float:
        """Scale known so far, mm per px; a first guess is that the frame fills most of the view."""
        film, size = self.film_format, frame.size
        return self.mm_per_px or max(film.along_mm / size.width_px, film.across_mm / size.height_px) / 0.85

    def _follow(self, frame: LiveFrame, motion: Motion | None, moved: tuple[float, float]) -> None:
        """Bring the track up to this picture, by the film's movement where it can, by searching where it must."""
        speed = float("inf") if motion is None or self._meter.lost else abs(motion.along_mm_s)
        still = motion is not None and motion.still
        track = None if self._meter.lost else self._track
        self._went_px = self._went_px[0] + moved[0], self._went_px[1] + moved[1]
        fit_due = self._fit_due(motion, moved[0] * self._scale(frame))
        if fit_due or not still:
            track = None if track is None else track.moved(*self._went_px)
            self._went_px = (0.0, 0.0)
        self._looked_at_rest &= still
        middle = (frame.size.width_px - 1) / 2
        if track is not None and abs(track.middle_x - middle) > 0.55 * self.film_format.pitch_mm * track.px_per_mm:
            track = None
        if track is not None and fit_due:
            fitted = track.fitted(frame.pixels_bgr, 0.3 if speed < SLOW_MM_S else 0.6)
            held = fitted.holds()
            self._lies_steady = held and fitted.lies_as(track)
            if self._lies_steady and still:
                fitted = fitted.smoothed(track, 0.4)
            self._looked_at_rest &= held
            self._refits.done(self._meter.tone)
            track = fitted if held else (track if FAST_MM_S < speed < float("inf") else None)
        self._track = track
        if self._search_due(speed, still=still):
            self._search(frame)
            if self._track is not track:
                self._went_px = (0.0, 0.0)
                self._refits.done(self._meter.tone)
            self._looked_at_rest |= still
            self._lies_steady = True
        self._learn(speed)

    def _fit_due(self, motion: Motion | None, moved_mm: float) -> bool:
        last = self._last
        awaited = self._another_lies_here is not False or self._reopened
        rests = motion is not None and motion.still_for_s >= self.limits.still_for_s
        accepted = last is not None and last.verdict.decision is Decision.ACCEPT and not last.ready
        return self._refits.are_due(
            motion,
            moved_mm,
            self._meter.tone,
            steady=self._lies_steady,
            awaited=awaited,
            fires=awaited and rests and accepted,
        )

    def _search_due(self, speed: float, *, still: bool) -> bool:
        self._since_search += 1
        if self._track is not None:
            unsure = self._track.sure < SURE and self._since_search > 5
            return still and (not self._looked_at_rest or unsure)
        if still:
            return not self._looked_at_rest or self._since_search > 6
        return self._since_search > (SEARCH_SLOW if speed < FAST_MM_S else SEARCH_FAST)

    def _search(self, frame: LiveFrame) -> None:
        """Look for the frame anew: first where the grid says, which is quick, then everywhere. What is found is weighed
        against its place in the grid and the track so far.
        """
        self._since_search = 0
        middle = (frame.size.width_px - 1) / 2
        expected = None if self._belies_grid() else self._grid.predict(self._moved_px, middle)
        again = None if expected is None else expected.seen_again(frame.pixels_bgr)
        if again is not None:
            self._track = again
            return
        best = choose(
            fit_likely(
                reduce_view(frame.pixels_bgr), frame.pixels_bgr, (self.film_format,), self.film_kind, self.mm_per_px
            ),
            frame.size.width_px,
        )
        found = None if best is None else Track.of(best)
        if found is not None and (not found.is_placed() or found.sure < self.limits.least_confidence):
            found = None
        if expected is not None and (found is None or found.sure < SURE or found.seen_sides() < 3):
            placed = expected.placed_by(frame.pixels_bgr)
            if not placed.is_placed_along():
                placed = placed.placed_beside(frame.pixels_bgr, self._grid.pitch_mm * placed.px_per_mm)
            supported = placed.is_placed_along() and max(placed.seen_shares()[1::2]) > LEAST_SHORT_EDGE
            found = replace(placed, sure=SURE if supported else 0.2)
        elif found is not None and found.sure < SURE and self._grid.supports(found):
            found = replace(found, sure=SURE)
        if found is None or (self._track is not None and self._track.sure > found.sure):
            return
        if best is not None and found.sure >= SURE_AT_SIGHT and expected is None:
            self._take_over(found, best.hypothesis.inverted, best.hypothesis.base)
        self._track = found

    @property
    def _moved_px(self) -> float:
        """All movement along so far, px of the live view."""
        return self._meter.along_px * self._reducer.factor

    def _belies_grid(self) -> bool:
        """Whether a frame is followed that is seen well where the grid has none: fast movement adds up to a millimetre
        or two too much.
        """
        track = self._track
        if track is None or track.seen_sides() < 3:
            return False
        expected_x = self._grid.expected_x(self._moved_px, track.middle_x)
        return expected_x is not None and abs(expected_x - track.middle_x) > AGREE_MM * track.px_per_mm

    def _take_over(self, found: Track, inverted: bool, base: F32Array) -> None:
        """Learn kind and scale from a frame that is seen well."""
        if self.film_kind is None:
            self.film_kind = kind_of(base, inverted=inverted)
        self._learn_scale(found)

    def _learn_scale(self, found: Track) -> None:
        top, right, bottom, left = (share > 0.3 for share in found.seen_then)
        if self.mm_per_px is not None or not (left and right):
            return
        # A holder may hide a long edge in all frames of a roll: then the short ones tell it.
        self.mm_per_px = self.film_format.along_mm / found.size_px[0]
        if top and bottom:
            self.mm_per_px = 0.5 * (self.mm_per_px + self.film_format.across_mm / found.size_px[1])

    def _learn(self, speed: float) -> None:
        track, moved_px = self._track, self._moved_px
        self._grid_agrees = False
        if track is None:
            return
        expected_x = self._grid.expected_x(moved_px, track.middle_x)
        if expected_x is not None:
            self._grid_agrees = abs(expected_x - track.middle_x) < AGREE_MM * track.px_per_mm
        else:
            self._grid_agrees = self._grid.supports(track)
        if track.sure >= SURE and speed < SLOW_MM_S and (track.keeps_shape or track.seen_sides() >= 3):
            self._grid.learn(track, moved_px)

    def _judge(self, frame: LiveFrame, grey: F32Array, motion: Motion | None) -> Sighting:
        if self._track is not None and self._track.seen_sides() == 0 and self._film_in_view(frame) is False:
            self._track = None
            self._grid.forget()
        track = self._track
        if track is None:
            present = self._still_no_frame(frame)
            verdict = decide(None, None, motion, self.limits, not_seen=_nothing_seen(present))
            return Sighting(
                frame.sequence, frame.taken_at_s, verdict, None, None, motion, False, present, self.film_kind
            )
        edges, alignment = self._placed(track, frame)
        blank = track.seen_sides() == 0 and is_blank(
            reduce_view(frame.pixels_bgr), track.corners, track.bases.mean(axis=0), inverted=track.inverted
        )
        verdict = decide(
            edges,
            alignment,
            motion,
            self.limits,
            film_format=self.film_format,
            blank=blank,
            grid_known=self._grid_agrees,
        )
        rests = motion is not None and motion.still_for_s >= self.limits.still_for_s
        at_rest = rests and self._looked_at_rest and self._lies_steady
        if not at_rest:
            self._another_lies_here = None
        elif self._another_lies_here is None:
            self._another_lies_here = self._gone_on(grey)
        gone_on = bool(self._another_lies_here)
        # Nothing begins to be ready on a place that was only kept.
        fresh = self._refits.is_fresh or (self._last is not None and self._last.ready)
        ready = at_rest and fresh and verdict.decision is Decision.ACCEPT and (gone_on or self._reopened)
        return Sighting(
            frame.sequence,
            frame.taken_at_s,
            verdict,
            edges,
            alignment,
            motion,
            ready,
            True,
            edges.film_kind,
            blank,
            gone_on,
        )

    def _still_no_frame(self, frame: LiveFrame) -> bool | None:
        """Whether there is film, while no frame is seen: looked at now and then, since film comes and goes slowly."""
        if self._last is None or self._last.edges is not None or self._since_presence >= PRESENCE_EVERY:
            self._since_presence, self._present = 0, self._film_in_view(frame)
        self._since_presence += 1
        return self._present

    def _film_in_view(self, frame: LiveFrame) -> bool | None:
        base = None if self._grid.known is None else self._grid.known.clear_tone()
        return film_in_view(reduce_view(frame.pixels_bgr), None, base)

    def _placed(self, track: Track, frame: LiveFrame) -> tuple[FrameEdges, Alignment]:
        """Edges and alignment of the frame followed; the same again where nothing was fitted since."""
        last = self._last
        if track is self._judged and last is not None and last.edges is not None and last.alignment is not None:
            return last.edges, last.alignment
        self._judged = track
        edges = self._edges(track)
        return edges, measure_alignment(edges, frame.size)

    def _edges(self, track: Track) -> FrameEdges:
        mm_per_px = self.mm_per_px or self.film_format.along_mm / track.size_px[0]
        kind = self.film_kind or kind_of(track.clear_tone(), inverted=track.inverted)
        return FrameEdges(
            QuadPx.from_array(track.corners), evidence_of(track.fits), mm_per_px, kind, self.film_format.id, track.sure
        )

    def _gone_on(self, grey: F32Array) -> bool:
        """Whether another frame lies here than the last one fired on: moved by about a pitch, or another picture.

        Movement between few and far live pictures is easily measured short (the perforations look alike), so film that
        seems to have stayed is believed only where the picture is the same; this is looked at once each time it rests.
        """
        if self._fired_at_mm is None:
            return True
        if self._fired_grey is not None and not self._lost_since_shot and self._run_since_shot_mm < SAME_PLACE_MM:
            return False
        moved_mm = abs(self._film_mm - self._fired_at_mm)
        went_on = moved_mm >= self.limits.rearm_pitch_fraction * self.film_format.pitch_mm
        if went_on and not self._lost_since_shot:
            return True
        if self._fired_grey is None:
            return self._kept_view is None or likeness(self._kept_view, small_view(grey)) <= SAME_PICTURE
        alike = likeness(halved(self._fired_grey), halved(grey))
        return alike <= (VERY_SAME_PICTURE if went_on else SAME_PICTURE)

    def shot_taken(self, at_s: float) -> None:
        """Note that a shot was fired: not ready again until the film has moved by about a pitch.

        Parameters
        ----------
        at_s : float
            When the shutter was commanded, s, on the live pictures' clock.
        """
        if self._track is not None and self._last is not None and self._last.verdict.decision is Decision.ACCEPT:
            self._learn_scale(self._track)
        self._fired_at_mm = self._film_mm
        self._fired_grey = self._meter.copy_of_last()
        self._lost_since_shot = False
        self._run_since_shot_mm = 0.0
        self._reopened = False
        self._another_lies_here = None

    def view_of_shot(self) -> bytes:
        """Give the view at the last shot, small, for `recall_shot` in a later run; empty where there was none."""
        return b"" if self._fired_grey is None else small_view(self._fired_grey).astype(np.uint8).tobytes()

    def recall_shot(self, view: bytes) -> None:
        """Note what an earlier run saw when it fired last: that frame may lie in the holder still.

        Parameters
        ----------
        view : bytes
            From `view_of_shot`; anything else is left aside.
        """
        kept = view_of(view)
        if kept is not None:
            self._kept_view = kept
            self._fired_at_mm, self._fired_grey, self._lost_since_shot = self._film_mm, None, False
            self._another_lies_here = None

    def reopen_frame(self) -> None:
        """Note that the shot was not good: this frame may be fired on again."""
        self._reopened = True

    def sentence(self, sighting: Sighting) -> str:
        """Say in one line what the person at the holder should do now."""
        return sentence_for(sighting, self.directions)


def _nothing_seen(film_present: bool | None) -> tuple[Reason, ...]:
    if film_present is False:
        return (Reason(ReasonCode.NO_FILM, "no film in the holder"),)
    return (Reason(ReasonCode.EDGES_NOT_SEEN, "no edge of a frame is seen"),)
