"""A list to choose from: one line an entry, moved through with the arrow keys."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.message import Message

from tethercap.tui.lines import Line, Role, Span
from tethercap.tui.marked_rows import MarkedRows
from tethercap.tui.widgets.rows import Rows


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of a list."""

    spans: Line
    key: str = ""
    """What the entry stands for; entries without one are headings and cannot be chosen."""


class PickList(Rows, can_focus=True):
    """Entries and headings; sends `Picked` on Enter, and steps an entry's value on left and right.

    Parameters
    ----------
    on_step : callable, optional
        Given the marked entry's key and -1 or 1. It is called at once: a message would come after the action of a
        key that is pressed right behind, which may be one that leaves the screen or goes to another frame.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "move(-1)", "Up", show=False),
        Binding("down", "move(1)", "Down", show=False),
        Binding("home", "move(-999)", "First", show=False),
        Binding("end", "move(999)", "Last", show=False),
        Binding("enter", "pick", "Choose", show=False),
        Binding("left", "step(-1)", "Less", show=False),
        Binding("right", "step(1)", "More", show=False),
    ]

    class Picked(Message):
        """An entry was chosen."""

        def __init__(self, key: str) -> None:
            super().__init__()
            self.key = key

    class Moved(Message):
        """Another entry has the mark."""

        def __init__(self, key: str) -> None:
            super().__init__()
            self.key = key

    def __init__(self, *, id: str | None = None, on_step: Callable[[str, int], None] | None = None) -> None:
        super().__init__(id=id)
        self._on_step = on_step
        self._entries: list[Entry] = []
        self._rows = MarkedRows()

    @property
    def key(self) -> str:
        """Key of the marked entry."""
        return self._rows.mark

    def set_entries(self, entries: Sequence[Entry]) -> None:
        """Show these entries; the mark stays on its entry where that is still there."""
        self._entries = list(entries)
        self._rows.take([entry.key for entry in entries if entry.key])
        self._show()

    def put_mark(self, key: str) -> None:
        """Mark an entry."""
        self._rows.mark = key
        self._show()

    def on_resize(self) -> None:
        """Keep the mark in sight."""
        self._show()

    def on_focus(self) -> None:
        """Show the mark as live."""
        self._show()

    def on_blur(self) -> None:
        """Show the mark as resting."""
        self._show()

    def _show(self) -> None:
        height = max(1, self.size.height)
        marked = next((row for row, entry in enumerate(self._entries) if entry.key and entry.key == self.key), 0)
        first = self._rows.keep_in_sight(height, marked, above=1, rows_in_all=len(self._entries))
        shown = self._entries[first : first + height]
        self.show([self._line_of(entry) for entry in shown])

    def _line_of(self, entry: Entry) -> Line:
        if entry.key and entry.key == self.key:
            mark = Span("▐ ", Role.ACCENT) if self.has_focus else Span("▏ ", Role.ACCENT)
            return (mark, *(Span(s.text, Role.STRONG if s.role is Role.PLAIN else s.role) for s in entry.spans))
        return (Span("  "), *entry.spans)

    def action_move(self, step: int) -> None:
        """Go to another entry."""
        if self._rows.keys:
            self._rows.move(step)
            self._show()
            self.post_message(self.Moved(self.key))

    def action_pick(self) -> None:
        """Choose the marked entry."""
        if self.key:
            self.post_message(self.Picked(self.key))

    def action_step(self, step: int) -> None:
        """Change the marked entry's value."""
        if self.key and self._on_step is not None:
            self._on_step(self.key, step)
