"""What is known about the roll while it is pulled: the frame in view from picture to picture, and the grid of frames on the strip."""

from dataclasses import dataclass, replace

import numpy as np

from tethercap.film.formats import FilmFormat
from tethercap.pictures import F32Array, U8Array
from tethercap.watch.confidence import Fitted, is_seen
from tethercap.watch.edges import move_sides
from tethercap.watch.refine import TRACKING, SideFit, refine_sides


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

    @classmethod
    def of(cls, fitted: Fitted, sure: float, base: F32Array) -> "Track":
        """Start to follow a frame that was found."""
        corners = fitted.corners
        width = float(np.hypot(*(corners[1] - corners[0])) + np.hypot(*(corners[2] - corners[3]))) / 2
        height = float(np.hypot(*(corners[3] - corners[0])) + np.hypot(*(corners[2] - corners[1]))) / 2
        bases = np.array([fit.outside if is_seen(fit) else base for fit in fitted.fits], np.float32)
        seen = tuple(float(fit.seen.mean()) for fit in fitted.fits)
        h = fitted.hypothesis
        return cls(corners, fitted.fits, bases, h.inverted, h.touching, (width, height), fitted.px_per_mm, sure, seen)

    def moved(self, x_px: float, y_px: float) -> "Track":
        """Give the same frame after the film moved."""
        return replace(self, corners=self.corners + np.array([x_px, y_px], np.float32))

    def fitted(self, pixels_bgr: U8Array, reach_mm: float) -> "Track":
        """Fit its edges again where they are expected."""
        fits = refine_sides(
            pixels_bgr, self.corners, self.bases, reach_px=max(reach_mm * self.px_per_mm, 5.0),
            inverted=self.inverted, touching=self.touching, sampling=TRACKING,
        )  # fmt: skip
        return replace(self, corners=move_sides(self.corners, fits, self.size_px), fits=fits)

    def holds(self) -> bool:
        """Whether what is seen is still about what was seen when it was found."""
        return all(
            float(fit.seen.mean()) >= 0.5 * then - 0.06 or not _in_view(fit)
            for fit, then in zip(self.fits, self.seen_then, strict=True)
        ) and any(is_seen(fit) for fit in self.fits)

    def smoothed(self, before: "Track", share: float) -> "Track":
        """Mean of two fits of a frame that lies still."""
        return replace(self, corners=before.corners * np.float32(1 - share) + self.corners * np.float32(share))

    def seen_shares(self) -> tuple[float, ...]:
        """Share of each edge seen now: top, right, bottom, left."""
        return tuple(float(fit.seen.mean()) for fit in self.fits)

    def seen_sides(self) -> int:
        """How many edges are seen now."""
        return sum(is_seen(fit) for fit in self.fits)

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
        return float(self.corners[:, 0].mean())


def _in_view(fit: SideFit) -> bool:
    return float(fit.visible.mean()) > 0.6


class FrameGrid:
    """Where frames lie on the strip, learned from those that were seen well, in film coordinates (view px less all movement)."""

    def __init__(self, film_format: FilmFormat, carry_mm: float) -> None:
        self._format = film_format
        self._carry_mm = carry_mm
        self._known: Track | None = None
        self._film_x = 0.0
        self._pitch_mm = film_format.pitch_mm

    @property
    def known(self) -> Track | None:
        """The last frame that was seen well, where it was then."""
        return self._known

    def learn(self, track: Track, moved_px: float) -> None:
        """Take in a frame seen well, with all movement so far."""
        x = track.middle_x - moved_px
        if self._known is not None:
            apart_mm = abs(x - self._film_x) / track.px_per_mm
            if abs(apart_mm / self._format.pitch_mm - 1) < 0.06:
                self._pitch_mm = 0.5 * (self._pitch_mm + apart_mm)
        self._known, self._film_x = track, x

    def forget(self) -> None:
        """Another strip: sizes and tones stay, the place on the film does not."""
        self._film_x = float("nan")

    def predict(self, moved_px: float, view_middle_px: float) -> Track | None:
        """Place the frame nearest the middle of the view by the last one known; None when that is too long ago."""
        known = self._known
        if known is None or np.isnan(self._film_x):
            return None
        pitch_px = self._pitch_mm * known.px_per_mm
        here = self._film_x + moved_px
        steps = round((view_middle_px - here) / pitch_px)
        expected = here + steps * pitch_px
        if abs(moved_px + self._film_x - known.middle_x) > self._carry_mm * known.px_per_mm:
            return None
        return known.moved(expected - known.middle_x, 0.0)
