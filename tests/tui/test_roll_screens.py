"""The roll, a frame large, and the recipe, on a real roll with real RAW files."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import msgspec
import numpy as np
import pytest
from textual.app import App
from textual.geometry import Region
from textual.pilot import Pilot
from textual.screen import Screen

from tests.tui.bench import until
from tests.tui.drawn_film import live_pixels
from tests.tui.drawn_roll import dng_of, make_roll
from tethercap.batch.recipes import read_recipes
from tethercap.errors import StorageError
from tethercap.image_files.raw import read_raw
from tethercap.roll.folder import Roll
from tethercap.roll.names import FrameId
from tethercap.roll.state import FrameStatus
from tethercap.tui.app import TerminalApp
from tethercap.tui.lines import text_of
from tethercap.tui.pictures_of import negative_of, study_raw
from tethercap.tui.roll_cards import Sieve, cards_of, fact_lines, retake_list, sifted
from tethercap.tui.screens.convert import ConvertScreen
from tethercap.tui.screens.frame import FrameScreen
from tethercap.tui.screens.roll import RollScreen
from tethercap.tui.widgets.ask_row import AskRow
from tethercap.tui.widgets.film_grid import FilmGrid, lay_out_grid
from tethercap.tui.widgets.pick_list import PickList
from tethercap.tui.widgets.rows import Rows
from tethercap.tui.widgets.still_view import StillView, Window


@pytest.fixture
def roll(tmp_path: Path) -> Iterator[Roll]:
    with make_roll(tmp_path / "invented-07") as made:
        yield made


def _app(make: Callable[[], Screen[None]]) -> TerminalApp:
    return TerminalApp(make)


def _text(app: App[int], widget: str) -> str:
    return "\n".join(text_of(line) for line in app.screen.query_one(widget, Rows).lines)


def _notices(app: App[int]) -> list[str]:
    return [each.message for each in app._notifications]


async def _ready(pilot: Pilot[int], screen: type[Screen[None]]) -> None:
    await until(pilot, lambda: isinstance(pilot.app.screen, screen))
    await pilot.app.workers.wait_for_complete()
    await pilot.pause()


# --- values ---


def test_cards_hold_every_frame_of_the_film(roll: Roll) -> None:
    cards = cards_of(roll)
    assert [card.key for card in cards] == [str(number) for number in range(1, 13)]
    assert [card.frame.status for card in cards[3:8]] == [
        FrameStatus.FORCED,
        FrameStatus.HELD,
        FrameStatus.TAKEN,
        FrameStatus.BLANK,
        FrameStatus.TAKEN,
    ]
    assert cards[1].caption == "2 ■ 2 takes"


@pytest.mark.parametrize(
    ("sieve", "frames"),
    [
        (Sieve.AGAIN, ["5", "9", "10", "11", "12"]),
        (Sieve.DOUBTFUL, ["5"]),
        (Sieve.UNCONVERTED, ["4", "5", "6", "8"]),
    ],
)
def test_sieves_let_through_what_they_say(roll: Roll, sieve: Sieve, frames: list[str]) -> None:
    assert [card.key for card in sifted(cards_of(roll), sieve)] == frames


def test_the_list_of_those_to_take_again_is_one_line(roll: Roll) -> None:
    assert retake_list(cards_of(roll)) == "5, 9, 10, 11, 12"


def test_facts_name_finding_file_and_takes(roll: Roll) -> None:
    cards = cards_of(roll)
    held = "\n".join(text_of(line) for line in fact_lines(cards[4], 40))
    assert "take again" in held and "The picture is blurred." in held and "invented-07_05.dng" in held
    assert "[2]" in "\n".join(text_of(line) for line in fact_lines(cards[1], 40))
    assert "no picture yet" in "\n".join(text_of(line) for line in fact_lines(cards[11], 40))


def test_where_a_frame_lay_is_whole_with_its_units_in_the_narrowest_column(roll: Roll) -> None:
    card = cards_of(roll)[0]
    (take,) = card.frame.takes
    lay = replace(take, filed=msgspec.structs.replace(take.filed, offset_mm=(-0.05, 0.01)))
    facts = [text_of(line) for line in fact_lines(replace(card, frame=replace(card.frame, takes=(lay,))), 33)]
    assert [line.split() for line in facts if " mm" in line] == [["along", "-0.05", "mm"], ["across", "+0.01", "mm"]]
    assert max(map(len, facts)) <= 33, "as wide as the column is on 80 columns"


def test_negative_looks_like_the_film(tmp_path: Path) -> None:
    """Light put into the mosaic comes back within the look's own scaling: channels in the same order of brightness."""
    path = tmp_path / "a.dng"
    film = live_pixels(0.0)
    path.write_bytes(dng_of(film))
    shown = negative_of(read_raw(path)).astype(float)
    assert shown.shape == (film.shape[0] // 2, film.shape[1] // 2, 3)
    original = film.reshape(film.shape[0] // 2, 2, film.shape[1] // 2, 2, 3).mean(axis=(1, 3))
    for channel in range(3):
        assert np.corrcoef(shown[..., channel].ravel(), original[..., channel].ravel())[0, 1] > 0.98


def test_study_counts_levels_in_stops_and_finds_what_is_clipped(tmp_path: Path) -> None:
    path = tmp_path / "a.dng"
    flat = np.full((240, 320, 3), 120, dtype=np.uint8)
    flat[:, :80] = 255
    path.write_bytes(dng_of(flat))
    raw = read_raw(path)
    study = study_raw(raw)
    assert study.histogram.sum(axis=1) == pytest.approx([1, 1, 1], abs=0.01)
    level = 15000 * (120 / 255) ** (1 / 0.6) / (raw.white - 512)
    bin_expected = int((np.log2(level) + 12) / 12 * 96)
    darker = study.histogram[1, :90]
    assert abs(int(darker.argmax()) - bin_expected) <= 1
    assert darker.max() == pytest.approx(0.75, abs=0.02)


def test_sharpness_is_highest_where_detail_is(tmp_path: Path) -> None:
    path = tmp_path / "a.dng"
    picture = np.full((480, 720, 3), 120, dtype=np.uint8)
    picture[240:, 360:] = np.random.default_rng(5).integers(60, 180, (240, 360, 1))
    path.write_bytes(dng_of(picture))
    sharp = study_raw(read_raw(path), tiles=(2, 2)).sharpness
    assert sharp[1, 1] == 1
    assert sharp[:, 0].max() < 0.1


@pytest.mark.parametrize(("columns", "across"), [(200, 6), (90, 6), (82, 4), (46, 3), (31, 2), (20, 1), (4, 1)])
def test_strips_hold_as_many_frames_as_can_be_seen(columns: int, across: int) -> None:
    layout = lay_out_grid(columns)
    assert layout.across == across
    assert layout.across * layout.tile_columns <= max(columns, 4)


def test_the_window_stays_inside_the_picture() -> None:
    window = Window().zoomed(1).zoomed(1)
    assert window.zoom == 4
    for _ in range(20):
        window = window.moved(1, 1)
    assert (window.x_share, window.y_share) == (0.875, 0.875)
    assert window.zoomed(-1).zoomed(-1) == Window()


# --- screens ---


async def test_roll_screen_shows_frames_and_marks_move(roll: Roll) -> None:
    app = _app(lambda: RollScreen(roll))
    async with app.run_test(size=(120, 40)) as pilot:
        await _ready(pilot, RollScreen)
        grid = app.screen.query_one(FilmGrid)
        assert set(grid.pictures) == {"1", "2", "3", "4", "5", "6", "8"}
        assert "invented-07_01.dng" in _text(app, "#facts")
        await pilot.press("right", "down")
        assert grid.key == "6"
        assert "invented-07_06.dng" in _text(app, "#facts")
        await pilot.press("end")
        assert grid.key == "12"


@pytest.mark.parametrize(
    ("keys", "frame", "status"),
    [
        (["b", "y"], "1", FrameStatus.TAKEN),
        (["end", "b", "y"], "12", FrameStatus.BLANK),
        (["end", "b", "n"], "12", FrameStatus.OPEN),
        (["end", "s", "enter"], "12", FrameStatus.SKIPPED),
        (["end", "s", "enter", "o"], "12", FrameStatus.OPEN),
    ],
)
async def test_marks_go_through_the_roll(roll: Roll, keys: list[str], frame: str, status: FrameStatus) -> None:
    app = _app(lambda: RollScreen(roll))
    async with app.run_test(size=(120, 40)) as pilot:
        await _ready(pilot, RollScreen)
        for key in keys:
            if key == "o":
                app.screen.query_one(FilmGrid).focus()
            await pilot.press(key)
            await pilot.pause(0.02)
    known = roll.frames.get(FrameId.parse(frame))
    assert (known.status if known is not None else FrameStatus.OPEN) is status


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        (["c"], "no other take"),
        (["o"], "neither blank nor left out"),
        (["end", "enter"], "no picture yet"),
    ],
)
async def test_a_key_that_can_do_nothing_says_why_and_writes_nothing(roll: Roll, keys: list[str], said: str) -> None:
    before = (roll.path / "record.jsonl").read_bytes()
    app = _app(lambda: RollScreen(roll))
    async with app.run_test(size=(120, 40)) as pilot:
        await _ready(pilot, RollScreen)
        await pilot.press(*keys)
        await pilot.pause()
        asked = app.screen.query_one(AskRow).question
        assert said in " ".join([asked, *_notices(app)])
    assert (roll.path / "record.jsonl").read_bytes() == before


async def test_a_sieve_that_lets_nothing_through_says_so(tmp_path: Path) -> None:
    with make_roll(tmp_path / "invented-08", frames=1) as roll:
        app = _app(lambda: RollScreen(roll))
        async with app.run_test(size=(80, 24)) as pilot:
            await _ready(pilot, RollScreen)
            await pilot.press("f", "f")
            await pilot.pause()
            assert "No frame: with findings. f shows others." in " ".join(_text(app, "#facts").split())
            await pilot.press("b")
            assert "No frame is marked." in _notices(app)


async def test_another_take_can_stand_for_a_frame(roll: Roll) -> None:
    app = _app(lambda: RollScreen(roll))
    async with app.run_test(size=(120, 40)) as pilot:
        await _ready(pilot, RollScreen)
        await pilot.press("right", "c")
        await pilot.pause()
        assert "[1]" in _text(app, "#facts")
    chosen = roll.frames[FrameId(2)].chosen
    assert chosen is not None and chosen.number == 1


async def test_a_frame_gets_another_number_and_a_taken_number_is_refused(roll: Roll) -> None:
    app = _app(lambda: RollScreen(roll))
    async with app.run_test(size=(120, 40)) as pilot:
        await _ready(pilot, RollScreen)
        await pilot.press("n", "2", "enter")
        ask = app.screen.query_one(AskRow)
        assert ask.asking and "twice" in ask.question
        await pilot.press("backspace", "0", "0", "enter")
        await pilot.pause()
        await until(pilot, lambda: not ask.asking)
    assert FrameId.parse("00") in roll.frames and FrameId(1) not in roll.frames
    assert (roll.path / "raw" / "invented-07_00.dng").exists()


async def test_a_note_reaches_the_rolls_own_file(roll: Roll) -> None:
    app = _app(lambda: RollScreen(roll))
    async with app.run_test(size=(120, 40)) as pilot:
        await _ready(pilot, RollScreen)
        await pilot.press("i", *"dust", "enter")
        await pilot.pause()
        assert "dust" in (roll.path / "roll.toml").read_text()
        await pilot.press("i", "end", *" left", "enter")
        await pilot.pause()
    assert "dust left" in (roll.path / "roll.toml").read_text(), "a note is gone on with"


async def test_a_frame_opens_large_with_histogram_zoom_and_neighbours(roll: Roll) -> None:
    app = _app(lambda: RollScreen(roll))
    async with app.run_test(size=(120, 40)) as pilot:
        await _ready(pilot, RollScreen)
        await pilot.press("enter")
        await _ready(pilot, FrameScreen)
        screen = app.screen
        assert isinstance(screen, FrameScreen)
        await until(pilot, lambda: screen.opened is not None and screen.opened.study is not None)
        await pilot.pause()
        levels = _text(app, "#levels")
        assert "stops below saturation" in levels and any(block in levels for block in "▂▃▄▅▆▇█")
        still = screen.query_one(StillView)
        before = still.scale
        await pilot.press("plus")
        assert still.scale == pytest.approx(2 * before)
        await pilot.press("n")
        await until(pilot, lambda: screen.opened is not None and screen.opened.key == "2")
        assert still.window.zoom == 2
        await pilot.press("k", "v", "escape")
        await _ready(pilot, RollScreen)


async def test_a_frame_without_positive_is_said_to_be_shown_as_negative(roll: Roll) -> None:
    app = _app(lambda: FrameScreen([card for card in cards_of(roll) if card.key in ("3", "4")], "4"))
    async with app.run_test(size=(120, 40)) as pilot:
        await until(pilot, lambda: isinstance(app.screen, FrameScreen) and app.screen.opened is not None)
        await _ready(pilot, FrameScreen)
        assert "negative" in _text(app, "#top") and "positive" not in _text(app, "#top")
        await pilot.press("v", "n")
        await pilot.pause()
        assert _notices(app) == ["Frame 4 has no positive yet: this is its RAW.", "This is the last frame."]


async def test_a_damaged_raw_is_said_and_harms_nothing(roll: Roll) -> None:
    raw = roll.path / "raw" / "invented-07_04.dng"
    raw.write_bytes(raw.read_bytes()[:5000])
    app = _app(lambda: RollScreen(roll))
    async with app.run_test(size=(120, 40)) as pilot:
        await _ready(pilot, RollScreen)
        await pilot.press("right", "right", "right", "enter")
        screen = app.screen
        assert isinstance(screen, FrameScreen)
        await until(pilot, lambda: screen.opened is not None and bool(screen.opened.error))
        await pilot.pause()
        assert "!" in _text(app, "#levels")


async def test_a_recipe_on_a_damaged_raw_says_so_and_what_is_asked_can_be_answered(roll: Roll) -> None:
    raw = roll.path / "raw" / "invented-07_01.dng"
    raw.write_bytes(raw.read_bytes()[:5000])
    app = _app(lambda: ConvertScreen(roll))
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: isinstance(pilot.app.screen, ConvertScreen) and "damaged" in _text(app, "#said"))
        assert "opening" not in _text(app, "#top")
        await pilot.press("a")
        await pilot.pause()
        keys = app.screen.query_one("#ask-keys")
        assert keys.region.width >= len("y: yes   n or esc: no")
        assert keys.region.right <= 80


async def _converting(pilot: Pilot[int]) -> ConvertScreen:
    await until(pilot, lambda: isinstance(pilot.app.screen, ConvertScreen))
    screen = pilot.app.screen
    assert isinstance(screen, ConvertScreen)
    still = screen.query_one(StillView)
    await until(pilot, lambda: still.pixels_bgr is not None)
    return screen


async def test_recipe_is_turned_with_the_picture_following_undone_and_kept(roll: Roll) -> None:
    app = _app(lambda: ConvertScreen(roll))
    async with app.run_test(size=(120, 40)) as pilot:
        screen = await _converting(pilot)
        still = screen.query_one(StillView)
        assert still.pixels_bgr is not None
        before = float(still.pixels_bgr.mean())
        for _ in range(10):
            await pilot.press("right")
        assert screen.recipe.exposure_stops == pytest.approx(1.0)
        await until(pilot, lambda: still.pixels_bgr is not None and float(still.pixels_bgr.mean()) > before + 5)
        await pilot.press("u", "u", "f", "down", "right")
        assert screen.recipe.exposure_stops == pytest.approx(0.8)
        await pilot.press("n")
        assert screen.recipe.contrast == 1.0, "contrast was turned for frame 1 only"
    kept = read_recipes(roll.path)
    assert kept.for_frame("2").exposure_stops == pytest.approx(0.8)
    assert kept.for_frame("1").contrast == pytest.approx(1.05)
    assert kept.for_frame("2").contrast == 1.0


async def test_undo_goes_to_the_frame_that_it_changes_and_says_where_there_is_nothing(roll: Roll) -> None:
    app = _app(lambda: ConvertScreen(roll))
    async with app.run_test(size=(120, 40)) as pilot:
        screen = await _converting(pilot)
        await pilot.press("b", "u")
        assert _notices(app) == ["This is the first frame.", "Nothing was turned since this screen was opened."]
        await pilot.press("f", "right", "n")
        assert screen.card is not None and screen.card.key == "2"
        await pilot.press("u")
        await pilot.pause()
        assert screen.card.key == "1"
        assert screen.recipe.exposure_stops == 0
        assert "frame 1" in _text(app, "#top")


async def test_a_turn_right_before_leaving_is_kept(roll: Roll) -> None:
    app = _app(lambda: ConvertScreen(roll))
    async with app.run_test(size=(120, 40)) as pilot:
        screen = await _converting(pilot)
        screen.query_one(PickList).action_step(1)
        screen.leave()
    assert read_recipes(roll.path).for_roll().exposure_stops == pytest.approx(0.1)


async def test_a_recipe_that_cannot_be_kept_is_said_and_asked_about(
    roll: Roll, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise StorageError("The disk is full.", safe="The recipe is as it was before.")

    monkeypatch.setattr("tethercap.tui.recipe_desk.store_roll_recipe", refuse)
    app = _app(lambda: ConvertScreen(roll))
    async with app.run_test(size=(120, 40)) as pilot:
        screen = await _converting(pilot)
        await pilot.press("right", "q")
        await pilot.pause()
        assert "disk is full" in _text(app, "#said")
        assert "could not be kept" in screen.query_one(AskRow).question
        await pilot.press("n")
        assert app.screen is screen


async def _convert_all(pilot: Pilot[int], screen: ConvertScreen) -> None:
    await pilot.press("a", "y")
    await until(pilot, lambda: screen.queue.state.total > 0 and not screen.queue.state.is_running)
    await pilot.pause()


async def test_whole_roll_is_converted_with_progress_and_noted(roll: Roll) -> None:
    app = _app(lambda: ConvertScreen(roll))
    async with app.run_test(size=(120, 40)) as pilot:
        screen = await _converting(pilot)
        await _convert_all(pilot, screen)
        assert "6 positives made" in _text(app, "#said")
        await pilot.press("right")
        await pilot.pause()
        assert "positives made" not in _text(app, "#said"), "they are not as the recipe says any more"
    converted = [frame.frame_id.number for frame in roll.frames.values() if frame.chosen and frame.chosen.converted]
    assert converted == [1, 2, 3, 4, 6, 8], "frame 5 is held and 7 is blank: no take stands for them"


async def test_a_positive_that_a_person_changed_is_kept_and_said(roll: Roll) -> None:
    roll.positive_path("1", 1).write_bytes(b"retouched")
    app = _app(lambda: ConvertScreen(roll))
    async with app.run_test(size=(120, 40)) as pilot:
        screen = await _converting(pilot)
        await _convert_all(pilot, screen)
        assert "1 that you had changed kept in edited/" in _text(app, "#said")
    assert (roll.path / "edited" / "invented-07_01.tif").read_bytes() == b"retouched"


async def test_film_follows_the_colours(roll: Roll) -> None:
    app = _app(lambda: RollScreen(roll))
    async with app.run_test(size=(120, 40)) as pilot:
        await _ready(pilot, RollScreen)
        film = app.screen.query_one(FilmGrid)
        before = film.render_lines(Region(0, 0, film.size.width, 1))[0].render(app.console)
        await pilot.press("t")
        await pilot.pause()
        assert film.render_lines(Region(0, 0, film.size.width, 1))[0].render(app.console) != before
