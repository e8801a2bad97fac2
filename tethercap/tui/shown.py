"""A picture ready to be written to the terminal."""

from collections.abc import Callable, Sequence

from tethercap.tui.cells import CellGrid, Depth


class Shown:
    """Finished lines, and pixels over them where the terminal takes pixels.

    Parameters
    ----------
    lines : sequence of str
        Escape text, one a row of the view; empty where pixels are the picture.
    columns : int
        Cells a line.
    depth : Depth
    make_grid : callable
        The same picture in cells, for dialogs and screen shots; made when asked for.
    pixels : str
        Escape text that draws a picture with its upper left corner at the cursor.
    again : str
        The same for a terminal that has the picture already; `pixels` again where it is empty.
    sequence : int
        Number of the live picture.
    """

    __slots__ = ("_grid", "_make_grid", "again", "columns", "depth", "lines", "pixels", "sequence")

    def __init__(
        self,
        lines: Sequence[str],
        columns: int,
        depth: Depth,
        make_grid: Callable[[], CellGrid],
        *,
        pixels: str = "",
        again: str = "",
        sequence: int = 0,
    ) -> None:
        self.lines, self.columns, self.depth = lines, columns, depth
        self.pixels, self.again, self.sequence = pixels, again or pixels, sequence
        self._make_grid = make_grid
        self._grid: CellGrid | None = None

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return len(self.lines), self.columns

    @property
    def grid(self) -> CellGrid:
        """The picture in cells."""
        if self._grid is None:
            self._grid = self._make_grid()
        return self._grid
