"""From one sighting to the state of the roll: pure, so that every case can be written down in a table."""

from typing import Protocol

from tethercap.film.formats import FilmFormat
from tethercap.film.kinds import FilmKind
from tethercap.pictures import LiveFrame
from tethercap.session.states import RunState
from tethercap.watch.limits import Limits
from tethercap.watch.sighting import Decision, Sighting

BUSY = frozenset({RunState.EXPOSING, RunState.PULLING, RunState.CHECKING})
"""States in which a shot is under way; what the live view shows does not change them."""


class FilmWatcher(Protocol):
    """What a run asks of whoever watches its film; `tethercap.watch.watcher.Watcher` is one."""

    film_format: FilmFormat
    film_kind: FilmKind | None
    limits: Limits
    shutter_s: float

    def watch(self, frame: LiveFrame) -> Sighting:
        """Judge one live picture."""
        ...

    def shot_taken(self, at_s: float) -> None:
        """Note that a shot was fired."""
        ...

    def view_of_shot(self) -> bytes:
        """Give the view at the last shot, small, for a later run; empty where there was none."""
        ...

    def recall_shot(self, view: bytes) -> None:
        """Note what an earlier run saw when it fired last."""
        ...

    def reopen_frame(self) -> None:
        """Let the frame in view be fired on again."""
        ...


def state_of(sighting: Sighting, *, moving_above_mm_s: float, taken_here: bool) -> RunState:
    """State that a sighting speaks for, no shot being under way.

    Parameters
    ----------
    sighting : Sighting
    moving_above_mm_s : float
        Speed from which film counts as moving rather than settling, mm/s.
    taken_here : bool
        The frame in view is filed already, and the film has not gone on since.
    """
    if sighting.film_present is False:
        return RunState.NO_FILM
    motion = sighting.motion
    if motion is None or not motion.still:
        fast = motion is not None and max(abs(motion.along_mm_s), abs(motion.across_mm_s)) > moving_above_mm_s
        return RunState.MOVING if fast else RunState.SETTLING
    if taken_here:
        return RunState.FILED
    return RunState.SEATED if sighting.verdict.decision is Decision.ACCEPT else RunState.HELD
