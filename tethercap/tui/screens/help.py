"""Help for the screen one came from, made from the registry of actions."""

from collections.abc import Mapping
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.screen import ModalScreen

from tethercap.tui.actions import Where, actions_of, key_name
from tethercap.tui.lines import Line, Role, Span, line, wrap
from tethercap.tui.widgets.rows import Rows


def help_lines(where: Where, width: int, keys: Mapping[str, str] | None = None) -> list[Line]:
    """Every action of a screen: key, label, what it does."""
    lines: list[Line] = [line(Span(f" {where.value}: what can be done here", Role.HEADING)), ()]
    for action in actions_of(where):
        key = key_name((keys or {}).get(action.id, action.key))
        lines.append(line(Span(f" {key:>7}  ", Role.ACCENT), Span(f"{action.label:<12} ", Role.STRONG), action.tooltip))
        lines += [line(Span(" " * 23), Span(text, Role.FAINT)) for text in wrap(action.help, max(20, width - 25))]
    return lines


class HelpScreen(ModalScreen[None]):
    """Shows help over the screen it belongs to."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,question_mark,q,enter", "dismiss", "Back", id="help_back"),
    ]

    def __init__(self, where: Where, keys: Mapping[str, str] | None = None) -> None:
        super().__init__()
        self._where, self._keys = where, keys

    def compose(self) -> ComposeResult:
        """One scrolling page."""
        with VerticalScroll(id="help"):
            yield Rows(id="help-rows")

    def on_resize(self) -> None:
        """Wrap for the width."""
        width = max(30, min(self.app.size.width, 112) - 4)
        lines = help_lines(self._where, width, self._keys)
        rows = self.query_one("#help-rows", Rows)
        rows.styles.height = len(lines)
        rows.show(lines)
