"""The hand that pulls film through the holder: where the film is at any time, as data.

A `Track` is a list of timed moves; the pose at a time, past or present, is looked up in it, so that a picture exposed
earlier can still be rendered.  A `Hand` writes the track by running a script: advance with overshoot, a few small
corrections, rest.  Time always arrives as a number; nothing here sleeps or reads a clock.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Generator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

HISTORY_S = 30.0
NO_STRIP = -1


class Pose(NamedTuple):
    """Film in the holder: strip number, film coordinate at the view's centre, shift across, turn clockwise."""

    strip: int
    position_mm: float
    across_mm: float
    tilt_deg: float


class Move(NamedTuple):
    """A move to a pose within a time, or (same pose) a rest; `tremor_mm` is the shake of the hand on the film."""

    to: Pose
    duration_s: float
    tremor_mm: float = 0.0


class Wait(NamedTuple):
    """Hold still until something is heard, at most `timeout_s`; the script is sent what it was."""

    timeout_s: float


class Segment(NamedTuple):
    """A move with its start, on the time axis."""

    start_s: float
    end_s: float
    begin: Pose
    end: Pose
    tremor_mm: float

    @property
    def is_jump(self) -> bool:
        """Whether the film changes place in no time, as no hand can move it."""
        return self.begin != self.end and self.end_s - self.start_s < 5e-3

    def pose_at(self, time_s: float) -> Pose:
        """Pose by minimum-jerk interpolation (Flash and Hogan 1985), the shape of human reaching movements."""
        if time_s >= self.end_s or self.begin.strip != self.end.strip:
            return self.end
        if time_s <= self.start_s:
            return self.begin
        u = (time_s - self.start_s) / (self.end_s - self.start_s)
        part = u * u * u * (10.0 - 15.0 * u + 6.0 * u * u)
        shake = self.tremor_mm * 16.0 * (u * (1.0 - u)) ** 2
        wave = math.sin(2.0 * math.pi * 9.0 * time_s), math.sin(2.0 * math.pi * 7.3 * time_s + 1.0)
        a, b = self.begin, self.end
        return Pose(
            b.strip,
            a.position_mm + part * (b.position_mm - a.position_mm) + shake * wave[0],
            a.across_mm + part * (b.across_mm - a.across_mm) + 0.5 * shake * wave[1],
            a.tilt_deg + part * (b.tilt_deg - a.tilt_deg) + shake * wave[1],
        )


class Track:
    """Timed moves, oldest first; poses of the last `HISTORY_S` seconds can be read back."""

    def __init__(self, start_s: float, pose: Pose) -> None:
        self._segments = [Segment(start_s, start_s, pose, pose, 0.0)]

    @property
    def end_s(self) -> float:
        """When the last planned move ends."""
        return self._segments[-1].end_s

    @property
    def end_pose(self) -> Pose:
        """Where the film rests after the last planned move."""
        return self._segments[-1].end

    def pose_at(self, time_s: float) -> Pose:
        """Pose at a time; before the oldest kept move, that move's beginning."""
        return self._segment_at(time_s).pose_at(time_s)

    def _segment_at(self, time_s: float) -> Segment:
        index = bisect_right(self._segments, time_s, key=lambda segment: segment.start_s) - 1
        return self._segments[max(index, 0)]

    def speed_at(self, time_s: float) -> float:
        """Speed of the film at the view's centre, mm/s; 0 at rest, and where film was put in place at once."""
        segment = self._segment_at(time_s)
        if segment.is_jump or not segment.start_s <= time_s < segment.end_s:
            return 0.0
        begin, end = max(segment.start_s, time_s - 1e-3), min(segment.end_s, time_s + 1e-3)
        a, b = segment.pose_at(begin), segment.pose_at(end)
        return math.hypot(b.position_mm - a.position_mm, b.across_mm - a.across_mm) / (end - begin)

    def last_jump_s(self, time_s: float) -> float:
        """When film was last put in place at once, before `time_s`: no picture shows it on its way there."""
        jumps = (s.start_s for s in reversed(self._segments) if s.start_s <= time_s and s.is_jump)
        return next(jumps, -math.inf)

    def add(self, move: Move, start_s: float) -> None:
        """Append a move that begins at `start_s`, not before the last one ends."""
        start = max(start_s, self.end_s)
        self._segments.append(Segment(start, start + move.duration_s, self.end_pose, move.to, move.tremor_mm))
        while len(self._segments) > 1 and self._segments[1].start_s < start - HISTORY_S:
            self._segments.pop(0)

    def cut(self, time_s: float) -> None:
        """Forget what was planned after `time_s`; the film stays where it is then."""
        pose = self.pose_at(time_s)
        # A move that was under way keeps its course up to now: a look-up takes the latest segment that has begun.
        kept = [segment for segment in self._segments if segment.start_s < time_s]
        self._segments = [*kept, Segment(time_s, time_s, pose, pose, 0.0)]


@dataclass(frozen=True)
class Habits:
    """How the operator works; times in seconds at normal speed, lengths in mm."""

    advance_s: tuple[float, float] = (0.6, 0.95)
    correction_s: tuple[float, float] = (0.25, 0.4)
    pause_s: tuple[float, float] = (0.12, 0.28)
    reaction_s: tuple[float, float] = (0.25, 0.4)
    overshoot_mm: tuple[float, float] = (0.4, 1.6)
    tolerance_mm: float = 0.12
    tolerance_deg: float = 0.08
    tremor_mm: float = 0.04
    dwell_s: float = 1.2
    patience_s: float = 4.0
    patience_after_shot_s: float = 15.0
    empty_s: float = 0.8
    swap_s: float = 0.9


Script = Generator[Move | Wait, str, None]
PoseFor = Callable[[int, int, float, float, float], Pose]
"""(strip, frame, along_mm, across_mm, tilt_deg) of the frame's centre in the view -> pose of the film."""
EndPoses = Callable[[int], tuple[Pose, Pose]]
"""strip -> (pose just outside on the right, pose just outside on the left)."""


@dataclass(frozen=True)
class Work:
    """What there is to pull through: frames in each strip, and the geometry of the holder."""

    frames: Callable[[int], int]
    strips: int
    pose_for: PoseFor
    end_poses: EndPoses


class Hand:
    """Writes a track by running a script of moves and waits.

    Parameters
    ----------
    work : Work
    track : Track
        Written by this object alone.
    mode : str
        'none', 'timed' or 'bell'.
    seed : int
    time_scale : float
        Factor on the times of moves and rests: 1 at normal speed, 0.2 when all goes five times as fast.
    """

    def __init__(self, work: Work, track: Track, mode: str, seed: int, time_scale: float = 1.0) -> None:
        self.work = work
        self.track = track
        self.mode = mode
        self.habits = Habits()
        self._random = np.random.default_rng([seed, 7])
        self._scale = time_scale
        self._script: Script | None = None
        self._waiting: float | None = None
        self._heard: list[tuple[float, str]] = []
        self._frame = 0

    @property
    def working(self) -> bool:
        """The hand is still pulling strips through, or waits to go on."""
        return self._script is not None

    # --- what the outside calls -------------------------------------------------------------------------------------

    def hear(self, word: str, time_s: float) -> None:
        """Note a bell, a 'held' or a shot heard at a time.

        A bell counts even while the hand moves the film: it says that the frame is done.
        """
        self.step(time_s)
        if self._waiting is not None or (word == "bell" and self._script is not None):
            self._heard.append((time_s, word))
        self.step(time_s)

    def step(self, now_s: float) -> None:
        """Plan moves until the track reaches beyond `now_s`; results do not depend on how often this is called."""
        while self._script is not None and self.track.end_s <= now_s:
            start, word = self.track.end_s, ""
            if self._waiting is not None:
                if self._heard:
                    heard_at, word = self._heard.pop(0)
                    start = max(start, heard_at)
                elif now_s < start + self._waiting:
                    return
                else:
                    start, word = start + self._waiting, "timeout"
            self._advance_script(word, start)

    def stop(self, now_s: float) -> None:
        """Take the hand off: the film stays where it is now."""
        self._script, self._waiting = None, None
        self._heard.clear()
        self.track.cut(now_s)

    def start(self, now_s: float) -> None:
        """Go on from the nearest frame in the mode of this hand ('none' works as 'timed')."""
        self.stop(now_s)
        self._script = self._whole_job(max(self.track.end_pose.strip, 0))

    def next_frame(self, now_s: float) -> None:
        """Seat the next frame of this strip and stop there."""
        self.stop(now_s)
        pose = self.track.end_pose
        frame = min(self._frame + 1, self.work.frames(pose.strip) - 1)
        self._script = self._seat(pose.strip, frame)

    def set_frame(self, frame: int) -> None:
        """Tell the hand which frame it has before it, after the film was put there from outside."""
        self._frame = frame

    def go(self, move: Move, now_s: float) -> None:
        """Stop what is going on and make one move from here."""
        self.stop(now_s)
        self.track.add(move, now_s)

    # --- scripts ----------------------------------------------------------------------------------------------------

    def _advance_script(self, word: str, start_s: float) -> None:
        assert self._script is not None  # noqa: S101 - narrowed for the type checker
        try:
            # A generator takes None as its first value; every later one takes the word heard.
            action = self._script.send(word) if self._waiting is not None else next(self._script)
        except StopIteration:
            self._script, self._waiting = None, None
            return
        if isinstance(action, Wait):
            # Patience is not scaled: how soon a shot comes depends on what watches, not on how fast this hand is.
            self._waiting = action.timeout_s
            self.track.add(Move(self.track.end_pose, 0.0), start_s)
            return
        self._waiting = None
        # A bell heard between two corrections is still known when the hand has the frame where it wants it.
        self._heard = [heard for heard in self._heard if heard[1] == "bell"]
        self.track.add(action._replace(duration_s=action.duration_s * self._scale), start_s)

    def _between(self, limits: tuple[float, float]) -> float:
        return float(self._random.uniform(*limits))

    def _rest(self, seconds: float) -> Move:
        return Move(self.track.end_pose, seconds)

    def _whole_job(self, first_strip: int) -> Script:
        for strip in range(first_strip, self.work.strips):
            pose = self.track.end_pose
            if pose.strip != strip:
                yield self._rest(self.habits.empty_s)
                yield Move(self.work.end_poses(strip)[0], 1e-3)
                self._frame = 0
            for frame in range(self._frame, self.work.frames(strip)):
                yield from self._seat(strip, frame)
                yield from self._wait_for_shot(strip, frame)
            self._frame = 0
            yield Move(self.work.end_poses(strip)[1], self.habits.swap_s, self.habits.tremor_mm)
            yield Move(Pose(NO_STRIP, 0.0, 0.0, 0.0), 1e-3)

    def _seat(self, strip: int, frame: int) -> Script:
        """Pull the frame in, past its place, and correct until it lies centred and square."""
        habits = self.habits
        self._frame = frame
        along = -self._between(habits.overshoot_mm) if self._random.random() < 0.75 else self._between((0.3, 1.0))
        across, tilt = float(self._random.normal(0.0, 0.3)), float(self._random.normal(0.0, 0.45))
        far = abs(self.track.end_pose.position_mm - self.work.pose_for(strip, frame, along, across, tilt).position_mm)
        seconds = self._between(habits.advance_s) * max(0.3, min(1.5, math.sqrt(far / 38.0)))
        yield Move(self.work.pose_for(strip, frame, along, across, tilt), seconds, habits.tremor_mm)
        yield from self._correct(strip, frame, along, across, tilt)

    def _correct(self, strip: int, frame: int, along: float, across: float, tilt: float) -> Script:
        habits = self.habits
        while max(abs(along), abs(across)) > habits.tolerance_mm or abs(tilt) > habits.tolerance_deg:
            yield self._rest(self._between(habits.pause_s))
            along, across, tilt = (
                value * float(self._random.normal(0.0, 0.25)) + float(self._random.normal(0.0, 0.02))
                for value in (along, across, tilt)
            )
            seconds = self._between(habits.correction_s)
            yield Move(self.work.pose_for(strip, frame, along, across, tilt), seconds, 0.5 * habits.tremor_mm)

    def _wait_for_shot(self, strip: int, frame: int) -> Script:
        """Leave the film alone until the operator hears that the frame is done (or, 'timed', for the dwell)."""
        habits = self.habits
        if self.mode != "bell":
            yield self._rest(habits.dwell_s)
            return
        patience = habits.patience_s
        while True:
            word = yield Wait(patience)
            if word == "bell":
                yield self._rest(self._between(habits.reaction_s))
                return
            if word == "shot":
                patience = habits.patience_after_shot_s
                continue
            patience = habits.patience_s
            yield self._rest(self._between(habits.reaction_s))
            yield from self._nudge(strip, frame)

    def _nudge(self, strip: int, frame: int) -> Script:
        along, across, tilt = (float(value) for value in self._random.normal(0.0, (0.25, 0.12, 0.15)))
        seconds = self._between(self.habits.correction_s)
        yield Move(self.work.pose_for(strip, frame, along, across, tilt), seconds, self.habits.tremor_mm)
        yield from self._correct(strip, frame, along, across, tilt)
