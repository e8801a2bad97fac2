"""A still picture with zoom."""

from dataclasses import dataclass, replace

import numpy as np
from textual import events

from tethercap.geometry import SizePx
from tethercap.pictures import U8Array
from tethercap.tui.cells import CellGrid, Depth, shrink_into
from tethercap.tui.overlay import Rgb, canvas_size, place, to_grid
from tethercap.tui.painters import Painter
from tethercap.tui.picture_way import Way
from tethercap.tui.quality import Step
from tethercap.tui.themes import rgb_of
from tethercap.tui.widgets.cells_view import CellsView, painter_of, still_depth

ZOOMS = (1.0, 2.0, 4.0, 8.0, 16.0, 32.0)
"""Times the size at which the whole picture fits."""


@dataclass(frozen=True, slots=True)
class Window:
    """Which part of a picture is shown."""

    zoom: float = 1.0
    x_share: float = 0.5
    """Middle of the shown part, 0..1 from the left."""
    y_share: float = 0.5

    def zoomed(self, step: int) -> "Window":
        """One step closer (1) or further away (-1)."""
        index = min(max(ZOOMS.index(self.zoom) + step, 0), len(ZOOMS) - 1)
        return replace(self, zoom=ZOOMS[index]).held()

    def moved(self, across: float, down: float) -> "Window":
        """Go on by so many widths and heights of what is shown."""
        return replace(self, x_share=self.x_share + across / self.zoom, y_share=self.y_share + down / self.zoom).held()

    def held(self) -> "Window":
        """Keep inside the picture."""
        half = 0.5 / self.zoom
        return replace(
            self, x_share=min(max(self.x_share, half), 1 - half), y_share=min(max(self.y_share, half), 1 - half)
        )


@dataclass(frozen=True, slots=True, eq=False)
class StillScene:
    """A still picture through a window, to be painted at any size."""

    pixels_bgr: U8Array
    window: Window
    surround: Rgb

    @property
    def inks(self) -> tuple[Rgb, ...]:
        """The ground beside the picture."""
        return (self.surround,)

    def cells(self, rows: int, columns: int, depth: Depth, way: Way) -> CellGrid:
        """In cells."""
        return to_grid(self.pixels(canvas_size(rows, columns, depth, way)), depth, way)

    def scale_on(self, canvas_px: SizePx) -> float:
        """Canvas pixels a picture pixel; 1 or more shows every pixel."""
        height, width = self.pixels_bgr.shape[:2]
        return place(SizePx(width, height), canvas_px).scale * self.window.zoom

    def pixels(self, canvas_px: SizePx, letter_px: int = 1) -> U8Array:
        """In pixels, RGB."""
        height, width = self.pixels_bgr.shape[:2]
        scale = self.scale_on(canvas_px)
        shown_w, shown_h = min(width, canvas_px.width_px / scale), min(height, canvas_px.height_px / scale)
        left = min(max(self.window.x_share * width - shown_w / 2, 0), width - shown_w)
        top = min(max(self.window.y_share * height - shown_h / 2, 0), height - shown_h)
        x_px, y_px = int(left), int(top)
        cut = self.pixels_bgr[y_px : y_px + max(1, round(shown_h)), x_px : x_px + max(1, round(shown_w))]
        out_w = min(canvas_px.width_px, max(1, round(shown_w * scale)))
        out_h = min(canvas_px.height_px, max(1, round(shown_h * scale)))
        canvas = np.empty((canvas_px.height_px, canvas_px.width_px, 3), dtype=np.uint8)
        canvas[:] = self.surround
        x_out, y_out = (canvas_px.width_px - out_w) // 2, (canvas_px.height_px - out_h) // 2
        canvas[y_out : y_out + out_h, x_out : x_out + out_w] = shrink_into(cut, out_w, out_h)[..., ::-1]
        return canvas


class StillView(CellsView):
    """Shows one picture, whole or a part of it."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.pixels_bgr: U8Array | None = None
        self.window = Window()
        self.scale = 1.0
        self._painter: Painter | None = None

    def show_picture(self, pixels_bgr: U8Array | None, *, keep_window: bool = False) -> None:
        """Show a picture; None shows nothing."""
        self.pixels_bgr = pixels_bgr
        if not keep_window:
            self.window = Window()
        self.draw()

    def look_at(self, window: Window) -> None:
        """Show another part."""
        self.window = window
        self.draw()

    def on_resize(self, event: events.Resize) -> None:
        """Draw in the new size."""
        self.draw()

    def rest(self) -> None:
        """Take pixels off the terminal."""
        if self._painter is not None:
            self.write_beside(self._painter.erase())

    def on_unmount(self) -> None:
        """Leave nothing behind."""
        self.rest()
        if self._painter is not None:
            self._painter.close()

    def draw(self) -> None:
        """Draw what is to be seen now."""
        rows, columns = self.size.height, self.size.width
        if self.pixels_bgr is None or not rows or not columns:
            if self.pixels_bgr is None:
                self.clear()
            return
        if self._painter is None:
            self._painter = painter_of(self.app)
        depth = still_depth(self.app)
        scene = StillScene(self.pixels_bgr, self.window, rgb_of(self.app.current_theme, "background"))
        self.scale = scene.scale_on(self._painter.canvas(rows, columns, depth))
        self.put(self._painter.paint(scene, rows, columns, Step(depth, 30.0)))
