"""From a picture to what the terminal is given, one painter a way: cells of text, Sixel, the kitty protocol."""

import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from itertools import count
from pathlib import Path
from typing import Protocol

import cv2
import numpy as np

from tethercap.geometry import SizePx
from tethercap.pictures import U8Array
from tethercap.tui import kitty, sixel
from tethercap.tui.cells import CellEncoder, CellGrid, Depth
from tethercap.tui.overlay import Rgb, canvas_size
from tethercap.tui.picture_way import USUAL_CELL_PX, Way
from tethercap.tui.quality import Step
from tethercap.tui.shown import Shown
from tethercap.tui.terminal_asks import SHARED_MEMORY
from tethercap.tui.terminal_talents import Talents

_MOST_PX = 1_000_000
"""More pixels are not drawn: the terminal enlarges what it is given, and a live picture has no more to show."""
_LETTER_PX = 1 / 190
"""Dots of the labels' letters, share of the picture's height."""
_SIXEL_LIMIT_PX = SizePx(1000, 1000)
"""Largest Sixel picture of terminals that do not say theirs."""
_ids = count(4310)


class Scene(Protocol):
    """Something to paint, at whatever size the way has."""

    @property
    def inks(self) -> tuple[Rgb, ...]:
        """Colours of what is drawn on the picture."""
        ...

    def cells(self, rows: int, columns: int, depth: Depth, way: Way) -> CellGrid:
        """Paint it in cells."""
        ...

    def pixels(self, canvas_px: SizePx, letter_px: int) -> U8Array:
        """Paint it in pixels, RGB."""
        ...


class Painter(Protocol):
    """Turns scenes into `Shown`."""

    way: Way
    sizes: tuple[int, ...]
    """How coarse its pixels may be, finest first; none where it is made of cells."""

    def paint(self, scene: Scene, rows: int, columns: int, step: Step, sequence: int = 0) -> Shown:
        """Paint a scene for a view of that many cells."""
        ...

    def canvas(self, rows: int, columns: int, depth: Depth) -> SizePx:
        """Pixels that the view has."""
        ...

    def erase(self) -> str:
        """Escape text that takes the picture away where writing over it does not."""
        ...

    def close(self) -> None:
        """Give back what the terminal did not take."""
        ...


class CellPainter:
    """Pictures as text; writing over them takes them away."""

    def __init__(self, way: Way = Way.HALF_BLOCKS) -> None:
        self.way = way
        self.sizes: tuple[int, ...] = ()
        self._encoder = CellEncoder(1, 1, Depth.NONE)

    def canvas(self, rows: int, columns: int, depth: Depth) -> SizePx:
        """As `overlay.canvas_size`."""
        return canvas_size(rows, columns, depth, self.way)

    def paint(self, scene: Scene, rows: int, columns: int, step: Step, sequence: int = 0) -> Shown:
        """Paint in cells."""
        encoder = self._encoder
        if (encoder.rows, encoder.columns, encoder.depth) != (rows, columns, step.depth):
            encoder = self._encoder = CellEncoder(rows, columns, step.depth)
        grid = scene.cells(rows, columns, step.depth, self.way)
        return Shown(encoder.lines(grid), columns, step.depth, lambda: grid, sequence=sequence)

    def erase(self) -> str:
        """Nothing is left over."""
        return ""

    def close(self) -> None:
        """Nothing is held."""


def _grid_of(scene: Scene, rows: int, columns: int, depth: Depth) -> Callable[[], CellGrid]:
    return partial(scene.cells, rows, columns, depth, Way.HALF_BLOCKS)


@dataclass(slots=True)
class SixelPainter:
    """Pictures as Sixel. The view's last row stays free: rewriting it with every picture would blink."""

    cell_px: SizePx
    limit_px: SizePx = _SIXEL_LIMIT_PX
    grey: bool = False
    way: Way = Way.SIXEL
    sizes: tuple[int, ...] = (2, 3)
    """Sixel is work for both sides: twice as coarse is still finer than cells, at a third of the work."""

    def canvas(self, rows: int, columns: int, depth: Depth) -> SizePx:
        """Whole cells, no larger than the terminal takes."""
        width, height = columns * self.cell_px.width_px, max(1, rows - 1) * self.cell_px.height_px
        return SizePx(min(width, self.limit_px.width_px), min(height, self.limit_px.height_px))

    def paint(self, scene: Scene, rows: int, columns: int, step: Step, sequence: int = 0) -> Shown:
        """Paint in pixels; a coarser step draws fewer and shows each larger."""
        whole = self.canvas(rows, columns, step.depth)
        coarse = min(step.coarse, 3)
        canvas_px = SizePx(max(1, whole.width_px // coarse), max(1, whole.height_px // coarse))
        pixels = scene.pixels(canvas_px, _letter_px(canvas_px))
        text = sixel.encode(_maybe_grey(pixels, grey=self.grey), magnify=coarse, exact=() if self.grey else scene.inks)
        make_grid = _grid_of(scene, rows, columns, step.depth)
        return Shown([""] * rows, columns, step.depth, make_grid, pixels=text, sequence=sequence)

    def erase(self) -> str:
        """Text written over it takes it away."""
        return ""

    def close(self) -> None:
        """Nothing is held."""


class KittyPainter:
    """Pictures by the kitty protocol, two in turn: the new one is shown before the old one goes.

    Parameters
    ----------
    cell_px : SizePx
    shared : bool
        The terminal reads this machine's shared memory; otherwise pixels go down the line.
    grey : bool
    memory : Path
        Folder of the shared memory.
    """

    def __init__(self, cell_px: SizePx, *, shared: bool, grey: bool = False, memory: Path = SHARED_MEMORY) -> None:
        self.way = Way.KITTY
        self.sizes: tuple[int, ...] = (1, 2) if shared else (2, 4)
        self._cell_px, self._shared, self._grey, self._memory = cell_px, shared, grey, memory
        self._ids = (next(_ids), next(_ids))
        self._waiting: list[Path] = []

    def canvas(self, rows: int, columns: int, depth: Depth) -> SizePx:
        """Whole cells at the terminal's size, or smaller in proportion."""
        width, height = columns * self._cell_px.width_px, rows * self._cell_px.height_px
        scale = min(1.0, (_MOST_PX / (width * height)) ** 0.5)
        return SizePx(max(1, round(width * scale)), max(1, round(height * scale)))

    def paint(self, scene: Scene, rows: int, columns: int, step: Step, sequence: int = 0) -> Shown:
        """Paint in pixels; a coarser step hands fewer over, and the terminal enlarges them."""
        whole = self.canvas(rows, columns, step.depth)
        canvas_px = SizePx(max(1, whole.width_px // step.coarse), max(1, whole.height_px // step.coarse))
        pixels = _maybe_grey(scene.pixels(canvas_px, _letter_px(canvas_px)), grey=self._grey)
        before, now = self._ids
        text = self._place(pixels, now, columns, rows) + kitty.remove(before)
        self._ids = (now, before)
        make_grid = _grid_of(scene, rows, columns, step.depth)
        again = kitty.place_again(now, columns, rows)
        return Shown([""] * rows, columns, step.depth, make_grid, pixels=text, again=again, sequence=sequence)

    def _place(self, pixels: U8Array, image_id: int, columns: int, rows: int) -> str:
        if self._shared:
            self._forget(leave=1)
            try:
                text, path = kitty.place_shared(pixels, image_id, columns, rows, self._memory)
            except OSError:
                return kitty.place_direct(pixels, image_id, columns, rows)
            self._waiting.append(path)
            return text
        return kitty.place_direct(pixels, image_id, columns, rows)

    def _forget(self, *, leave: int) -> None:
        """Take back what the terminal did not take: pictures that were never written, or a terminal that went."""
        while len(self._waiting) > leave:
            with suppress(OSError):
                self._waiting.pop(0).unlink(missing_ok=True)

    def erase(self) -> str:
        """Take both pictures away."""
        return "".join(kitty.remove(image_id) for image_id in self._ids)

    def close(self) -> None:
        """Give the shared memory back."""
        self._forget(leave=0)


def _letter_px(canvas_px: SizePx) -> int:
    return max(1, round(canvas_px.height_px * _LETTER_PX))


def _maybe_grey(pixels_rgb: U8Array, *, grey: bool) -> U8Array:
    if not grey:
        return pixels_rgb
    light = np.asarray(cv2.cvtColor(pixels_rgb, cv2.COLOR_RGB2GRAY), dtype=np.uint8)
    return np.repeat(light[..., None], 3, axis=-1)


def painter_for(way: Way, talents: Talents, *, grey: bool = False) -> Painter:
    """Make a painter of a way for a terminal; each view has its own.

    Parameters
    ----------
    grey : bool
        No colour is wanted.
    """
    cell_px = talents.cell_px or USUAL_CELL_PX
    if way is Way.KITTY:
        kitty.sweep(SHARED_MEMORY, time.time())
        return KittyPainter(cell_px, shared=talents.kitty_shared, grey=grey)
    if way is Way.SIXEL:
        return SixelPainter(cell_px, talents.sixel_limit_px or _SIXEL_LIMIT_PX, grey)
    return CellPainter(way)
