"""What a person wants to see drawn on the live picture, and the drawing of one picture made from it; pure."""

from dataclasses import dataclass
from enum import StrEnum

from tethercap.session.events import Watched
from tethercap.tui.hints import correction_of
from tethercap.tui.overlay import Drawing, target_quad
from tethercap.watch.limits import Limits
from tethercap.watch.sighting import Decision


class Amount(StrEnum):
    """How much is drawn."""

    ALL = "frame, target and way"
    FRAME = "frame alone"
    NOTHING = "picture alone"


@dataclass(slots=True)
class PictureChoice:
    """What is drawn."""

    amount: Amount = Amount.ALL
    peaking: bool = False
    corners: bool = False
    """Corners one to one instead of the whole picture."""

    def next_amount(self) -> None:
        """Draw less, or all again."""
        amounts = list(Amount)
        self.amount = amounts[(amounts.index(self.amount) + 1) % len(amounts)]

    def drawing_of(self, event: Watched, label: str, limits: Limits) -> Drawing:
        """Say what to draw on a picture.

        Parameters
        ----------
        label : str
            Number of the frame.
        limits : Limits
            Within them no way is drawn.
        """
        sighting, edges = event.sighting, event.sighting.edges
        if self.corners:
            return Drawing(edges, corners_only=True)
        if self.amount is Amount.NOTHING or edges is None:
            return Drawing(peaking=self.peaking)
        everything = self.amount is Amount.ALL
        fix = None
        still = sighting.motion is None or sighting.motion.still
        if everything and sighting.alignment is not None and still and sighting.verdict.decision is not Decision.ACCEPT:
            fix = correction_of(sighting.alignment, centring_mm=limits.centring_mm, tilt_deg=limits.tilt_deg)
        target = target_quad(event.frame.size, edges) if everything else None
        return Drawing(edges, target, fix, label, peaking=self.peaking, dim_outside=everything)
