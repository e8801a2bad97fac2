"""The states of a roll being captured, and the only moves between them.

::

    NO_FILM ──film──▶ MOVING ◀──────────────── moves ───────────────┐
       ▲                │ slows                                      │
       └──film gone── SETTLING ──still and in place──▶ SEATED ──┐    │
                        │ still, out of place or unclear        │    │
                        └────────▶ HELD ◀── check failed ──┐    │    │
                                    │ forced               │    ▼    │
                                    └────────▶ EXPOSING ◀──┼──fire   │
                                                 │         │         │
                                              PULLING ▶ CHECKING ▶ FILED
"""

from enum import StrEnum


class RunState(StrEnum):
    """What the roll is doing now."""

    NO_FILM = "no film"
    MOVING = "moving"
    SETTLING = "settling"
    SEATED = "seated"
    EXPOSING = "exposing"
    PULLING = "pulling"
    CHECKING = "checking"
    FILED = "filed"
    HELD = "held"


_FILM_STATES = frozenset(
    {RunState.NO_FILM, RunState.MOVING, RunState.SETTLING, RunState.SEATED, RunState.HELD, RunState.FILED}
)
# Film that comes to rest again where it was taken is FILED still.

MOVES: dict[RunState, frozenset[RunState]] = {
    RunState.NO_FILM: _FILM_STATES | {RunState.EXPOSING, RunState.PULLING},
    RunState.MOVING: _FILM_STATES | {RunState.EXPOSING, RunState.PULLING},
    RunState.SETTLING: _FILM_STATES | {RunState.EXPOSING, RunState.PULLING},
    RunState.SEATED: _FILM_STATES | {RunState.EXPOSING, RunState.PULLING},
    RunState.HELD: _FILM_STATES | {RunState.EXPOSING, RunState.PULLING},
    RunState.EXPOSING: frozenset({RunState.PULLING, RunState.HELD}),
    RunState.PULLING: frozenset({RunState.CHECKING, RunState.HELD}),
    RunState.CHECKING: frozenset({RunState.FILED, RunState.HELD}),
    RunState.FILED: _FILM_STATES | {RunState.EXPOSING, RunState.PULLING},
}
"""From each state, the states that may follow. A picture taken with the body's own button enters at PULLING."""


def move(now: RunState, then: RunState) -> RunState:
    """Return `then` if it may follow `now`.

    Raises
    ------
    ValueError
        If the move is not in the table; a mistake in the program, not in the world.
    """
    if then is now or then in MOVES[now]:
        return then
    raise ValueError(f"a roll cannot go from {now.value!r} to {then.value!r}")
