"""From a sighting to the state of the roll."""

import pytest

from tethercap.session.states import RunState
from tethercap.session.watching import state_of
from tethercap.watch.sighting import Decision, Motion, Sighting, Verdict


def sighting(
    *,
    decision: Decision = Decision.ACCEPT,
    still: bool = True,
    speed_mm_s: float = 0.0,
    film: bool | None = True,
    at_s: float = 0.0,
) -> Sighting:
    motion = Motion(speed_mm_s, 0.0, 0.1, still, 1.0 if still else 0.0)
    return Sighting(0, at_s, Verdict(decision), None, None, motion, ready=False, film_present=film, film_kind=None)


@pytest.mark.parametrize(
    ("seen", "taken_here", "state"),
    [
        (sighting(film=False), False, RunState.NO_FILM),
        (sighting(film=False), True, RunState.NO_FILM),
        (sighting(still=False, speed_mm_s=40.0), False, RunState.MOVING),
        (sighting(still=False, speed_mm_s=-40.0), False, RunState.MOVING),
        (sighting(still=False, speed_mm_s=0.5), False, RunState.SETTLING),
        (sighting(), False, RunState.SEATED),
        (sighting(), True, RunState.FILED),
        (sighting(decision=Decision.HOLD), False, RunState.HELD),
        (sighting(decision=Decision.CANNOT_TELL), False, RunState.HELD),
        (sighting(film=None, decision=Decision.CANNOT_TELL), False, RunState.HELD),
    ],
)
def test_a_sighting_speaks_for_one_state(seen: Sighting, taken_here: bool, state: RunState) -> None:
    assert state_of(seen, moving_above_mm_s=3.0, taken_here=taken_here) is state
