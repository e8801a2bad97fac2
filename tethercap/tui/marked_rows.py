"""A mark that moves over rows of things, and which rows are in sight; pure. Lists and grids share it."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(slots=True)
class MarkedRows:
    """Things by key, so many side by side, one of them marked, and the first row in sight."""

    keys: tuple[str, ...] = ()
    mark: str = ""
    across: int = 1
    first_row: int = 0

    def take(self, keys: Sequence[str]) -> None:
        """Take other things; the mark stays where its thing is still there."""
        self.keys = tuple(keys)
        if self.mark not in self.keys:
            self.mark = self.keys[0] if self.keys else ""

    @property
    def place(self) -> int:
        """Place of the mark; 0 where nothing is marked."""
        return self.keys.index(self.mark) if self.mark in self.keys else 0

    def move(self, steps: int) -> bool:
        """Move the mark along by so many things, held at both ends; True where it moved."""
        return self._put(min(max(self.place + steps, 0), len(self.keys) - 1))

    def move_rows(self, rows: int) -> bool:
        """Move the mark by whole rows; where there is nothing, it stays."""
        wanted = self.place + rows * self.across
        return self._put(wanted) if 0 <= wanted < len(self.keys) else False

    def _put(self, place: int) -> bool:
        if not self.keys or self.keys[place] == self.mark:
            return False
        self.mark = self.keys[place]
        return True

    def keep_in_sight(
        self, rows: int, row_of_mark: int | None = None, *, above: int = 0, rows_in_all: int | None = None
    ) -> int:
        """Scroll as little as shows the mark; give the first row in sight.

        Parameters
        ----------
        rows : int
            That fit.
        row_of_mark : int, optional
            Where the mark's row is not told by its place: lists with headings between.
        above : int
            Rows to show over the mark, for its heading.
        rows_in_all : int, optional
            Where that is not told by the things: nothing is scrolled past the end.
        """
        row = self.place // self.across if row_of_mark is None else row_of_mark
        fitting = max(1, rows)
        in_all = -(-len(self.keys) // self.across) if rows_in_all is None else rows_in_all
        highest = max(0, min(row - above, in_all - fitting))
        self.first_row = min(max(self.first_row, row - fitting + 1), highest)
        return self.first_row
