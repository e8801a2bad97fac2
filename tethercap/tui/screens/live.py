"""What every screen with a live picture shares: the feed, its colours and quality, and that it rests under a dialog."""

from typing import ClassVar

from textual.app import App
from textual.binding import BindingType

from tethercap.pictures import LiveFrame
from tethercap.tui.feed import LiveFeed
from tethercap.tui.overlay import Drawing, Ink
from tethercap.tui.quality import QualityLadder
from tethercap.tui.screens.picture import PictureScreen
from tethercap.tui.themes import ink_of
from tethercap.tui.widgets.cells_view import best_depth, painter_of
from tethercap.tui.widgets.live_view import LiveView

_RESTFUL_PER_S = 8.0


def _fastest_per_s(app: App[object]) -> float:
    preferences = getattr(app, "preferences", None)
    return _RESTFUL_PER_S if preferences is not None and preferences.reduced_motion else 30.0


class LiveScreen(PictureScreen):
    """A screen with a `LiveView`. Subclasses compose it with the id `view`."""

    BINDINGS: ClassVar[list[BindingType]] = []

    def __init__(self) -> None:
        super().__init__()
        self.feed: LiveFeed | None = None

    def start_feed(self) -> LiveFeed:
        """Begin to draw into the view."""
        view = self.query_one("#view", LiveView)
        painter = painter_of(self.app)
        ladder = QualityLadder(best_depth(self.app), painter.sizes, _fastest_per_s(self.app))
        feed = LiveFeed(view.deliver, ladder=ladder, ink=self._ink(), painter=painter)
        feed.wants_acknowledgement = True
        self.feed = feed
        view.take_feed(feed)
        feed.start()
        self.app.theme_changed_signal.subscribe(self, lambda _theme: self._recolour())
        return feed

    def offer(self, frame: LiveFrame, drawing: Drawing) -> None:
        """Show a live picture when the terminal is ready for one; from any thread."""
        if self.feed is not None:
            self.feed.offer(frame, drawing)

    def picture_acknowledged(self) -> None:
        """The terminal has shown the last picture."""
        if self.feed is not None:
            self.feed.acknowledged()

    def on_screen_suspend(self) -> None:
        """Rest while something else is in front."""
        if self.feed is not None:
            self.feed.pause(True)
        super().on_screen_suspend()

    def on_screen_resume(self) -> None:
        """Go on."""
        super().on_screen_resume()
        if self.feed is not None:
            self.feed.pause(False)

    def on_unmount(self) -> None:
        """End the picture thread."""
        if self.feed is not None:
            self.feed.stop()

    def _recolour(self) -> None:
        if self.feed is not None:
            self.feed.recolour(self._ink())

    def _ink(self) -> Ink:
        return ink_of(self.app.current_theme)
