"""Stops: what the marked figures mean exactly, distances between settings, and the nearest one on offer.

The marks on lenses and dials are rounded powers: f/5.6 means 2^(5/2) = 5.657, 1/60 s means 2^-6 = 1/64 s, ISO 125 means
100·2^(1/3) = 126.0. Marks follow ISO 517 (apertures) and ISO 516 (exposure times).
"""

import math
from collections.abc import Iterable, Sequence

SAME_RATIO = 0.01
"""Two figures within 1 % are the same setting: closer than two neighbouring marks ever come."""

_SNAP_STOPS = 0.16
"""How far a mark may lie from its exact value, stops. The widest true gap is f/1.2 with 0.14."""


def exact_f_number(marked: float, *, per_stop: int = 3) -> float:
    """Exact f-number behind a mark.

    Parameters
    ----------
    marked : float
        Figure on the dial, above 0.
    per_stop : int
        Marks per stop of the dial in use: 1, 2 or 3.

    Returns
    -------
    float
        2^(k / (2·per_stop)) for the nearest whole k; `marked` itself where no such value is near.

    Raises
    ------
    ValueError
        If the mark is not above 0.
    """
    if not marked > 0:
        raise ValueError(f"a mark must be above 0, not {marked}")
    stops = 2.0 * math.log2(marked)
    nearest_stops = round(stops * per_stop) / per_stop
    return float(2.0 ** (nearest_stops / 2.0)) if abs(stops - nearest_stops) <= _SNAP_STOPS else marked


def exact_compensation_stops(marked_stops: float) -> float:
    """Thirds and halves behind a printed compensation: -1.6 means -1 2/3, 0.3 means 1/3, 2.5 stays.

    Drivers cut or round the third digit, so 0.6, 0.66, 0.667 and 0.7 are all two thirds.
    """
    for per_stop in (2, 3):
        snapped = round(marked_stops * per_stop) / per_stop
        if abs(snapped - marked_stops) <= (0.07 if per_stop == 3 else 0.01):
            return snapped
    return marked_stops


def same_setting(one: float, other: float) -> bool:
    """True where two figures stand for the same setting (within 1 %)."""
    return abs(one - other) <= SAME_RATIO * max(abs(one), abs(other), 1e-9)


def distinct(values: Iterable[float]) -> tuple[float, ...]:
    """Sort upwards and drop repeats that are exactly equal."""
    return tuple(sorted(set(values)))


def nearest_in_stops(wanted: float, offered: Sequence[float]) -> int:
    """Index of the offered figure that is the fewest stops away; the first of equals.

    Parameters
    ----------
    wanted : float
        Above 0.
    offered : sequence of float
        Not empty; figures of 0 or less are never chosen.

    Raises
    ------
    ValueError
        If nothing offered, or `wanted`, is above 0.
    """
    if not wanted > 0:
        raise ValueError(f"{wanted} has no distance in stops")
    distances = [abs(math.log2(figure / wanted)) if figure > 0 else math.inf for figure in offered]
    if not distances or min(distances) == math.inf:
        raise ValueError("nothing to choose from")
    return distances.index(min(distances))


def nearest_linear(wanted: float, offered: Sequence[float]) -> int:
    """Index of the offered figure with the least plain difference: for figures that are stops already, or may be 0.

    Raises
    ------
    ValueError
        If nothing is offered.
    """
    if not offered:
        raise ValueError("nothing to choose from")
    distances = [abs(figure - wanted) for figure in offered]
    return distances.index(min(distances))
