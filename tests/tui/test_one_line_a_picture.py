"""A live picture goes out with its last row alone; a terminal emulator (pyte) must show all of it, in its place."""

import pyte
import pytest
from textual.geometry import Region

from tests.tui.bench import Bench, until
from tests.tui.drawn_film import live_frame, sighting_at
from tests.tui.scripted_runner import Gate, seated
from tethercap.session import events
from tethercap.tui.widgets.live_view import LiveView


def _screen(view: LiveView, size: tuple[int, int]) -> pyte.Screen:
    """What a terminal shows that gets the view's last row, its cursor where Textual puts it for that row."""
    screen = pyte.Screen(*size)
    stream = pyte.Stream(screen)
    width, height = view.size
    (strip,) = view.render_lines(Region(0, height - 1, width, 1))
    stream.feed(f"\x1b[{view.region.bottom};{view.region.x + 1}H{strip.render(view.app.console)}")
    return screen


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60)], ids=lambda size: f"{size[0]}x{size[1]}")
async def test_the_last_row_brings_the_whole_picture_to_its_place(size: tuple[int, int]) -> None:
    gate = Gate()
    bench = Bench([*seated(), gate, events.Watched(live_frame(9, 4.0, 3), sighting_at(9, 4.0, speed_mm_s=-20))])
    async with bench.app.run_test(size=size) as pilot:
        await until(pilot, lambda: len(bench.app.screen_stack) > 1)
        view = bench.app.screen.query_one(LiveView)
        await until(pilot, lambda: view.shown is not None and view.shown.sequence != 9)
        gate.open.set()
        await until(pilot, lambda: view.shown is not None and view.shown.sequence == 9)
        assert view.shown is not None
        grid, screen = view.shown.grid, _screen(view, size)
        left, top = view.region.offset
        for row in range(grid.shape[0]):
            for column in range(grid.shape[1]):
                cell = screen.buffer[top + row][left + column]
                assert cell.data == chr(grid.glyphs[row, column])
                assert cell.bg == "".join(f"{level:02x}" for level in grid.background[row, column])
        beside = [
            cell for y, line in screen.buffer.items() for x, cell in line.items() if not view.region.contains(x, y)
        ]
        assert all(cell.data == " " for cell in beside), "nothing is written beside the picture"
        assert (screen.cursor.y, screen.cursor.x) == (view.region.bottom - 1, min(view.region.right, size[0] - 1))


async def test_under_a_short_notice_rows_go_out_one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    gate = Gate()
    bench = Bench([*seated(), gate, events.Watched(live_frame(9, 4.0, 3), sighting_at(9, 4.0, speed_mm_s=-20))])
    async with bench.app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: len(bench.app.screen_stack) > 1)
        view = bench.app.screen.query_one(LiveView)
        await until(pilot, lambda: view.shown is not None)
        bench.app.notify("Bells off.", timeout=5)
        assert bench.app.shows_toasts
        refreshed: list[tuple[Region, ...]] = []
        monkeypatch.setattr(view, "refresh", lambda *regions, **_options: refreshed.append(regions))
        gate.open.set()
        await until(pilot, lambda: bool(refreshed))
        assert refreshed[0] == (), "the whole view, so that Textual keeps the notice on top"
