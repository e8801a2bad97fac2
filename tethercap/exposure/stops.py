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
    """
    return _snapped(marked, base=1.0, stops_per_octave=2.0, per_stop=per_stop)


def exact_shutter_s(marked_s: float, *, per_stop: int = 3) -> float:
    """Exact exposure time behind a mark, s: 2^(-k / per_stop). Parameters as in `exact_f_number`."""
    return _snapped(marked_s, base=1.0, stops_per_octave=1.0, per_stop=per_stop)


def exact_iso(marked: float, *, per_stop: int = 3) -> float:
    """Exact sensitivity behind a mark: 100·2^(k / per_stop). Parameters as in `exact_f_number`."""
    return _snapped(marked, base=100.0, stops_per_octave=1.0, per_stop=per_stop)


def _snapped(marked: float, *, base: float, stops_per_octave: float, per_stop: int) -> float:
    if not marked > 0:
        raise ValueError(f"a mark must be above 0, not {marked}")
    stops = stops_per_octave * math.log2(marked / base)
    nearest_stops = round(stops * per_stop) / per_stop
    if abs(stops - nearest_stops) > _SNAP_STOPS:
        return marked
    return float(base * 2.0 ** (nearest_stops / stops_per_octave))


def exact_compensation_stops(marked_stops: float) -> float:
    """Thirds and halves behind a printed compensation: -1.6 means -1 2/3, 0.3 means 1/3, 2.5 stays.

    Drivers cut or round the third digit, so 0.6, 0.66, 0.667 and 0.7 are all two thirds.
    """
    for per_stop in (2, 3):
        snapped = round(marked_stops * per_stop) / per_stop
        if abs(snapped - marked_stops) <= (0.07 if per_stop == 3 else 0.01):
            return snapped
    return marked_stops


def exposure_value(f_number: float, shutter_s: float) -> float:
    """Exposure value log2(N² / t), at f/1 and 1 s = 0 (ISO 2720; Exif 2.3 annex C: Ev = Av + Tv).

    Parameters
    ----------
    f_number : float
        Above 0.
    shutter_s : float
        Exposure time, s, above 0.
    """
    return math.log2(f_number * f_number / shutter_s)


def aperture_value(f_number: float) -> float:
    """Av = 2·log2 N (Exif 2.3, ApertureValue)."""
    return 2.0 * math.log2(f_number)


def time_value(shutter_s: float) -> float:
    """Tv = -log2 t (Exif 2.3, ShutterSpeedValue)."""
    return -math.log2(shutter_s)


def speed_value(iso: float) -> float:
    """Sv = log2(ISO / 3.125), ISO 100 = 5 (Exif 2.3 annex C, from memory)."""
    return math.log2(iso / 3.125)


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
