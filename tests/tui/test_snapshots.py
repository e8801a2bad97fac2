"""Pictures of the screens. Each says what the eye must find; the README shows some of them."""

from collections.abc import Awaitable, Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from textual.pilot import Pilot
from textual.widgets import Input

from tests.tui.bench import Bench, picture_fits, until
from tests.tui.drawn_film import live_frame, sighting_at
from tests.tui.drawn_roll import make_roll
from tests.tui.scripted_runner import SETTINGS, STANDING, Step, held, seated, shot
from tests.tui.scripted_source import ScriptedSource
from tethercap.camera.base import CameraIdentity
from tethercap.errors import CameraGoneError, StorageError
from tethercap.roll.folder import Roll
from tethercap.session import events
from tethercap.session.snapshot import FrameMark
from tethercap.session.states import RunState
from tethercap.tui.app import TerminalApp
from tethercap.tui.screens.convert import ConvertScreen
from tethercap.tui.screens.roll import RollScreen
from tethercap.tui.screens.set_up import SetUpScreen
from tethercap.tui.screens.start import StartScreen
from tethercap.tui.start_view import FoundHere
from tethercap.tui.widgets.live_view import LiveView
from tethercap.watch.sighting import Decision, Reason, ReasonCode, Verdict

Compare = Callable[..., bool]
SIZES = [(80, 24), (120, 40), (200, 60)]


def _settled(bench: Bench, *keys: str) -> Callable[[Pilot[int]], Awaitable[None]]:
    async def settle(pilot: Pilot[int]) -> None:
        await until(pilot, lambda: bench.runner is not None and bench.runner.played.is_set())
        await pilot.pause()
        await pilot.press(*keys)
        view = bench.app.screen_stack[1].query_one(LiveView)
        await until(pilot, lambda: picture_fits(view))
        await _at_rest(pilot)

    return settle


async def _at_rest(pilot: Pilot[int]) -> None:
    """Wait until the screen stands still: figures follow the picture ten times a second, later on a busy machine."""
    for asked in pilot.app.screen.query(Input):
        asked.cursor_blink = False
    alike, before = 0, ""
    for _ in range(60):
        await pilot.pause(0.15)
        await pilot.app.workers.wait_for_complete()
        now = pilot.app.export_screenshot()
        alike, before = (alike + 1, now) if now == before else (0, now)
        if alike == 3:
            return


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


def test_blank(snap_compare: Compare) -> None:
    """You should see BLANK with an empty frame before it, and under it which key notes the frame and which takes it."""
    unexposed = Reason(ReasonCode.BLANK_FRAME, "this frame looks unexposed")
    sighting = replace(sighting_at(2, 0.0), verdict=Verdict(Decision.HOLD, (unexposed,)), ready=False, blank=True)
    steps: list[Step] = [
        events.SettingsRead(dict(SETTINGS)),
        events.NextFrameSet("14"),
        events.StateChanged(RunState.SETTLING, RunState.HELD, 0.0),
        events.Watched(live_frame(2, 0.0), sighting),
    ]
    assert _compare(snap_compare, steps, (80, 24))


def test_roll_done(snap_compare: Compare) -> None:
    """You should see ROLL DONE with a tick, all 36 frames green in the ribbon, and that q leaves."""
    whole = replace(STANDING, frames={str(n): FrameMark.TAKEN for n in range(1, 37)}, next_frame_id="37")
    steps = [*seated(), whole, *shot("36"), events.NextFrameSet("37")]
    assert _compare(snap_compare, steps, (120, 40))


def test_not_saved(snap_compare: Compare) -> None:
    """You should see NOT SAVED on red, and under it three lines: what happened, what is safe, what to press."""
    full = StorageError(
        "The disk is full.", safe="Frame 14 is still on the camera.", todo="Make room, then press u to pull it again."
    )
    assert _compare(snap_compare, [*seated(), *shot()[:4], events.StorageTroubled("14", full)], (80, 24))


def test_no_camera(snap_compare: Compare) -> None:
    """You should see NO CAMERA on red, that the camera does not answer in the panel, and what to look at."""
    gone = CameraGoneError(
        "The camera does not answer.", safe="Every picture filed is on the disk.", todo="Look at cable and battery."
    )
    assert _compare(snap_compare, [*seated(), events.CameraTroubled(gone, recovering=True)], (120, 40))


def test_how_a_strip_lies(snap_compare: Compare) -> None:
    """You should see in an amber row that numbers fall, between brackets, and which keys turn what."""
    assert _compare(snap_compare, seated(), (120, 40), "l", "up")


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


# --- the other screens ---

SMALL_AND_MIDDLE = SIZES[:2]


@pytest.fixture
def roll(tmp_path: Path) -> Iterator[Roll]:
    with make_roll(tmp_path / "invented-07") as made:
        yield made


def _worked(*keys: str) -> Callable[[Pilot[int]], Awaitable[None]]:
    async def settle(pilot: Pilot[int]) -> None:
        await until(pilot, lambda: len(pilot.app.screen_stack) > 1)
        await pilot.pause()
        await pilot.app.workers.wait_for_complete()
        for key in keys:
            await pilot.press(key)
            await pilot.app.workers.wait_for_complete()
        await _at_rest(pilot)

    return settle


@pytest.mark.parametrize("size", SMALL_AND_MIDDLE, ids=lambda size: f"{size[0]}x{size[1]}")
def test_roll(snap_compare: Compare, roll: Roll, size: tuple[int, int]) -> None:
    """You should see strips of film with small pictures: three positives, then negatives, an amber frame at the second.

    Frame 5 is marked with a red exclamation mark, 4 with a triangle, 7 with a ring; the facts speak of two takes.
    """
    assert snap_compare(TerminalApp(lambda: RollScreen(roll)), terminal_size=size, run_before=_worked("right"))


def test_frame(snap_compare: Compare, roll: Roll) -> None:
    """You should see frame 1 zoomed to twice its size, its facts at the right, and three histograms under them."""
    app = TerminalApp(lambda: RollScreen(roll))
    assert snap_compare(app, terminal_size=(120, 40), run_before=_worked("enter", "plus"))


def test_recipe(snap_compare: Compare, roll: Roll) -> None:
    """You should see a positive at the left and the recipe at the right, its first row turned to +0.30 stops."""
    app = TerminalApp(lambda: ConvertScreen(roll))
    keys = ("right", "right", "right")
    assert snap_compare(app, terminal_size=(120, 40), run_before=_worked(*keys))


@pytest.mark.parametrize("size", SMALL_AND_MIDDLE, ids=lambda size: f"{size[0]}x{size[1]}")
def test_start(snap_compare: Compare, roll: Roll, size: tuple[int, int]) -> None:
    """You should see the camera with a green disc, the roll with its bar, to go on at 9, one to take again."""
    services = FoundHere(roll.path.parent, lambda: [CameraIdentity("usb:001,004", "Invented", "Body One", "000123")])
    app = TerminalApp(lambda: StartScreen(services, Path("rolls")))
    assert snap_compare(app, terminal_size=size, run_before=_worked())


def test_new_roll(snap_compare: Compare) -> None:
    """You should see the form of a new roll, the mark on the film kind, which reads black-and-white negative."""
    services = FoundHere(Path("nowhere"), list)
    app = TerminalApp(lambda: StartScreen(services, Path("rolls")))
    keys = ("end", "up", "enter", "down", "down", "right")
    assert snap_compare(app, terminal_size=(80, 24), run_before=_worked(*keys))


@pytest.mark.parametrize("step", ["1", "2", "3"])
def test_set_up(snap_compare: Compare, step: str) -> None:
    """You should see the live picture and three steps, one opened: framing, focus, or exposure."""
    watched = events.Watched(live_frame(1, 0.6, 2, tilt_deg=0.5), sighting_at(1, 0.6, tilt_deg=0.5))
    source = ScriptedSource([events.SettingsRead(dict(SETTINGS)), watched])
    app = TerminalApp(lambda: SetUpScreen(source, title="Invented Body One, 135"))
    assert snap_compare(app, terminal_size=(120, 40), run_before=_worked(step))
