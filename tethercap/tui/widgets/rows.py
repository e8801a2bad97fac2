"""A widget that shows lines of roles and redraws only the rows that changed."""

from collections.abc import Sequence
from typing import ClassVar

from rich.segment import Segment
from rich.style import Style
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from tethercap.tui.lines import Line, Role, fit


class Rows(Widget):
    """Lines of text in roles. Colours come from the style sheet, one component class a role."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {f"rows--{role.value}" for role in Role}

    def __init__(self, *, id: str | None = None, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes)
        self._lines: list[Line] = []
        self._strips: dict[int, Strip] = {}
        self._styles_by_role: dict[Role, Style] = {}

    @property
    def lines(self) -> Sequence[Line]:
        """What is shown."""
        return self._lines

    def show(self, lines: Sequence[Line]) -> None:
        """Show these lines; rows that stay the same are not drawn again."""
        rows = max(len(lines), len(self._lines))
        before = self._lines
        self._lines = list(lines)
        for row in range(rows):
            if row >= len(before) or row >= len(lines) or before[row] != lines[row]:
                self._strips.pop(row, None)
                self.refresh(Region(0, row, self.size.width, 1))

    def render_line(self, y: int) -> Strip:
        """Draw one row."""
        width = self.size.width
        ground = self.rich_style
        if self._styles_by_role.get(Role.PLAIN) != ground:  # another theme, or another class
            self._strips.clear()
            self._styles_by_role = {Role.PLAIN: ground}
        strip = self._strips.get(y)
        if strip is None or strip.cell_length != width:
            spans = self._lines[y] if y < len(self._lines) else ()
            segments = [Segment(span.text, self._style_of(span.role)) for span in fit(spans, width)]
            strip = self._strips[y] = Strip(segments, width)
        return strip

    def _style_of(self, role: Role) -> Style:
        style = self._styles_by_role.get(role)
        if style is None:
            style = self.get_component_rich_style(f"rows--{role.value}")
            self._styles_by_role[role] = style
        return style
