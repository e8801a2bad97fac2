"""Pictures made of cells: what live and still pictures share."""

from collections.abc import Callable, Sequence

from rich.segment import Segment
from textual.app import App
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from tethercap.tui.cells import CellGrid, Depth, row_segments
from tethercap.tui.ready_strip import ReadyStrip

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


class CellsView(Widget):
    """Shows finished lines of cells. It has neither border nor padding: its lines go out as they are."""

    def __init__(self, *, id: str | None = None, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes)
        self._ready: list[Strip] = []

    def put_lines(self, lines: Sequence[str], grid: CellGrid, depth: Depth) -> None:
        """Show a grid by its finished lines; the grid serves dialogs and screen shots."""
        self._ready = [
            ReadyStrip(line, _segments_of(grid, row, depth), grid.shape[1]) for row, line in enumerate(lines)
        ]
        self.refresh()

    def clear(self) -> None:
        """Show nothing."""
        self._ready = []
        self.refresh()

    def render_lines(self, crop: Region) -> list[Strip]:
        """Hand out finished lines; the usual way would wrap and filter each of them again."""
        if len(self._ready) != self.size.height or self._ready[0].cell_length != self.size.width:
            return [Strip.blank(crop.width, self.rich_style)] * crop.height
        strips = self._ready[crop.y : crop.bottom]
        if crop.x == 0 and crop.width == self.size.width:
            return strips
        return [strip.crop(crop.x, crop.right) for strip in strips]


def _segments_of(grid: CellGrid, row: int, depth: Depth) -> Callable[[], list[Segment]]:
    return lambda: row_segments(grid, row, depth)
