"""Places where one frame may be, weighed against each other: at most one of those that overlap is right."""

from dataclasses import replace

import numpy as np

from tethercap.watch.confidence import Fitted

ELSEWHERE = 0.05
"""Places that differ by more than this share of the frame's length are two, of which one may be seen better."""
NOT_THE_SAME = 0.015
"""Places that differ by more than this share of it cannot both be right."""
ANOTHER_FRAME = 0.5
"""Places further apart than this share of the pitch are of two frames, which may both be there."""


def compared(fitted: list[Fitted]) -> list[Fitted]:
    """Note for each place by how much another one of its kind is seen better, and the odds of what excludes it.

    Where format or scale are not known, most places differ in those alone, and only the first is noted.

    Parameters
    ----------
    fitted : list of Fitted
        Places in one view.
    """
    seen = [replace(one, outdone=_outdone(one, fitted)) for one in fitted]
    return [replace(one, rivals=_odds_against(one, seen)) if one.is_scaled and one.is_named else one for one in seen]


def _of_kind(one: Fitted, others: list[Fitted]) -> list[Fitted]:
    return [other for other in others if other.hypothesis.inverted is one.hypothesis.inverted]


def _apart(one: Fitted, other: Fitted) -> float:
    """Largest distance between two places' corners, as a share of the frame's length."""
    length_px = one.hypothesis.film_format.along_mm * one.px_per_mm
    return float(np.abs(other.corners - one.corners).max()) / length_px


def _outdone(one: Fitted, others: list[Fitted]) -> float:
    """By how many edges' length another place shows more."""
    lengths = (other.seen_in_all for other in _of_kind(one, others) if _apart(one, other) > ELSEWHERE)
    return max(lengths, default=0.0) - one.seen_in_all


def _odds_against(one: Fitted, others: list[Fitted]) -> float:
    """Odds of all other places of the same frame; those that hardly differ from each other count once."""
    pitch_px = one.hypothesis.film_format.pitch_mm * one.px_per_mm
    places: list[Fitted] = []
    for other in sorted(_of_kind(one, others), key=lambda other: -other.odds):
        shifted_px = abs(float(other.corners[:, 0].mean() - one.corners[:, 0].mean()))
        is_rival = shifted_px < ANOTHER_FRAME * pitch_px and _apart(one, other) > NOT_THE_SAME
        if is_rival and all(_apart(place, other) > NOT_THE_SAME for place in places):
            places.append(other)
    return sum(place.odds for place in places)
