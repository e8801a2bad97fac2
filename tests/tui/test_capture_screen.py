"""The capture screen under Pilot: what keys ask of the runner, what events show, what rests under a dialog."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from textual.widgets import Input, Static

from tests.tui.bench import Bench, until
from tests.tui.scripted_runner import STANDING, held, seated, shot
from tethercap.errors import CameraGoneError
from tethercap.exposure.settings import Setting
from tethercap.image_files.jpeg import encode_jpeg
from tethercap.session import events
from tethercap.session.events import Mode
from tethercap.session.states import RunState
from tethercap.tui.messages import Ring
from tethercap.tui.screens.capture import CaptureScreen
from tethercap.tui.screens.help import HelpScreen
from tethercap.tui.widgets.ask_row import AskRow
from tethercap.tui.widgets.band import Band
from tethercap.tui.widgets.live_view import LiveView
from tethercap.tui.widgets.still_view import StillView

# --- keys ---


@pytest.mark.parametrize(
    ("keys", "asked"),
    [
        (["space"], [("fire",)]),
        (["x"], [("force",)]),
        (["h"], [("set_mode", Mode.HANDS_FREE)]),
        (["h", "h"], [("set_mode", Mode.HANDS_FREE), ("set_mode", Mode.BY_KEY)]),
        (["p"], [("set_mode", Mode.PAUSED)]),
        (["u"], [("pull_again",)]),
        (["c"], [("put_back",)]),
        (["g", "2", "2", "enter"], [("go_to", "22")]),
        (["g", "escape"], []),
        (["g", "z", "enter"], []),
        (["g", "3", "6", "a", "enter"], [("go_to", "36A")]),
        (["r", "7", "enter"], [("retake", "7")]),
        (["s", "enter"], [("skip", "not wanted")]),
        (["b", "y"], [("mark_blank",)]),
        (["b", "n"], []),
        (["b", "space", "escape"], []),
        (["l", "up", "enter"], [("start_strip", -1, False, None)]),
        (["l", "right", "up", "enter"], [("start_strip", 1, True, None)]),
        (["l", "up", "right", "down", "escape"], []),
    ],
)
async def test_keys_ask_the_runner(keys: list[str], asked: list[tuple[object, ...]]) -> None:
    bench = Bench(seated())
    async with bench.run() as pilot:
        for key in keys:
            await pilot.press(key)
            await pilot.pause(0.02)
        assert bench.asked == asked


async def test_exposure_is_turned_with_four_keys() -> None:
    bench = Bench(seated())
    async with bench.run((80, 24)) as pilot:
        await pilot.press("e", "up")
        row = bench.app.screen.query_one(AskRow)
        assert sum(row.query_one(part).virtual_size.width for part in ("#ask-question", "#ask-keys")) <= 80
        assert str(row.query_one("#ask-keys", Static).content) == " ← → which   ↑ ↓ change   enter: done "
        (change,) = bench.asked
        assert change[:2] == ("change", Setting.SHUTTER)
        assert getattr(change[2], "text", "") == "1/125"
        await pilot.press("right", "down", "enter")
        assert bench.asked[-1][1] is Setting.APERTURE
        assert not row.asking


async def test_a_pedal_is_a_key() -> None:
    bench = Bench(seated(), keys={"fire": "pagedown"})
    async with bench.run() as pilot:
        await pilot.press("space")
        await pilot.press("pagedown")
        assert bench.asked == [("fire",)]
        assert bench.text("#keys").startswith(" pg dn Fire")


async def test_what_is_typed_into_a_question_fires_nothing() -> None:
    bench = Bench(seated())
    async with bench.run() as pilot:
        await pilot.press("s", "x", "space", "q")
        assert bench.app.screen.query_one(Input).value == "x q"
        assert bench.asked == []


async def test_a_number_that_is_none_is_refused_where_it_was_typed() -> None:
    bench = Bench(seated())
    async with bench.run() as pilot:
        await pilot.press("g", "z", "enter")
        ask = bench.app.screen.query_one(AskRow)
        assert ask.asking
        assert "not a frame number" in ask.question


# --- what is shown ---


async def test_a_seated_frame_is_shown_and_rings_once() -> None:
    bench = Bench(seated())
    async with bench.run() as pilot:
        band = bench.app.screen.query_one(Band)
        assert band.hint is not None and band.hint.word == "READY"
        assert band.has_class("-tone-ready")
        assert [m.count for m in bench.messages if isinstance(m, Ring)] == [1]
        view = bench.app.screen.query_one(LiveView)
        await until(pilot, lambda: view.shown is not None)
        assert view.shown is not None and view.shown.sequence == 100


async def test_a_filed_frame_rings_twice_and_bells_can_be_turned_off() -> None:
    bench = Bench([*seated(), *shot()])
    async with bench.run():
        assert [m.count for m in bench.messages if isinstance(m, Ring)] == [1, 2]
    silent = Bench([])
    async with silent.run() as pilot:
        await pilot.press("m")
        assert silent.runner is not None
        for step in seated():
            silent.runner.on_event(step)  # type: ignore[arg-type]
        await pilot.pause(0.05)
        assert not [m for m in silent.messages if isinstance(m, Ring)]


async def test_the_found_frame_is_drawn_and_can_be_taken_away() -> None:
    bench = Bench(held())
    async with bench.run() as pilot:
        view = bench.app.screen.query_one(LiveView)

        def written() -> str:
            return "" if view.shown is None else "".join(map(chr, view.shown.grid.glyphs.reshape(-1).tolist()))

        await until(pilot, lambda: "◀ 1.2 mm" in written())
        await pilot.press("d")
        await until(pilot, lambda: "◀" not in written() and " 14 " in written())
        await pilot.press("d")
        await until(pilot, lambda: set(written()) == {"▀"})


async def test_trouble_stays_on_the_screen_with_what_to_do() -> None:
    error = CameraGoneError("The cable came out.", safe="All frames are on disk.", todo="Plug it in again.")
    bench = Bench([*seated(), events.CameraTroubled(error, False)])
    async with bench.run():
        assert "Plug it in again." in bench.text("#sentence")
        assert bench.app.screen.query_one(Band).has_class("-tone-trouble")


async def test_a_runner_that_breaks_leaves_the_screen_and_says_why() -> None:
    bench = Bench(seated(), fails_with=CameraGoneError("The cable came out."))
    async with bench.run() as pilot:
        await until(pilot, lambda: "The run ended: The cable came out." in bench.text("#sentence"))
        assert bench.app.screen.query_one(Band).has_class("-tone-trouble")
        await pilot.press("q")
    assert bench.app.return_value == 1


# --- resting and leaving ---


async def test_picture_and_figures_rest_under_help_and_come_back() -> None:
    bench = Bench(seated())
    async with bench.run() as pilot:
        screen = bench.app.screen
        assert isinstance(screen, CaptureScreen) and screen.feed is not None
        await until(pilot, lambda: screen.feed is not None and screen.feed.counts.delivered > 0)
        await pilot.press("question_mark")
        assert isinstance(bench.app.screen, HelpScreen)
        drawn = screen.feed.counts.delivered
        assert bench.runner is not None
        for step in held(sequence=300):
            bench.runner.on_event(step)  # type: ignore[arg-type]
        await pilot.pause(0.25)
        assert screen.feed.counts.delivered == drawn
        await pilot.press("escape")
        await until(pilot, lambda: screen.feed is not None and screen.feed.counts.delivered > drawn)
        await until(pilot, lambda: screen.view.state is RunState.HELD)
        await until(pilot, lambda: bench.app.screen.query_one(Band).has_class("-tone-hold"))


async def test_help_names_every_action_of_the_screen() -> None:
    bench = Bench(seated())
    async with bench.run() as pilot:
        await pilot.press("question_mark")
        await pilot.pause()
        text = bench.text("#help-rows")
        assert all(word in text for word in ("Fire", "Force", "Hands-free", "Corners", "Leave", "pedal"))


async def test_leaving_with_nothing_at_stake_asks_nothing() -> None:
    bench = Bench(seated())
    async with bench.run() as pilot:
        await pilot.press("q")
        await until(pilot, lambda: ("stop",) in bench.asked)
    assert bench.app.return_value == 0


async def test_leaving_while_positives_are_made_asks_first() -> None:
    bench = Bench(seated(), standing=replace(STANDING, conversions_waiting=3))
    async with bench.run() as pilot:
        await pilot.press("q")
        ask = bench.app.screen.query_one(AskRow)
        assert ask.asking and "3 positives" in ask.question
        assert ("stop",) not in bench.asked
        await pilot.press("n")
        assert ("stop",) not in bench.asked
        await pilot.press("q", "y")
        await until(pilot, lambda: ("stop",) in bench.asked)


# --- sizes and colours ---


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60), (60, 18), (100, 30), (300, 80)])
async def test_every_part_has_room_at_every_size(size: tuple[int, int]) -> None:
    bench = Bench([*held(), *shot()[:4]])
    async with bench.run(size):
        for widget in ("#top", "#view", "#band", "#sentence", "#ribbon", "#last", "#keys"):
            region = bench.app.screen.query_one(widget).region
            assert region.width > 0 and region.height > 0, widget
            assert region.bottom <= size[1] and region.right <= size[0], widget


async def test_the_screen_follows_a_resize_while_it_runs() -> None:
    bench = Bench(held())
    async with bench.run((80, 24)) as pilot:
        view = bench.app.screen.query_one(LiveView)
        await until(pilot, lambda: view.shown is not None)
        await pilot.resize_terminal(160, 50)
        await until(pilot, lambda: view.size.width > 80)
        await until(
            pilot, lambda: view.shown is not None and view.shown.grid.shape == (view.size.height, view.size.width)
        )


async def test_without_colour_the_picture_is_made_of_dots(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    bench = Bench(held())
    async with bench.run() as pilot:
        view = bench.app.screen.query_one(LiveView)
        await until(pilot, lambda: view.shown is not None)
        assert view.shown is not None
        assert all("\x1b" not in line for line in view.shown.lines)
        assert any("⠀" <= character <= "⣿" for character in view.shown.lines[5])
        bench.app.export_screenshot()  # the colour filter must not trip over lines without style


async def test_every_theme_can_be_chosen_with_a_key() -> None:
    bench = Bench(seated())
    async with bench.run() as pilot:
        seen = []
        for _ in range(6):
            seen.append(bench.app.theme)
            await pilot.press("t")
        assert len(set(seen)) == 6
        assert bench.app.theme == seen[0]


# --- pictures of shots ---


def picture_of(level: int) -> bytes:
    return encode_jpeg(np.full((40, 60, 3), level, np.uint8))


async def test_a_shot_is_shown_by_its_proof_and_then_its_positive_but_not_by_an_older_one(tmp_path: Path) -> None:
    positive = tmp_path / "positive.jpg"
    positive.write_bytes(picture_of(200))
    bench = Bench([*seated(), *shot("14")[:5], events.ProofMade("14", 1, picture_of(90))])
    async with bench.run() as pilot:
        still = bench.app.screen.query_one("#proof", StillView)

        def shows(level: int) -> bool:
            return still.pixels_bgr is not None and abs(int(still.pixels_bgr[0, 0, 0]) - level) < 3

        await until(pilot, lambda: shows(90))
        assert "proof of frame 14" in bench.text("#proof-title")
        assert bench.runner is not None
        bench.runner.on_event(events.PositiveMade("13", 1, Path("13.tif"), positive, 3.0))
        await pilot.pause(0.1)
        assert "proof of frame 14" in bench.text("#proof-title")
        bench.runner.on_event(events.PositiveMade("14", 1, Path("14.tif"), positive, 3.0))
        await until(pilot, lambda: shows(200))
        assert "positive of frame 14" in bench.text("#proof-title")
