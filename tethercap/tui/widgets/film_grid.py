"""The roll as strips of film: small pictures between rows of perforations, numbers on the edge."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from textual import events
from textual.binding import Binding, BindingType
from textual.message import Message

from tethercap.geometry import SizePx
from tethercap.pictures import U8Array
from tethercap.tui.cells import CellEncoder, CellGrid, Depth, half_blocks, shrink_into
from tethercap.tui.marked_rows import MarkedRows
from tethercap.tui.overlay import Rgb, canvas_size, place, to_grid
from tethercap.tui.picture_way import Way
from tethercap.tui.themes import rgb_of
from tethercap.tui.widgets.cells_view import CellsView, still_depth, way_of


@dataclass(frozen=True, slots=True)
class Tile:
    """One frame of the grid."""

    key: str
    caption: str
    tone: str
    """Name of the theme's colour for the caption."""


@dataclass(frozen=True, slots=True)
class GridLayout:
    """How many tiles lie side by side, and how large they are, in cells."""

    across: int
    tile_columns: int
    picture_rows: int

    @property
    def strip_rows(self) -> int:
        """Rows of a strip: perforations, picture, edge with numbers and perforations."""
        return self.picture_rows + 2


def lay_out_grid(columns: int) -> GridLayout:
    """Six frames a strip where they are at least fifteen cells wide, else three, else one."""
    across = next((count for count in (6, 4, 3, 2) if columns // count >= 15), 1)
    tile = max(4, columns // across)
    return GridLayout(across, tile, max(2, round((tile - 2) / 1.5 / 2)))


class FilmGrid(CellsView, can_focus=True):
    """Pictures to move through with the arrow keys."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("left", "go(-1, 0)", "Before", show=False),
        Binding("right", "go(1, 0)", "After", show=False),
        Binding("up", "go(0, -1)", "Strip before", show=False),
        Binding("down", "go(0, 1)", "Strip after", show=False),
        Binding("home", "go(-9999, 0)", "First", show=False),
        Binding("end", "go(9999, 0)", "Last", show=False),
    ]

    class Chosen(Message):
        """Another frame has the mark."""

        def __init__(self, key: str) -> None:
            super().__init__()
            self.key = key

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.tiles: list[Tile] = []
        self.pictures: dict[str, U8Array] = {}
        self._rows = MarkedRows()
        self.show_mark = True
        """Draw which frame is marked."""

    @property
    def key(self) -> str:
        """Key of the marked frame."""
        return self._rows.mark

    def put_mark(self, key: str) -> None:
        """Mark a frame."""
        self._rows.mark = key
        self.draw()

    def set_tiles(self, tiles: Sequence[Tile]) -> None:
        """Show these frames; the mark stays where its frame is still there."""
        self.tiles = list(tiles)
        self._rows.take([tile.key for tile in tiles])
        self.draw()

    def put_picture(self, key: str, pixels_bgr: U8Array | None) -> None:
        """Give a frame its picture."""
        if pixels_bgr is not None:
            self.pictures[key] = pixels_bgr
        self.draw()

    def on_resize(self, event: events.Resize) -> None:
        """Lay out again."""
        self.draw()

    def action_go(self, across: int, down: int) -> None:
        """Move the mark."""
        self._rows.across = lay_out_grid(self.size.width).across
        if self._rows.move_rows(down) if down else self._rows.move(across):
            self.draw()
            self.post_message(self.Chosen(self.key))

    def draw(self) -> None:
        """Draw the strips in sight."""
        rows, columns = self.size.height, self.size.width
        if not rows or not columns:
            return
        depth = still_depth(self.app)
        layout = lay_out_grid(columns)
        self._keep_in_sight(layout, rows)
        grid = self._draw_grid(rows, columns, layout, depth)
        self.put_lines(CellEncoder(rows, columns, depth).lines(grid), grid, depth)

    def _way(self) -> Way:
        """Small pictures stand between letters, so they are made of text whatever else the terminal has."""
        way = way_of(self.app)
        return Way.HALF_BLOCKS if way.in_pixels else way

    def _keep_in_sight(self, layout: GridLayout, rows: int) -> None:
        self._rows.across = layout.across
        self._rows.keep_in_sight(rows // layout.strip_rows)

    def _draw_grid(self, rows: int, columns: int, layout: GridLayout, depth: Depth) -> CellGrid:
        theme = self.app.current_theme
        ground, film = rgb_of(theme, "background"), rgb_of(theme, "surface")
        blank = np.empty((2 * rows, columns, 3), dtype=np.uint8)
        blank[:] = ground
        grid = half_blocks(blank)
        grid.glyphs[:] = ord(" ")
        for strip in range(-(-rows // layout.strip_rows)):
            first = (self._rows.first_row + strip) * layout.across
            tiles = self.tiles[first : first + layout.across]
            if tiles:
                self._draw_strip(grid, strip * layout.strip_rows, tiles, layout, depth, (ground, film))
        return grid

    def _draw_strip(
        self,
        grid: CellGrid,
        top: int,
        tiles: Sequence[Tile],
        layout: GridLayout,
        depth: Depth,
        colours: tuple[Rgb, Rgb],
    ) -> None:
        ground, film = colours
        theme = self.app.current_theme
        width = layout.tile_columns * len(tiles)
        bottom = min(grid.shape[0], top + layout.strip_rows)
        grid.background[top:bottom, :width] = film
        grid.foreground[top:bottom, :width] = rgb_of(theme, "foreground")
        holes = (" ▆ " * (width // 3 + 1))[:width]
        grid.put(top, 0, holes, ground, film)
        grid.put(top + layout.strip_rows - 1, 0, holes, ground, film)
        for number, tile in enumerate(tiles):
            left = number * layout.tile_columns
            self._draw_picture(grid, top + 1, left + 1, tile, layout, depth)
            marked = self.show_mark and tile.key == self.key
            accent = rgb_of(theme, "accent")
            caption = f" {'▸' if marked else ''}{tile.caption} "
            colour = (ground, accent) if marked else (rgb_of(theme, tile.tone), film)
            grid.put(top + layout.strip_rows - 1, left + 1, caption[: layout.tile_columns - 1], *colour)
            if marked:
                for row in range(top + 1, min(bottom, top + 1 + layout.picture_rows)):
                    grid.put(row, left, "▐", accent, film)
                    grid.put(row, left + layout.tile_columns - 1, "▌", accent, film)

    def _draw_picture(self, grid: CellGrid, top: int, left: int, tile: Tile, layout: GridLayout, depth: Depth) -> None:
        rows = min(layout.picture_rows, grid.shape[0] - top)
        columns = layout.tile_columns - 2
        if rows <= 0:
            return
        theme = self.app.current_theme
        pixels = self.pictures.get(tile.key)
        way = self._way()
        canvas_px = canvas_size(layout.picture_rows, columns, depth, way)
        canvas = np.empty((canvas_px.height_px, canvas_px.width_px, 3), dtype=np.uint8)
        canvas[:] = rgb_of(theme, "background")
        if pixels is not None:
            spot = place(SizePx(pixels.shape[1], pixels.shape[0]), canvas_px)
            shown = shrink_into(pixels, spot.width_px, spot.height_px)[..., ::-1]
            canvas[spot.y_px : spot.y_px + spot.height_px, spot.x_px : spot.x_px + spot.width_px] = shown
        picture = to_grid(canvas, depth, way)
        area = np.s_[top : top + rows, left : left + columns]
        grid.glyphs[area] = picture.glyphs[:rows] if pixels is not None else ord(" ")
        grid.foreground[area], grid.background[area] = picture.foreground[:rows], picture.background[:rows]
