from __future__ import annotations

import pytest

from mock_camera.film_stock import FORMATS, KINDS
from mock_camera.hand import NO_STRIP, Hand, Move, Pose, Track, Work
from mock_camera.placing import end_poses, frame_offset_mm, pose_for
from mock_camera.strip_scene import StripPlan, make_strip

PLAN = StripPlan(FORMATS["135-36x24"], KINDS["colour-negative"], 6, ("hills",), 1, 9)
STRIPS = [make_strip(PLAN, 0), make_strip(PLAN, 1)]
WORK = Work(
    lambda strip: len(STRIPS[strip].frames),
    len(STRIPS),
    lambda strip, frame, along, across, tilt: pose_for(STRIPS[strip], STRIPS[strip].frames[frame], along, across, tilt),
    lambda strip: end_poses(STRIPS[strip]),
)
EMPTY = Pose(NO_STRIP, 0.0, 0.0, 0.0)


def make_hand(mode: str, seed: int = 4, time_scale: float = 1.0) -> Hand:
    hand = Hand(WORK, Track(0.0, EMPTY), mode, seed, time_scale)
    hand.start(0.0)
    return hand


def wait_for_rest(hand: Hand, start: float, still_for: float, give_up: float = 30.0) -> float:
    """First time after `start` at which the film has lain still that long in the middle of the view."""
    now, since = start, start
    while now < start + give_up:
        now += 0.02
        hand.step(now)
        pose = hand.track.pose_at(now)
        if pose.strip == NO_STRIP or hand.track.speed_at(now) > 0.0:
            since = now
        elif now - since >= still_for:
            return now
    raise AssertionError("the film never came to rest")


def error_of(hand: Hand, now: float) -> tuple[float, float, float]:
    pose = hand.track.pose_at(now)
    frame = STRIPS[pose.strip].nearest_frame(pose.position_mm)
    return (*frame_offset_mm(pose, frame), pose.tilt_deg + frame.tilt_deg)


@pytest.mark.parametrize("seed", range(12))
def test_the_hand_seats_a_frame_within_its_tolerance(seed: int) -> None:
    hand = make_hand("bell", seed)
    now = wait_for_rest(hand, 0.0, 0.6)
    along, across, tilt = error_of(hand, now)
    assert max(abs(along), abs(across)) <= hand.habits.tolerance_mm + 1e-9
    assert abs(tilt) <= hand.habits.tolerance_deg + 1e-9


def test_the_hand_overshoots_and_comes_back() -> None:
    overshoots = 0
    for seed in range(12):
        hand = make_hand("bell", seed)
        rest = wait_for_rest(hand, 0.0, 0.6)
        target = hand.track.pose_at(rest).position_mm
        furthest = max(hand.track.pose_at(step * 0.01).position_mm for step in range(int(rest * 100)))
        overshoots += furthest > target + 0.3
    assert overshoots >= 6


def test_the_bell_brings_every_frame_of_every_strip_and_then_an_empty_holder() -> None:
    hand, now, seen = make_hand("bell"), 0.0, []
    for _ in range(12):
        now = wait_for_rest(hand, now, 0.5)
        pose = hand.track.pose_at(now)
        seen.append(STRIPS[pose.strip].nearest_frame(pose.position_mm).label)
        hand.hear("bell", now)
    assert seen == [str(number) for number in range(1, 13)]
    hand.step(now + 10.0)
    assert hand.track.pose_at(now + 10.0).strip == NO_STRIP


def test_bare_light_lies_between_two_strips() -> None:
    order: list[int] = []
    hand = make_hand("timed", time_scale=0.2)
    for step in range(2000):
        hand.step(step * 0.01)
        strip = hand.track.pose_at(step * 0.01).strip
        if not order or order[-1] != strip:
            order.append(strip)
    assert order == [NO_STRIP, 0, NO_STRIP, 1, NO_STRIP]


def test_without_bell_or_shot_the_operator_nudges_after_four_seconds() -> None:
    hand = make_hand("bell")
    rest = wait_for_rest(hand, 0.0, 0.5)
    before = hand.track.pose_at(rest)
    hand.step(rest + 8.0)
    assert hand.track.pose_at(rest + 3.4) == before
    moved = [step for step in range(800) if hand.track.speed_at(rest + step * 0.01) > 0.0]
    assert 3.0 < moved[0] * 0.01 < 5.0


def test_after_a_shot_the_operator_waits_longer() -> None:
    hand = make_hand("bell")
    rest = wait_for_rest(hand, 0.0, 0.5)
    hand.hear("shot", rest + 0.1)
    hand.step(rest + 10.0)
    assert all(hand.track.speed_at(rest + step * 0.05) == 0.0 for step in range(200))


def test_held_brings_a_small_correction() -> None:
    hand = make_hand("bell")
    rest = wait_for_rest(hand, 0.0, 0.5)
    before = hand.track.pose_at(rest)
    hand.hear("held", rest)
    again = wait_for_rest(hand, rest + 0.6, 0.6)
    after = hand.track.pose_at(again)
    assert after != before
    assert abs(after.position_mm - before.position_mm) < 0.5


def test_what_the_film_does_does_not_depend_on_who_looks() -> None:
    often, seldom = make_hand("timed"), make_hand("timed")
    for step in range(1000):
        often.step(step * 0.01)
    seldom.step(10.0)
    assert often.track.pose_at(9.9) == seldom.track.pose_at(9.9)


def test_fast_shortens_times_and_quickens_the_film() -> None:
    slow, fast = make_hand("timed"), make_hand("timed", time_scale=0.2)
    slow.step(5.0)
    fast.step(5.0)
    for time_s in (1.2, 1.6, 2.4, 3.0):
        a, b = slow.track.pose_at(time_s), fast.track.pose_at(time_s * 0.2)
        assert a.position_mm == pytest.approx(b.position_mm, abs=0.2)


def test_a_smooth_move_has_the_peak_speed_of_least_jerk() -> None:
    # Flash and Hogan 1985: peak speed 1.875 times the mean.
    track = Track(0.0, Pose(0, 0.0, 0.0, 0.0))
    track.add(Move(Pose(0, 10.0, 0.0, 0.0), 1.0), 0.0)
    assert track.speed_at(0.5) == pytest.approx(18.75, rel=1e-3)
    assert track.speed_at(1.5) == 0.0
    assert track.pose_at(0.5).position_mm == pytest.approx(5.0)


def test_stopping_keeps_what_was_seen_before() -> None:
    hand = make_hand("timed")
    hand.step(1.5)
    past = [hand.track.pose_at(t) for t in (0.9, 1.1, 1.3)]
    hand.stop(1.4)
    now = [hand.track.pose_at(t) for t in (0.9, 1.1, 1.3)]
    assert now == past
    assert hand.track.pose_at(9.0) == hand.track.pose_at(1.4)


def test_film_put_in_place_at_once_has_no_speed() -> None:
    track = Track(0.0, Pose(0, 0.0, 0.0, 0.0))
    track.add(Move(Pose(0, 30.0, 0.0, 0.0), 0.0), 1.0)
    assert track.speed_at(1.0) == 0.0
    assert track.last_jump_s(2.0) == 1.0
