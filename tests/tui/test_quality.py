"""The ladder of picture quality."""

import pytest

from tethercap.tui.cells import Depth
from tethercap.tui.quality import QualityLadder


def _show(ladder: QualityLadder, seconds: float, times: int) -> None:
    for _ in range(times):
        ladder.shown_after(seconds)


def test_one_slow_picture_changes_nothing() -> None:
    ladder = QualityLadder()
    _show(ladder, 0.5, 1)
    _show(ladder, 0.01, 1)
    _show(ladder, 0.5, ladder.slow_to_step - 1)
    assert ladder.rung == 0


@pytest.mark.parametrize(
    ("best", "expected"),
    [
        (Depth.BITS_24, [(24, 30), (15, 30), (8, 30), (8, 15), (8, 8)]),
        (Depth.BITS_15, [(15, 30), (8, 30), (8, 15), (8, 8)]),
        (Depth.PALETTE, [(8, 30), (8, 15), (8, 8)]),
        (Depth.NONE, [(0, 30), (0, 15), (0, 8)]),
    ],
)
def test_lag_steps_down_colours_first_then_rate(best: Depth, expected: list[tuple[int, int]]) -> None:
    ladder = QualityLadder(best)
    seen = [ladder.step[:2]]
    for _ in range(10):
        _show(ladder, 0.2, ladder.slow_to_step)
        if ladder.step[:2] != seen[-1]:
            seen.append(ladder.step[:2])
    assert seen == expected


def test_room_steps_up_again_but_ever_more_carefully() -> None:
    ladder = QualityLadder()
    first = ladder.quick_to_step
    _show(ladder, 0.2, ladder.slow_to_step)
    _show(ladder, 0.01, first)
    assert ladder.rung == 1, "a step up must take longer than before the lag"
    _show(ladder, 0.01, first)
    assert ladder.rung == 0


def test_pixels_are_given_up_before_the_rate_and_never_the_colours() -> None:
    ladder = QualityLadder(Depth.BITS_24, sizes=(1, 2))
    seen = [ladder.step]
    for _ in range(10):
        _show(ladder, 0.2, ladder.slow_to_step)
        if ladder.step != seen[-1]:
            seen.append(ladder.step)
    assert [(step.depth, step.frames_per_s, step.coarse) for step in seen] == [
        (24, 30, 1), (24, 30, 2), (24, 15, 2), (24, 8, 2),
    ]  # fmt: skip
