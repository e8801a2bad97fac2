"""What every screen with pictures shares: pixels are taken off the terminal while another screen is in front."""

from typing import ClassVar

from textual.binding import BindingType
from textual.screen import Screen

from tethercap.tui.widgets.cells_view import CellsView
from tethercap.tui.widgets.still_view import StillView


def no_further(step: int) -> str:
    """What to say where frames are gone through and there is no other in that direction."""
    return "This is the last frame." if step > 0 else "This is the first frame."


class PictureScreen(Screen[None]):
    """A screen that shows pictures."""

    BINDINGS: ClassVar[list[BindingType]] = []

    def on_screen_suspend(self) -> None:
        """Take pixels away."""
        for view in self.query(CellsView):
            view.rest()

    def on_screen_resume(self) -> None:
        """Show them again."""
        for view in self.query(StillView):
            view.draw()
