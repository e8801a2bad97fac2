"""The live picture."""

from textual import events
from textual.message import Message

from tethercap.tui.feed import LiveFeed
from tethercap.tui.shown import Shown
from tethercap.tui.widgets.cells_view import CellsView

_ASK_CURSOR = "\x1b[6n"
"""Device status report (ECMA-48, DSR): answered with the cursor's place once all before it is worked off."""


class LiveView(CellsView):
    """Shows what a `LiveFeed` delivers; tells the feed when the terminal has shown it."""

    class PictureDrawn(Message):
        """The feed has a picture ready."""

        def __init__(self, shown: Shown) -> None:
            super().__init__()
            self.shown = shown

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.feed: LiveFeed | None = None
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
        if shown.shape != (self.size.height, self.size.width):
            self._acknowledge()
            return
        self.shown = shown
        answers = self._terminal_answers()
        self.put(shown, _ASK_CURSOR if answers else "")
        if not answers:
            self._acknowledge()

    def rest(self) -> None:
        """Take pixels off the terminal."""
        if self.feed is not None:
            self.write_beside(self.feed.painter.erase())

    def on_resize(self, event: events.Resize) -> None:
        """Ask for pictures of the new size."""
        if self.feed is not None:
            self.feed.resize(event.size.height, event.size.width)
        self.refresh()

    def _terminal_answers(self) -> bool:
        return not self.app.is_headless and self.feed is not None and self.feed.wants_acknowledgement

    def _acknowledge(self) -> None:
        if self.feed is not None:
            self.feed.acknowledged()
