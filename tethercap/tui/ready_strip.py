"""A line that is escape text already: written as it is, taken apart only when something asks for its parts."""

from collections.abc import Callable, Iterable, Sequence

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
        # Strip's own constructor makes seven caches; some forty strips a picture never need them.
        self._ready = ready
        self._make_segments = make_segments
        self._made: list[Segment] | None = None
        self._cell_length = cell_length

    def __getattr__(self, name: str) -> object:
        """Make what Strip's constructor would have made, when something asks for it."""
        if name not in Strip.__slots__:
            raise AttributeError(name)
        super().__init__((), self._cell_length)
        return object.__getattribute__(self, name)

    # Strip keeps its parts in `_segments`; as a property they are built only for those who look.
    @property
    def _segments(self) -> list[Segment]:
        if self._made is None:
            self._made = self._make_segments()
        return self._made

    @_segments.setter
    def _segments(self, segments: Iterable[Segment]) -> None:
        """Strip's own constructor sets nothing here."""

    def divide(self, cuts: Iterable[int]) -> Sequence[Strip]:
        """Divide the line; where nothing lies over it, it stays whole."""
        cuts = list(cuts)
        return [self] if cuts == [self._cell_length] else super().divide(cuts)

    def render(self, console: Console) -> str:
        """Give the finished text; its colours were chosen for the terminal when it was made."""
        return self._ready

    def apply_filter(self, filter: LineFilter, background: Color) -> Strip:
        """Leave the line as it is: without colour it was drawn without colour."""
        return self
