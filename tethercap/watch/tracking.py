"""What is known about the roll while it is pulled: the frame in view from picture to picture, and the grid of frames
on the strip.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from tethercap.film.formats import FilmFormat
from tethercap.pictures import F32Array, U8Array
from tethercap.watch.confidence import Fitted, is_seen
from tethercap.watch.fitting import move_sides
from tethercap.watch.refine import TRACKING, SideFit, refine_sides

SEEN_AGAIN = 0.3
"""Share of an edge to be seen where the grid expects it."""
SAME_SIZE = 0.006
"""All frames of a roll come from one gate: so much their sizes may differ, as a share."""
SURE_AGAIN = 0.95
TURNED, SHIFTED_MM = 0.0017, 0.08
"""Between two fits of film at rest: rise over run, a third of what is allowed; and movement."""
SEEN_BESIDE = 0.5
"""Share of a neighbour's near edge to be seen to place a frame without edges by it."""
HOLDER_DARK = 0.15
"""Share of the base's code below which a place is the holder: film so dense is seldom so all along an edge."""


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """One frame, followed."""

    corners: F32Array
    """Shape (4, 2), full px, where it is now."""
    fits: tuple[SideFit, ...]
    bases: F32Array
    """Tone outside each side, shape (4, 3)."""
    inverted: bool
    touching: tuple[bool, bool, bool, bool]
    size_px: tuple[float, float]
    """Width and height to place what is not seen, full px."""
    px_per_mm: float
    sure: float
    """Confidence when it was found."""
    seen_then: tuple[float, ...]
    """Share of each edge seen when it was found."""
    keeps_shape: bool = False
    """Size and tilt are the roll's, learned on other frames; only the place is measured on this one."""

    @classmethod
    def of(cls, fitted: Fitted) -> "Track":
        """Start to follow a frame that was found."""
        h, corners, sure = fitted.hypothesis, fitted.corners, fitted.sure
        bases = np.array([fit.outside if is_seen(fit) else h.base for fit in fitted.fits], np.float32)
        seen = tuple(fit.seen_share for fit in fitted.fits)
        track = cls(corners, fitted.fits, bases, h.inverted, h.touching, (0.0, 0.0), fitted.px_per_mm, sure, seen)
        return replace(track, size_px=track.measured_px())

    def moved(self, x_px: float, y_px: float) -> "Track":
        """Give the same frame after the film moved."""
        across = 0.0 if self.keeps_shape else y_px
        return replace(self, corners=self.corners + np.array([x_px, across], np.float32))

    def fitted(self, pixels_bgr: U8Array, reach_mm: float) -> "Track":
        """Fit its edges again where they are expected."""
        fits = refine_sides(
            pixels_bgr, self.corners, self.bases, reach_px=max(reach_mm * self.px_per_mm, 5.0),
            inverted=self.inverted, touching=self.touching, sampling=TRACKING,
        )  # fmt: skip
        if self.keeps_shape:
            corners = self.corners + _common_shift(fits, self.px_per_mm)
        else:
            corners = move_sides(self.corners, fits, self.size_px)
        return replace(self, corners=corners, fits=fits)

    def placed_by(self, pixels_bgr: U8Array) -> "Track":
        """Place the roll's frame, expected here, by those of its edges that are seen."""
        near = replace(self, keeps_shape=True).fitted(pixels_bgr, 1.0).fitted(pixels_bgr, 0.4)
        return replace(near, seen_then=near.seen_shares())

    def placed_beside(self, pixels_bgr: U8Array, pitch_px: float) -> "Track":
        """Place the roll's frame, expected here, by the near edges of the frames beside it: midway between both.

        A frame without a picture has no edges of its own. Where no neighbour is seen either it stays where it was.
        """
        asked_px = []
        for way, near in ((-1, 1), (1, 3)):
            beside = replace(self, keeps_shape=True).moved(way * pitch_px, 0.0)
            fitted = beside.fitted(pixels_bgr, 1.0).fitted(pixels_bgr, 0.4)
            if float(fitted.fits[near].seen.mean()) > SEEN_BESIDE and not fitted.ends_at_holder(near):
                asked_px.append(fitted.middle_x - beside.middle_x)
        return self.moved(sum(asked_px) / len(asked_px), 0.0) if asked_px else self

    def ends_at_holder(self, side: int) -> bool:
        """Whether it is as dark inside this edge as only the holder is. A slide's base is black itself."""
        fit = self.fits[side]
        return not self.inverted and float(fit.inside.mean()) < HOLDER_DARK * float(fit.outside.mean())

    def seen_again(self, pixels_bgr: U8Array) -> "Track | None":
        """Find a frame like this one near its place; None unless three edges or more are seen and its size is the same.

        This frame is one of the roll's that was seen well, moved to where the next one is expected.
        """
        near = replace(self, keeps_shape=False).fitted(pixels_bgr, 1.0).fitted(pixels_bgr, 0.4)
        shares = near.seen_shares()
        if sum(share >= SEEN_AGAIN for share in shares) < 3 or max(shares[1::2]) < SEEN_AGAIN:
            return None
        width, height = near.measured_px()
        same = max(abs(width / self.size_px[0] - 1), abs(height / self.size_px[1] - 1)) < SAME_SIZE
        return replace(near, seen_then=shares, sure=min(self.sure, SURE_AGAIN)) if same else None

    def measured_px(self) -> tuple[float, float]:
        """Width and height between the edges as they are now, px."""
        c = self.corners
        width = float(np.hypot(*(c[1] - c[0])) + np.hypot(*(c[2] - c[3]))) / 2
        return width, float(np.hypot(*(c[3] - c[0])) + np.hypot(*(c[2] - c[1]))) / 2

    def holds(self) -> bool:
        """Whether what is seen is still about what was seen when it was found."""
        shares = [
            (share, then)
            for share, then, fit in zip(self.seen_shares(), self.seen_then, self.fits, strict=True)
            if np.count_nonzero(fit.visible) > 0.6 * fit.visible.size
        ]
        still_seen, seen_then = sum(share for share, _ in shares), sum(then for _, then in shares)
        return self.seen_sides() > 0 and still_seen >= 0.5 * seen_then - 0.06

    def lies_as(self, before: "Track") -> bool:
        """Whether it lies as it did, but for what a fit may be off: turned or shifted film lies otherwise."""
        apart_x: list[float]
        apart_y: list[float]
        apart_x, apart_y = (self.corners - before.corners).T.tolist()
        turned_px = abs(apart_y[1] + apart_y[2] - apart_y[0] - apart_y[3]) / 2
        shifted_px = max(abs(sum(apart_x)), abs(sum(apart_y))) / 4
        return turned_px < TURNED * self.size_px[0] and shifted_px < SHIFTED_MM * self.px_per_mm

    def smoothed(self, before: "Track", share: float) -> "Track":
        """Mean of two fits of a frame that lies still."""
        return replace(self, corners=before.corners * np.float32(1 - share) + self.corners * np.float32(share))

    def seen_shares(self) -> tuple[float, ...]:
        """Share of each edge seen now: top, right, bottom, left."""
        return tuple(fit.seen_share for fit in self.fits)

    def seen_sides(self) -> int:
        """How many edges are seen now."""
        return sum(is_seen(fit) for fit in self.fits)

    def is_placed_along(self) -> bool:
        """Whether a short edge is seen, so that the place along the film follows from what is seen."""
        return is_seen(self.fits[1]) or is_seen(self.fits[3])

    def is_placed(self) -> bool:
        """Whether at least one edge each way is seen, so that the place follows from what is seen."""
        top, right, bottom, left = (is_seen(fit) for fit in self.fits)
        return (top or bottom) and (left or right)

    def clear_tone(self) -> F32Array:
        """Tone of the clear base as the picture shows it, shape (3,)."""
        base = self.bases.mean(axis=0)
        return np.asarray(255.0 - base if self.inverted else base, np.float32)

    @property
    def middle_x(self) -> float:
        """Full px."""
        return float(self.corners[:, 0].sum()) / 4


ACROSS_OFF_MM = 0.5
"""Film lies between guides: a long edge found further off than this is another line."""
APART_MM = 0.4
"""Left and right edge may ask for movements so different; beyond, the one that is seen better counts alone."""


def _common_shift(fits: tuple[SideFit, ...], px_per_mm: float) -> F32Array:
    """Movement of the whole frame that brings it onto the edges that are seen, px, shape (2,)."""
    top, right, bottom, left = fits
    along = _weighed((left, 1.0), (right, -1.0), APART_MM * px_per_mm)
    # Film lies between guides: only two long edges that agree are believed against the place of all frames before.
    across = 0.0
    agree = abs(top.shift + bottom.shift) < APART_MM * px_per_mm
    if is_seen(top) and is_seen(bottom) and agree and abs(top.shift) < ACROSS_OFF_MM * px_per_mm:
        across = _weighed((top, 1.0), (bottom, -1.0), APART_MM * px_per_mm)
    return np.array([along, across], np.float32)


def _weighed(first: tuple[SideFit, float], second: tuple[SideFit, float], apart_px: float) -> float:
    seen = [(fit.seen_share, sign * fit.shift) for fit, sign in (first, second) if is_seen(fit)]
    if not seen:
        return 0.0
    if len(seen) == 2 and abs(seen[0][1] - seen[1][1]) > apart_px:
        return max(seen)[1]
    return sum(share * shift for share, shift in seen) / sum(share for share, _ in seen)


WHOLE_EDGE = 0.75
"""Share of an edge from which on a door or a window frame inside the picture is hardly taken for it."""
HALF_EDGE = 0.5
"""The same for two edges that lie as far apart as those of the roll's other frames."""
PITCH_OFF = 0.06
"""Frames this near to a pitch apart, as a share, are neighbours: on roll film the gap is the camera's."""
GUIDED_MM = 0.35
"""How far across the film frames of a roll lie apart: guides leave some tenths, and so does another strip."""


class FrameGrid:
    """Where frames lie on the strip, learned from those that were seen well, in film coordinates (view px less all
    movement).
    """

    def __init__(self, film_format: FilmFormat, carry_mm: float) -> None:
        self._format = film_format
        self._carry_mm = carry_mm
        self._known: Track | None = None
        self._film_x = 0.0
        self._pitch_mm = film_format.pitch_mm
        self._pitches = int(film_format.perforations is not None)
        """So many pitches are averaged; where perforations hold the camera to the nominal one, that counts as one."""

    @property
    def pitch_mm(self) -> float:
        """From one frame's middle to the next one's, as far as is known."""
        return self._pitch_mm

    @property
    def known(self) -> Track | None:
        """The last frame that was seen well, where it was then."""
        return self._known

    def learn(self, track: Track, moved_px: float) -> None:
        """Take in a frame seen well, with all movement so far."""
        x = track.middle_x - moved_px
        if self._known is not None and not math.isnan(self._film_x):
            apart_mm = abs(x - self._film_x) / track.px_per_mm
            if abs(apart_mm / self._format.pitch_mm - 1) < PITCH_OFF:
                self._pitches += 1
                self._pitch_mm += (apart_mm - self._pitch_mm) / self._pitches
        self._known, self._film_x = track, x

    def forget(self) -> None:
        """The film went on by an unknown amount: sizes and tones stay, the place on the film does not."""
        self._film_x = float("nan")

    def supports(self, track: Track) -> bool:
        """Whether a frame lies across the film where all frames of the roll do, with a short edge seen nearly whole, or
        both as far apart as theirs: enough where its place along the film is not expected.
        """
        known = self._known
        if known is None or known.inverted != track.inverted:
            return False
        top, right, bottom, left = track.seen_shares()
        off_mm = abs(float((track.corners - known.corners)[:, 1].mean())) / track.px_per_mm
        as_wide = abs(track.measured_px()[0] / known.size_px[0] - 1) < SAME_SIZE
        both = min(right, left) > HALF_EDGE and as_wide
        return (max(right, left) > WHOLE_EDGE or both) and max(top, bottom) > WHOLE_EDGE and off_mm < GUIDED_MM

    def expected_x(self, moved_px: float, near_px: float) -> float | None:
        """Middle of the frame that lies nearest a place in the view, by the last one known, full px; None when that is
        too long ago.
        """
        known = self._known
        if known is None or math.isnan(self._film_x):
            return None
        here = self._film_x + moved_px
        if abs(here - known.middle_x) > self._carry_mm * known.px_per_mm:
            return None
        pitch_px = self._pitch_mm * known.px_per_mm
        return here + round((near_px - here) / pitch_px) * pitch_px

    def predict(self, moved_px: float, view_middle_px: float) -> Track | None:
        """Place the frame nearest the middle of the view by the last one known; None when that is too long ago."""
        expected_x = self.expected_x(moved_px, view_middle_px)
        if self._known is None or expected_x is None:
            return None
        return self._known.moved(expected_x - self._known.middle_x, 0.0)
