"""The start screen: what is found, what is chosen, what is refused."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from textual.pilot import Pilot

from tests.tui.bench import until
from tests.tui.drawn_roll import make_roll
from tethercap.camera.base import CameraIdentity
from tethercap.errors import CameraPermissionError, RollNameError
from tethercap.film.kinds import FilmKind
from tethercap.tui.app import TerminalApp
from tethercap.tui.lines import text_of
from tethercap.tui.screens.start import StartScreen
from tethercap.tui.start_view import Choice, FoundHere, NewRoll, find_rolls, when_text
from tethercap.tui.widgets.ask_row import AskRow
from tethercap.tui.widgets.pick_list import PickList

BODY = CameraIdentity("usb:001,004", "Invented", "Body One", "000123")


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    with make_roll(tmp_path / "invented-07", frames=3):
        pass
    (tmp_path / "broken").mkdir()
    (tmp_path / "broken" / "roll.toml").write_text("this is no roll")
    yield tmp_path


class Start:
    """A start screen over some cameras and a folder."""

    def __init__(self, folder: Path, cameras: list[CameraIdentity] | Exception) -> None:
        self.looks = 0

        def find() -> list[CameraIdentity]:
            self.looks += 1
            if isinstance(cameras, Exception):
                raise cameras
            return cameras

        self.app = TerminalApp(lambda: StartScreen(FoundHere(folder, find), folder))

    def text(self) -> str:
        return "\n".join(text_of(line) for line in self.app.screen.query_one(PickList).lines)

    async def found(self, pilot: Pilot[int]) -> None:
        await until(pilot, lambda: isinstance(self.app.screen, StartScreen) and self.app.screen.found is not None)
        await pilot.pause()


def test_rolls_are_found_with_how_far_they_are_and_broken_ones_are_left_out(folder: Path) -> None:
    (roll,) = find_rolls(folder)
    assert (roll.roll_id, roll.done, roll.expected, roll.held, roll.next_frame) == ("invented-07", 3, 12, 0, "4")
    assert not roll.is_whole


@pytest.mark.parametrize(
    ("ago_s", "text"), [(5, "just now"), (600, "10 min ago"), (7200, "2 h ago"), (1e6, "1970-01-12")]
)
def test_times_are_said_as_one_speaks(ago_s: float, text: str) -> None:
    assert when_text(1_000_000.0, 1_000_000.0 + ago_s) == text or ago_s == 1e6


def test_the_form_makes_a_setup_and_refuses_what_cannot_be() -> None:
    form = (
        NewRoll().typed("roll_id", "2031-017").stepped("kind", 1).typed("first_frame", "00").stepped("numbers_run", 1)
    )
    setup = form.typed("frames_expected", "24").setup()
    assert (setup.id, setup.film_kind, str(setup.first_frame)) == ("2031-017", FilmKind.BW_NEGATIVE, "00")
    assert (setup.numbers_run, setup.frames_expected) == (-1, 24)
    for key, text in (
        ("roll_id", "../x"),
        ("first_frame", "zz"),
        ("frames_expected", "many"),
        ("frames_expected", "0"),
    ):
        with pytest.raises(RollNameError):
            form.typed(key, text)
    with pytest.raises(RollNameError):
        NewRoll().setup()


async def test_the_last_roll_has_the_mark_and_enter_goes_on_with_it(folder: Path) -> None:
    start = Start(folder, [BODY])
    async with start.app.run_test(size=(100, 30)) as pilot:
        await start.found(pilot)
        assert "Invented Body One" in start.text() and "go on at 4" in start.text()
        await pilot.press("enter")
        await pilot.pause()
    assert start.app.choice == Choice("capture", folder / "invented-07", port="usb:001,004")


async def test_o_looks_at_the_roll_instead(folder: Path) -> None:
    start = Start(folder, [])
    async with start.app.run_test(size=(100, 30)) as pilot:
        await start.found(pilot)
        await pilot.press("o")
        await pilot.pause()
    assert start.app.choice == Choice("look", folder / "invented-07")


async def test_what_stands_in_the_way_of_a_camera_is_said_and_looked_for_again(folder: Path) -> None:
    start = Start(folder, CameraPermissionError("The system keeps the camera.", todo="Install the rule."))
    async with start.app.run_test(size=(100, 30)) as pilot:
        await start.found(pilot)
        assert "Install the rule." in start.text()
        looks = start.looks
        await pilot.press("r")
        await until(pilot, lambda: start.looks > looks)
        await start.found(pilot)


async def test_of_two_cameras_one_is_chosen(folder: Path) -> None:
    start = Start(folder, [BODY, CameraIdentity("usb:001,009", "Invented", "Body Two")])
    async with start.app.run_test(size=(100, 30)) as pilot:
        await start.found(pilot)
        await pilot.press("up", "enter", "down", "enter")
        await pilot.pause()
    assert start.app.choice is not None and start.app.choice.port == "usb:001,009"


async def test_a_new_roll_is_filled_in_and_begun(folder: Path) -> None:
    start = Start(folder, [BODY])
    async with start.app.run_test(size=(100, 30)) as pilot:
        await start.found(pilot)
        await pilot.press("down", "enter")
        await pilot.press("enter", *"a/b", "enter")
        ask = start.app.screen.query_one(AskRow)
        assert ask.asking and "may hold only letters" in ask.question
        await pilot.press("home", "delete", "delete", "delete", *"b12", "enter")
        await until(pilot, lambda: not ask.asking)
        await pilot.pause()
        await pilot.press("down", "down", "right")
        for _ in range(6):
            await pilot.press("down")
        await pilot.press("enter")
        await pilot.pause()
    choice = start.app.choice
    assert choice is not None and choice.setup is not None
    assert (choice.path, choice.setup.id, choice.setup.film_kind) == (folder / "b12", "b12", FilmKind.BW_NEGATIVE)


async def test_a_roll_without_a_name_is_not_begun(folder: Path) -> None:
    start = Start(folder, [BODY])
    async with start.app.run_test(size=(100, 30)) as pilot:
        await start.found(pilot)
        await pilot.press("down", "enter", "end", "up", "enter")
        await pilot.pause()
        assert start.app.choice is None
        assert start.app.screen.query_one(PickList).key == "form roll_id"


async def test_leaving_the_form_comes_back_and_leaving_again_ends(folder: Path) -> None:
    start = Start(folder, [BODY])
    async with start.app.run_test(size=(100, 30)) as pilot:
        await start.found(pilot)
        await pilot.press("down", "enter", "q")
        assert "a new roll …" in start.text()
        await pilot.press("q")
        await pilot.pause()
    assert start.app.choice is None
