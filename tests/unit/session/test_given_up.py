"""Which release a late picture is of."""

import pytest

from tethercap.camera.base import CameraFile
from tethercap.session.events import FiredBy
from tethercap.session.given_up import CLOCK_SLACK_S, GivenUp
from tethercap.session.shot import Shot

LEAD_S = 1_900_000_000.0
"""The camera's clock counts since the epoch, ours since the machine was started."""


def shot(frame_id: str, fired_at_s: float) -> Shot:
    return Shot(frame_id, 1, FiredBy.KEY, fired_at_s, None)


def picture(released_at_s: float | None) -> CameraFile:
    return CameraFile("/store", "A.DNG", 10, taken_at_s=None if released_at_s is None else LEAD_S + released_at_s)


@pytest.fixture
def given_up() -> GivenUp:
    memory = GivenUp()
    memory.learn(picture(50.0), shot("3", 50.0))
    return memory


def test_nothing_given_up_leaves_a_picture_to_the_shot_under_way(given_up: GivenUp) -> None:
    under_way = shot("4", 100.0)
    assert given_up.owner(picture(10.0), under_way) is under_way
    assert given_up.owner(picture(10.0), None) is None


def test_the_clocks_tell_two_releases_apart(given_up: GivenUp) -> None:
    first, second = shot("4", 100.0), shot("5", 115.0)
    given_up.add(first)
    assert given_up.owner(picture(115.6), second) is second
    assert given_up.owner(picture(100.6), second) is first
    assert given_up.owner(picture(100.6), second) is second, "each release has one picture"


def test_a_picture_that_fits_no_release_was_asked_for_by_nobody(given_up: GivenUp) -> None:
    given_up.add(shot("4", 100.0))
    assert given_up.owner(picture(100.0 + 2 * CLOCK_SLACK_S), None) is None


def test_where_the_clocks_say_nothing_the_shot_under_way_comes_first(given_up: GivenUp) -> None:
    first, second = shot("4", 100.0), shot("5", 115.0)
    given_up.add(first)
    assert given_up.owner(picture(None), second) is second
    assert given_up.owner(picture(None), None) is first
    assert given_up.owner(picture(None), None) is None


def test_a_roll_that_begins_with_a_late_picture_is_told_by_the_times_between() -> None:
    memory = GivenUp()
    first, second, third = shot("1", 100.0), shot("1", 113.0), shot("2", 121.0)
    memory.released(first)
    memory.add(first)
    memory.released(second)
    assert memory.owner(picture(100.4), second) is second, "one picture alone fits both releases"
    memory.released(third)
    late = memory.owner(picture(113.4), third)
    assert late is not None
    assert late.frame_id == "1", "the picture of the second release, whose place the first one's took"
    assert memory.owner(picture(121.3), third) is third
    assert memory.owner(picture(130.0), None) is None, "no picture is missing any longer"


def test_clocks_are_not_compared_on_pictures_that_are_in_doubt() -> None:
    memory, first = GivenUp(), shot("4", 100.0)
    memory.add(first)
    memory.learn(picture(100.0), shot("5", 115.0))
    assert memory.owner(picture(500.0), None) is first
