"""How fast the film moves from live picture to live picture, and whether it lies still."""

from collections import deque
from dataclasses import dataclass

import cv2
import numpy as np

from tethercap.pictures import F32Array
from tethercap.watch.shift import COARSE, Opening, OpenView, Shift, column_means, lit_run, measure_shift, row_means
from tethercap.watch.sighting import Motion

RESTING_SHARE = 0.5
"""Share of the speed that would blur, below which the film counts as having come to rest."""
CREEPING_SHARE = 1.0
"""The same for film that creeps to rest, slower from picture to picture: a hand that turns round is slow too, but only
until the next picture."""


ACROSS_COUNTS = 0.3
"""Weight of movement across the film: it lies between guides, and what bands of flicker leave behind is across."""
ACROSS_OVER = 3
"""It is averaged over so many pictures: bands that run through the picture push it to and fro. Film that has stopped
shows none in the last picture, whatever the mean."""
REST_DRIFT_S = 0.1
"""Film at rest stays within what the fastest still film goes in this time; creeping further is no rest."""
FORGETS = 0.997
"""How much of the light once seen at a place is still believed a picture later: half after eight seconds."""


TREMBLING_COUNTS = 0.75
"""Film in a trembling hand is hardly slower than what counts as rest, and turns round and round: staying in its place
it rests all the same, only later."""


@dataclass(slots=True)
class _Stay:
    """Since when the film lies at one place."""

    since_s: float | None = None
    at_px: float = 0.0

    def lasts(self, lies: bool, along_px: float, drift_px: float, at_s: float, elapsed_s: float) -> float:
        """Take in a picture; how long the film lies by now, s, 0 where it does not, or has crept away."""
        if not lies:
            self.since_s = None
            return 0.0
        if self.since_s is None or abs(along_px - self.at_px) > drift_px:
            self.since_s, self.at_px = at_s - elapsed_s, along_px
        return at_s - self.since_s


class MotionMeter:
    """Follows the film from picture to picture."""

    def __init__(self) -> None:
        self._before: OpenView | None = None
        self._window: F32Array | None = None
        self._lit: tuple[F32Array, F32Array] | None = None
        self._at_s = 0.0
        self._shift_px = 0.0
        self._along_mm_s = 0.0
        self._across_mm_s: deque[float] = deque(maxlen=ACROSS_OVER)
        self._rest, self._trembling = _Stay(), _Stay()
        self.along_px = 0.0
        """Sum of all movement along x since the start, small px."""
        self.across_px = 0.0
        self.lost = True
        """The last two pictures had nothing in common."""
        self.repeated = False
        """The last picture was the one before again."""
        self.tone = 0.0
        """Mean of the last picture inside the opening, codes."""

    def copy_of_last(self) -> F32Array | None:
        """The last picture taken in, to compare later ones with."""
        return None if self._before is None else self._before.grey.copy()

    def update(self, grey: F32Array, at_s: float, mm_per_small_px: float, still_mm_s: float) -> Motion | None:
        """Take in one picture.

        Parameters
        ----------
        grey : ndarray
            Reduced picture, shape (height, width), float32; used again with the next one, so it must stay until then.
        at_s : float
            When it was taken, s.
        mm_per_small_px : float
            Scale.
        still_mm_s : float
            Speed that counts as rest.

        Returns
        -------
        Motion or None
            None for the first picture, and for one that repeats the one before.
        """
        before, self.repeated = self._before, False
        if before is None or self._window is None or before.grey.shape != grey.shape or at_s <= self._at_s:
            self._start(grey, at_s)
            return None
        self._before = OpenView.of(grey, self._opening(grey))
        self.tone = float(self._before.rows.sum()) / self._before.rows.size
        shift = measure_shift(before, self._before, self._window, self._shift_px, was_lost=self.lost)
        if shift.repeated:
            self.repeated = True
            return None
        elapsed_s = at_s - self._at_s
        self._at_s = at_s
        self._shift_px = shift.x_px if shift.trusted else 0.5 * self._shift_px
        self.lost = not shift.trusted
        if self.lost:
            self._rest, self._trembling = _Stay(), _Stay()
            return Motion(0.0, 0.0, float("inf"), still=False, still_for_s=0.0)
        self.along_px += shift.x_px
        self.across_px += shift.y_px
        return self._speed(shift, at_s, elapsed_s, mm_per_small_px, still_mm_s)

    def _opening(self, grey: F32Array) -> Opening:
        """Rows and columns inside the opening: what was lit lately, so that dense film beside bare light is too."""
        profiles = row_means(grey), column_means(grey)
        if self._lit is None:
            self._lit = profiles
        for lit, profile in zip(self._lit, profiles, strict=True):
            lit *= np.float32(FORGETS)
            np.maximum(lit, profile, out=lit)
        return lit_run(self._lit[0]), lit_run(self._lit[1])

    def _start(self, grey: F32Array, at_s: float) -> None:
        self._before, self._at_s, self._lit = OpenView.of(grey), at_s, None
        size = (max(8, grey.shape[1] // COARSE), max(8, grey.shape[0] // COARSE))
        self._window = cv2.createHanningWindow(size, cv2.CV_32F).astype(np.float32)
        self._rest, self._trembling = _Stay(), _Stay()

    def _speed(self, shift: Shift, at_s: float, elapsed_s: float, mm_per_px: float, still_mm_s: float) -> Motion:
        along, across = shift.x_px * mm_per_px / elapsed_s, shift.y_px * mm_per_px / elapsed_s
        noise = shift.noise_px * mm_per_px / elapsed_s
        self._across_mm_s.append(across)
        going_across = min(abs(across), abs(sum(self._across_mm_s)) / ACROSS_OVER)
        now = max(abs(along), ACROSS_COUNTS * going_across)
        still = now <= still_mm_s + 2.0 * noise
        # A hand that turns round is slow for a moment, but never without acceleration: rest is asked for, not slowness.
        slows = along * self._along_mm_s >= 0.0 and abs(along) <= abs(self._along_mm_s) + noise
        self._along_mm_s = along
        share = CREEPING_SHARE if slows else RESTING_SHARE
        resting = still and now <= max(share * still_mm_s, 3.0 * noise + 0.01)
        drift_px = (REST_DRIFT_S * still_mm_s + 3.0 * noise * elapsed_s) / mm_per_px
        still_for = max(
            self._rest.lasts(resting, self.along_px, drift_px, at_s, elapsed_s),
            TREMBLING_COUNTS * self._trembling.lasts(still, self.along_px, drift_px, at_s, elapsed_s),
        )
        return Motion(along, across, noise, still=still, still_for_s=still_for)
