"""When the frame followed is fitted anew: in between it is carried by the film's movement, or lies as it lay."""

from dataclasses import dataclass

from tethercap.watch.sighting import Motion

RUNNING = 2
"""So many pictures pass from fit to fit while film moves: carried along by fast movement, which is measured on smeared
pictures, a frame is off by a twentieth of the way."""
COMING_TO_REST = 4
"""Film that has come to rest is fitted so many times, which averages the noise."""
AWAITED, KEPT = 4, 8
"""So many pictures pass from then on where it may still be fired on, and where that is done."""
DRIFT_MM = 0.01
"""Film that went further since its last fit is fitted again: half of what a fit may be off."""
OTHER_LIGHT = 0.05
"""The same where the view's mean tone changed by this share: edges that were seen may be seen no more."""


@dataclass(slots=True)
class Refits:
    """Counts what happened since the last fit."""

    _at_rest: int = 0
    _running: int = 0
    _since: int = 0
    _went_mm: float = 0.0
    _tone: float = 0.0

    def are_due(
        self, motion: Motion | None, moved_mm: float, tone: float, *, steady: bool, awaited: bool, fires: bool
    ) -> bool:
        """Take in a picture.

        Parameters
        ----------
        motion : Motion or None
            Of the film, up to this picture.
        moved_mm : float
            How far it went along since the picture before.
        tone : float
            Mean of the view, codes.
        steady : bool
            The last fit found the frame where the one before did: film that only turns is not seen to move.
        awaited : bool
            The frame may still be fired on.
        fires : bool
            It is about to be: never on a place that was only kept.

        Returns
        -------
        bool
            Whether the frame is to be fitted in this picture.
        """
        self._since += 1
        self._went_mm += moved_mm
        if motion is None or motion.still_for_s == 0:
            self._at_rest, self._running = 0, self._running + 1
            return self._running % RUNNING == 1
        self._at_rest, self._running = self._at_rest + 1, 0
        if self._at_rest <= COMING_TO_REST or fires or not steady:
            return True
        changed = abs(tone - self._tone) > OTHER_LIGHT * self._tone or abs(self._went_mm) > DRIFT_MM
        return changed or self._since >= (AWAITED if awaited else KEPT)

    @property
    def is_fresh(self) -> bool:
        """Whether the last picture taken in was fitted."""
        return self._since == 0

    def done(self, tone: float) -> None:
        """Note that it was fitted, or found anew, in this picture of such a mean tone."""
        self._since, self._went_mm, self._tone = 0, 0.0, tone
