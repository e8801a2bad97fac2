"""Pictures made of cells or of pixels: what live and still pictures share."""

from collections.abc import Callable

from rich.segment import Segment
from textual.app import App
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from tethercap.tui.cells import CellGrid, Depth, row_segments
from tethercap.tui.painters import Painter, painter_for
from tethercap.tui.picture_way import Way, choose_way
from tethercap.tui.ready_strip import ReadyStrip
from tethercap.tui.shown import Shown
from tethercap.tui.terminal_door import write_to_terminal
from tethercap.tui.terminal_talents import Talents

_DEPTH_BY_COLOUR_SYSTEM = {
    "truecolor": Depth.BITS_15,
    "256": Depth.PALETTE,
    "standard": Depth.PALETTE,
    "windows": Depth.PALETTE,
}

_DEPTH_BY_PREFERENCE = {"24 bit": Depth.BITS_24, "15 bit": Depth.BITS_15, "256": Depth.PALETTE, "none": Depth.NONE}


def best_depth(app: App[object]) -> Depth:
    """Finest colours for this terminal, by what it says of itself and what the person asked for."""
    if app.no_color:
        return Depth.NONE
    preferences = getattr(app, "preferences", None)
    preferred = _DEPTH_BY_PREFERENCE.get(preferences.picture_colours) if preferences is not None else None
    if preferred is not None:
        return preferred
    return _DEPTH_BY_COLOUR_SYSTEM.get(app.console.color_system or "", Depth.NONE)


def still_depth(app: App[object]) -> Depth:
    """Colours for pictures that are drawn once: there is no need to spare bytes."""
    best = best_depth(app)
    return Depth.BITS_24 if best is Depth.BITS_15 else best


def way_of(app: App[object]) -> Way:
    """How pictures are shown on this terminal, as it answered and the person wishes."""
    talents: Talents = getattr(app, "talents", Talents())
    preferences = getattr(app, "preferences", None)
    wished = preferences.picture if preferences is not None else ""
    way = choose_way(talents, wished, colour=best_depth(app) is not Depth.NONE)
    return Way.HALF_BLOCKS if app.is_headless and way.in_pixels else way


def painter_of(app: App[object]) -> Painter:
    """Make a painter of the way that suits this terminal and the person."""
    talents: Talents = getattr(app, "talents", Talents())
    return painter_for(way_of(app), talents, grey=best_depth(app) is Depth.NONE)


class CellsView(Widget):
    """Shows finished lines, and pixels over them. It has neither border nor padding: its lines go out as they are."""

    def __init__(self, *, id: str | None = None, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes)
        self._ready: list[Strip] = []
        self._picture: Shown | None = None
        self._tail = ""
        self._sent: Shown | None = None
        """The picture whose pixels the terminal has."""
        self._ground = ""
        """A line of nothing, for pixels to lie on."""

    def on_mount(self) -> None:
        """Follow the theme."""
        self.app.theme_changed_signal.subscribe(self, lambda _theme: self.draw())

    def draw(self) -> None:
        """Draw again in the present size and colours; views that are drawn elsewhere do nothing."""

    def put(self, shown: Shown, tail: str = "") -> None:
        """Show a picture.

        Parameters
        ----------
        tail : str
            Escape text to send right after it.
        """
        before, self._picture, self._tail = self._picture, shown, tail
        self._ground = Strip.blank(shown.columns, self.rich_style).render(self.app.console) if shown.pixels else ""
        self._ready = [
            ReadyStrip(line or self._ground, _segments_of(shown, row), shown.columns)
            for row, line in enumerate(shown.lines)
        ]
        goes_on = before is not None and before.shape == shown.shape and bool(before.pixels) == bool(shown.pixels)
        if goes_on and not getattr(self.app, "shows_toasts", False):
            self._refresh_last_row()  # the whole picture goes out with the last row: one line for Textual, not forty
        else:
            self.refresh()

    def put_lines(self, lines: list[str], grid: CellGrid, depth: Depth) -> None:
        """Show a grid by its finished lines; the grid serves dialogs and screen shots."""
        self.put(Shown(lines, grid.shape[1], depth, lambda: grid))

    def clear(self) -> None:
        """Show nothing."""
        self._ready, self._picture, self._sent = [], None, None
        self.rest()
        self.refresh()

    def rest(self) -> None:
        """Take pixels off the terminal while something else is in front; lines are written over anyway."""

    def render_lines(self, crop: Region) -> list[Strip]:
        """Hand out finished lines; the usual way would wrap and filter each of them again."""
        width, height = self.size
        if len(self._ready) != height or self._ready[0].cell_length != width:
            return [Strip.blank(crop.width, self.rich_style)] * crop.height
        strips = self._ready[crop.y : crop.bottom]
        if crop.bottom >= height and self._picture is not None:
            strips = [*strips[:-1], self._last_strip(self._picture)]
        elif self._picture is not None and self._picture.pixels:
            self.call_later(self._refresh_last_row)  # blanks were written over the pixels: draw those again
        if crop.x == 0 and crop.width == width:
            return strips
        return [strip.crop(crop.x, crop.right) for strip in strips]

    def _last_strip(self, shown: Shown) -> Strip:
        """The last row, with the whole picture in its escape text: cursor kept, moved, put back (DECSC, CUP, DECRC)."""
        left, top = self.region.x + 1, self.region.y + 1
        if shown.pixels:
            pixels = shown.again if self._sent is shown else shown.pixels
            self._sent = shown
            text = f"{self._ground}\x1b7\x1b[{top};{left}H{pixels}\x1b8"
        else:
            rows = (f"\x1b[{top + row};{left}H{line}" for row, line in enumerate(shown.lines[:-1]))
            text = "".join((shown.lines[-1], "\x1b7", *rows, "\x1b8"))
        return ReadyStrip(text + self._tail, _segments_of(shown, len(shown.lines) - 1), shown.columns)

    def _refresh_last_row(self) -> None:
        self.refresh(Region(0, self.size.height - 1, self.size.width, 1))

    def write_beside(self, text: str) -> None:
        """Write escape text to the terminal at once."""
        write_to_terminal(self.app, text)


def _segments_of(shown: Shown, row: int) -> Callable[[], list[Segment]]:
    return lambda: row_segments(shown.grid, row, shown.depth)
