"""The live picture."""

from collections.abc import Callable

from rich.segment import Segment
from textual import events
from textual.geometry import Region
from textual.message import Message
from textual.strip import Strip
from textual.widget import Widget

from tethercap.tui.cells import row_segments
from tethercap.tui.feed import LiveFeed, Shown
from tethercap.tui.ready_strip import ReadyStrip

_ASK_CURSOR = "\x1b[6n"
"""Device status report (ECMA-48, DSR): answered with the cursor's place once all before it is worked off."""


class LiveView(Widget):
    """Shows what a `LiveFeed` delivers; tells the feed when the terminal has shown it.

    It has neither border nor padding: its lines go out as they are.
    """

    class PictureDrawn(Message):
        """The feed has a picture ready."""

        def __init__(self, shown: Shown) -> None:
            super().__init__()
            self.shown = shown

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.feed: LiveFeed | None = None
        self._strips: list[Strip] = []
        self.shown: Shown | None = None

    def take_feed(self, feed: LiveFeed) -> None:
        """Show what this feed draws from now on."""
        self.feed = feed
        feed.resize(self.size.height, self.size.width)

    def deliver(self, shown: Shown) -> None:
        """Hand a picture over; called in the feed's thread."""
        self.post_message(self.PictureDrawn(shown))

    def on_live_view_picture_drawn(self, message: "LiveView.PictureDrawn") -> None:
        """Show the picture, unless the view has another size by now."""
        shown = message.shown
        if shown.grid.shape != (self.size.height, self.size.width):
            self._acknowledge()
            return
        self.shown = shown
        rows = len(shown.lines)
        ready = [*shown.lines[:-1], shown.lines[-1] + _ASK_CURSOR] if self._terminal_answers() else shown.lines
        self._strips = [ReadyStrip(ready[row], self._segments_of(shown, row), self.size.width) for row in range(rows)]
        self.refresh()
        if not self._terminal_answers():
            self._acknowledge()

    def blank(self) -> None:
        """Show nothing."""
        self._strips = []
        self.shown = None
        self.refresh()

    def on_resize(self, event: events.Resize) -> None:
        """Ask for pictures of the new size."""
        self._strips = []
        if self.feed is not None:
            self.feed.resize(event.size.height, event.size.width)
        self.refresh()

    def render_lines(self, crop: Region) -> list[Strip]:
        """Hand out finished lines; the usual way would wrap and filter each of them again."""
        if len(self._strips) != self.size.height:
            return [Strip.blank(crop.width, self.rich_style)] * crop.height
        strips = self._strips[crop.y : crop.bottom]
        if crop.x == 0 and crop.width == self.size.width:
            return strips
        return [strip.crop(crop.x, crop.right) for strip in strips]

    def _terminal_answers(self) -> bool:
        return not self.app.is_headless and self.feed is not None and self.feed.wants_acknowledgement

    def _acknowledge(self) -> None:
        if self.feed is not None:
            self.feed.acknowledged()

    @staticmethod
    def _segments_of(shown: Shown, row: int) -> Callable[[], list[Segment]]:
        return lambda: row_segments(shown.grid, row, shown.depth)
