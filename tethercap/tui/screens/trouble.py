"""An error that kept the program from beginning: what happened, what is safe, what to do."""

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.screen import Screen

from tethercap.errors import TethercapError
from tethercap.tui.actions import Where
from tethercap.tui.hints import Hint, Tone
from tethercap.tui.lines import Line, Role, Span, line, wrap
from tethercap.tui.widgets.band import Band
from tethercap.tui.widgets.rows import Rows


def trouble_lines(error: TethercapError, width: int) -> list[Line]:
    """The error's three parts, each under its own word."""
    lines: list[Line] = []
    for heading, text in (("what happened", error.what), ("what is safe", error.safe), ("what to do", error.todo)):
        if text:
            lines += [(), line(Span(f"  {heading}", Role.HEADING))]
            lines += [line(Span(f"  {part}")) for part in wrap(text, max(20, width - 4))]
    return lines


class TroubleScreen(Screen[None]):
    """Shows one error; any of a few keys ends the program."""

    where = Where.EVERYWHERE
    BINDINGS: ClassVar[list[BindingType]] = [Binding("enter,escape,space", "app.leave", "Leave", show=False)]

    def __init__(self, error: TethercapError) -> None:
        super().__init__()
        self.error = error

    def compose(self) -> ComposeResult:
        """The band says that there is trouble, the rows say which."""
        yield Band(id="band")
        yield Rows(id="list")
        yield Rows(id="said")

    def on_resize(self) -> None:
        """Wrap for the width."""
        self.call_after_refresh(self._show)

    def _show(self) -> None:
        self.query_one(Band).show_hint(Hint("TROUBLE", Tone.TROUBLE, self.error.what))
        self.query_one("#list", Rows).show(trouble_lines(self.error, self.size.width))
        self.query_one("#said", Rows).show([line(Span(" enter: leave", Role.FAINT))])
