from dataclasses import replace

import pytest

from tests.unit.watch.pictures import FORMAT, corners_at
from tethercap.film.kinds import FilmKind
from tethercap.geometry import OffsetMm, QuadPx
from tethercap.watch.decision import decide
from tethercap.watch.directions import Directions, sentence_for
from tethercap.watch.limits import Limits
from tethercap.watch.sighting import (
    Alignment,
    Decision,
    EdgeEvidence,
    FrameEdges,
    Motion,
    Reason,
    ReasonCode,
    Side,
    Sighting,
    Verdict,
)

LIMITS = Limits()
GOOD = Alignment(OffsetMm(0.1, -0.1), 0.1, 0.1, True, 0.0, 1 / 16)
STILL = Motion(0.0, 0.0, 0.02, still=True, still_for_s=0.2)


def edges(*unseen: Side, confidence: float = 0.95) -> FrameEdges:
    evidence = tuple(EdgeEvidence(s, 0.0 if s in unseen else 0.9, 20.0, 0.2, inferred=s in unseen) for s in Side)
    return FrameEdges(
        QuadPx.from_array(corners_at()), evidence, 1 / 16, FilmKind.COLOUR_NEGATIVE, FORMAT.id, confidence
    )


def codes(verdict: Verdict) -> set[ReasonCode]:
    return {reason.code for reason in verdict.reasons}


def test_good_is_accepted() -> None:
    assert decide(edges(), GOOD, STILL, LIMITS, film_format=FORMAT) == Verdict(Decision.ACCEPT)


@pytest.mark.parametrize(
    ("alignment", "code"),
    [
        (replace(GOOD, offset=OffsetMm(0.31, 0)), ReasonCode.OFF_CENTRE),
        (replace(GOOD, offset=OffsetMm(0, -0.31)), ReasonCode.OFF_CENTRE),
        (replace(GOOD, tilt_deg=-0.31), ReasonCode.TILTED),
        (replace(GOOD, keystone_deg=1.1), ReasonCode.KEYSTONE),
        (replace(GOOD, cut_off_fraction=0.01), ReasonCode.CUT_OFF),
    ],
)
def test_each_limit_holds_with_its_own_reason(alignment: Alignment, code: ReasonCode) -> None:
    verdict = decide(edges(), alignment, STILL, LIMITS)
    assert verdict.decision is Decision.HOLD
    assert codes(verdict) == {code}


def test_moving_is_held() -> None:
    verdict = decide(edges(), GOOD, replace(STILL, still=False), LIMITS)
    assert (verdict.decision, codes(verdict)) == (Decision.HOLD, {ReasonCode.MOVING})


def test_one_inferred_edge_is_accepted_but_said() -> None:
    verdict = decide(edges(Side.LEFT), GOOD, STILL, LIMITS)
    assert (verdict.decision, codes(verdict)) == (Decision.ACCEPT, {ReasonCode.INFERRED})


def test_two_inferred_edges_are_held_unless_the_grid_is_known() -> None:
    unsure = edges(Side.LEFT, Side.TOP)
    assert decide(unsure, GOOD, STILL, LIMITS).decision is Decision.HOLD
    assert decide(unsure, GOOD, STILL, LIMITS, grid_known=True).decision is Decision.ACCEPT


def test_wholly_inferred_is_never_accepted() -> None:
    verdict = decide(edges(*Side), GOOD, STILL, LIMITS, grid_known=True)
    assert verdict.decision is not Decision.ACCEPT


@pytest.mark.parametrize(("confidence", "decision"), [(0.1, Decision.CANNOT_TELL), (0.6, Decision.HOLD)])
def test_little_confidence_is_never_accepted(confidence: float, decision: Decision) -> None:
    assert decide(edges(confidence=confidence), GOOD, STILL, LIMITS).decision is decision


def test_blank_frames_are_asked_about() -> None:
    # A blank frame has no edge to be sure of, so what is said about it does not depend on confidence.
    verdict = decide(edges(*Side, confidence=0.1), GOOD, STILL, LIMITS, blank=True)
    assert verdict.decision is Decision.CANNOT_TELL
    assert ReasonCode.BLANK_FRAME in codes(verdict)


def test_nothing_found_says_what_is_missing() -> None:
    why = (Reason(ReasonCode.NO_FILM, "no film in the holder"),)
    assert decide(None, None, STILL, LIMITS, not_seen=why) == Verdict(Decision.CANNOT_TELL, why)


def test_another_size_is_another_format() -> None:
    half = replace(FORMAT, along_mm=18.0, id="135-18x24")
    assert ReasonCode.WRONG_FORMAT in codes(decide(edges(), GOOD, STILL, LIMITS, film_format=half))


def test_still_speed_follows_shutter_and_sensor() -> None:
    # 0.5 px at 4000 px per inch and 1/125 s: 0.397 mm/s; arithmetic.
    assert LIMITS.still_mm_s(1 / 125, 4000 / 25.4) == pytest.approx(0.397, abs=0.001)
    assert LIMITS.still_mm_s(10.0, 4000 / 25.4) == LIMITS.slowest_still_mm_s


def sighting(alignment: Alignment) -> Sighting:
    verdict = decide(edges(), alignment, STILL, LIMITS)
    return Sighting(0, 0.0, verdict, edges(), alignment, STILL, False, True, FilmKind.SLIDE)


@pytest.mark.parametrize(
    ("place", "x_mm", "expected"),
    [
        ("above", 1.2, "move the film 1.2 mm to the left"),
        ("above", -1.2, "move the film 1.2 mm to the right"),
        ("below", 1.2, "move the film 1.2 mm to the right"),
    ],
)
def test_film_goes_against_its_offset(place: str, x_mm: float, expected: str) -> None:
    seen = sighting(replace(GOOD, offset=OffsetMm(x_mm, 0.0)))
    assert sentence_for(seen, Directions.for_camera(place)) == expected


def test_film_is_turned_against_its_tilt() -> None:
    seen = sighting(replace(GOOD, tilt_deg=0.8))
    assert sentence_for(seen, Directions.for_camera("above")) == "turn it 0.8 degrees anticlockwise"
    assert sentence_for(seen, Directions.for_camera("below")) == "turn it 0.8 degrees clockwise"


def test_unknown_place_of_the_camera() -> None:
    with pytest.raises(ValueError, match="beside"):
        Directions.for_camera("inside")
