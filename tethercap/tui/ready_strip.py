"""A line that is escape text already: written as it is, taken apart only when something asks for its parts."""

from collections.abc import Callable, Iterable

from rich.console import Console
from rich.segment import Segment
from textual.color import Color
from textual.filter import LineFilter
from textual.strip import Strip


class ReadyStrip(Strip):
    """A strip of finished text. Dialogs, tints and screen shots get real segments, made on demand.

    Parameters
    ----------
    ready : str
        Escape text of exactly `cell_length` cells.
    make_segments : callable
        Gives the same line as segments.
    cell_length : int
    """

    __slots__ = ("_made", "_make_segments", "_ready")

    def __init__(self, ready: str, make_segments: Callable[[], list[Segment]], cell_length: int) -> None:
        self._ready = ready
        self._make_segments = make_segments
        self._made: list[Segment] | None = None
        super().__init__((), cell_length)

    # Strip keeps its parts in `_segments`; as a property they are built only for those who look.
    @property
    def _segments(self) -> list[Segment]:
        if self._made is None:
            self._made = self._make_segments()
        return self._made

    @_segments.setter
    def _segments(self, segments: Iterable[Segment]) -> None:
        """Strip's own constructor sets nothing here."""

    def render(self, console: Console) -> str:
        """Give the finished text; its colours were chosen for the terminal when it was made."""
        return self._ready

    def apply_filter(self, filter: LineFilter, background: Color) -> Strip:
        """Leave the line as it is: without colour it was drawn without colour."""
        return self
