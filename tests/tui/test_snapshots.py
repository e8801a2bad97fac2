"""Pictures of the screens. Each says what the eye must find; the README shows some of them."""

from collections.abc import Awaitable, Callable

import pytest
from textual.pilot import Pilot

from tests.tui.bench import Bench, picture_fits, until
from tests.tui.scripted_runner import STANDING, Step, held, seated, shot
from tethercap.session import events
from tethercap.session.states import RunState
from tethercap.tui.widgets.live_view import LiveView

Compare = Callable[..., bool]
SIZES = [(80, 24), (120, 40), (200, 60)]


def _settled(bench: Bench, *keys: str) -> Callable[[Pilot[int]], Awaitable[None]]:
    async def settle(pilot: Pilot[int]) -> None:
        await until(pilot, lambda: bench.runner is not None and bench.runner.played.is_set())
        await pilot.pause()
        await pilot.press(*keys)
        view = bench.app.screen_stack[1].query_one(LiveView)
        await until(pilot, lambda: picture_fits(view))
        await pilot.pause(0.25)  # figures follow the picture ten times a second

    return settle


def _compare(snap_compare: Compare, steps: list[Step], size: tuple[int, int], *keys: str, theme: str = "dark") -> bool:
    bench = Bench(steps)
    bench.app.theme = theme
    return snap_compare(bench.app, terminal_size=size, run_before=_settled(bench, *keys))


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
def test_held(snap_compare: Compare, size: tuple[int, int]) -> None:
    """You should see the frame in amber, white corners where it should lie, an arrow left with 1.2 mm, and HOLD.

    The band is amber over the whole width; the ribbon has a diamond at 14, an exclamation mark at 11, a triangle at 4.
    """
    assert _compare(snap_compare, held(), size)


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
def test_ready(snap_compare: Compare, size: tuple[int, int]) -> None:
    """You should see READY on green with a disc before it, all bubbles between their marks, and no arrow."""
    assert _compare(snap_compare, seated(), size)


def test_pulling(snap_compare: Compare) -> None:
    """You should see PULLING on blue, and a quarter-filled bar with 12 of 48 MB in the row of the last shot."""
    assert _compare(snap_compare, [*seated(), *shot()[:4]], (120, 40))


def test_filed(snap_compare: Compare) -> None:
    """You should see FILED with a tick, green on dark, and in the last rows a tick, the size, the file's name."""
    standing: list[Step] = [events.NextFrameSet("15"), events.StateChanged(RunState.CHECKING, RunState.FILED, 3.0)]
    assert _compare(snap_compare, [*seated(), *shot(), *standing], (120, 40))


def test_question_in_a_row(snap_compare: Compare) -> None:
    """You should see the question for a frame number in one amber row, the picture still in sight."""
    assert _compare(snap_compare, seated(), (80, 24), "g")


def test_corners(snap_compare: Compare) -> None:
    """You should see four corners of the frame one to one, each in its corner, and the middle in a box."""
    assert _compare(snap_compare, seated(), (120, 40), "z")


def test_help(snap_compare: Compare) -> None:
    """You should see every key with its name in amber and bold, and under it in grey what it is for."""
    assert _compare(snap_compare, seated(), (120, 40), "question_mark")


@pytest.mark.parametrize("theme", ["light", "high contrast", "colour-blind safe", "safelight", "no colour"])
def test_colours(snap_compare: Compare, theme: str) -> None:
    """You should see the held frame in this theme, every text readable, the band unlike its surroundings."""
    assert _compare(snap_compare, held(), (120, 40), theme=theme)


def test_without_colour(snap_compare: Compare, monkeypatch: pytest.MonkeyPatch) -> None:
    """You should see the picture in Braille dots, the frame and arrow in dots too, everything in greys."""
    monkeypatch.setenv("NO_COLOR", "1")
    bench = Bench(held(), standing=STANDING)
    assert snap_compare(bench.app, terminal_size=(120, 40), run_before=_settled(bench))
