"""The convert screen: the recipe turned on a frame, its positive shown at once; then the whole roll."""

from dataclasses import dataclass
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal
from textual.message import Message

from tethercap.batch.find_frame import find_frame
from tethercap.convert.recipe import Recipe
from tethercap.errors import TethercapError, UnreadablePictureError
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx
from tethercap.image_files.raw import read_raw
from tethercap.pictures import RawPicture, U8Array
from tethercap.roll.folder import Roll
from tethercap.tui.actions import Where, bindings_of
from tethercap.tui.convert_queue import ConvertQueue, QueueState, corners_of
from tethercap.tui.lines import Line, Role, Span, bar, ends, line
from tethercap.tui.recipe_dial import KNOBS, knob_line, quick_look, thinned
from tethercap.tui.roll_cards import FrameCard, cards_of
from tethercap.tui.screens.picture import PictureScreen
from tethercap.tui.widgets.ask_row import AskRow
from tethercap.tui.widgets.bars import key_line
from tethercap.tui.widgets.panel import duration_text
from tethercap.tui.widgets.pick_list import Entry, PickList
from tethercap.tui.widgets.rows import Rows
from tethercap.tui.widgets.still_view import StillView

_LOOK_CELLS = 360
"""Cells along the longer side that a quick look keeps: enough for the screen, a tenth of a second of work."""


@dataclass(frozen=True, slots=True, eq=False)
class Thinned:
    """A frame opened for quick looks."""

    key: str
    raw: RawPicture
    corners: QuadPx | None
    """In pixels of the thinned mosaic."""


def open_thinned(card: FrameCard, film_kind: FilmKind) -> Thinned:
    """Open a frame's RAW and thin it; its corners are those of the check, else looked for.

    Raises
    ------
    PictureError
    """
    if card.raw is None:
        raise UnreadablePictureError(f"Frame {card.key} has no picture.")
    raw = read_raw(card.raw)
    corners = corners_of(card) or find_frame(raw, film_kind)
    step = max(1, max(raw.mosaic.shape) // 2 // _LOOK_CELLS)
    return Thinned(card.key, thinned(raw, step), corners.scaled(1 / step) if corners is not None else None)


class ConvertScreen(PictureScreen):
    """Turns a recipe on one frame of a roll and applies it to all.

    Parameters
    ----------
    roll : Roll
        Open; positives are noted in it.
    recipe : Recipe, optional
        To begin with.
    """

    where = Where.CONVERT
    BINDINGS: ClassVar[list[BindingType]] = bindings_of(Where.CONVERT)

    class Looked(Message):
        """A quick look was made, or could not be made."""

        def __init__(self, key: str, recipe: Recipe, pixels_bgr: U8Array | None, said: str) -> None:
            super().__init__()
            self.key, self.recipe, self.pixels_bgr, self.said = key, recipe, pixels_bgr, said

    class QueueMoved(Message):
        """The queue got on."""

        def __init__(self, state: QueueState) -> None:
            super().__init__()
            self.state = state

    def __init__(self, roll: Roll, recipe: Recipe | None = None) -> None:
        super().__init__()
        self.roll = roll
        self.recipe = recipe or Recipe(mirrored=roll.setup.mirrored)
        self.cards: list[FrameCard] = []
        self.place = 0
        self.said = ""
        self.queue = ConvertQueue(roll, lambda state: self._on_queue(state))
        self._opened: Thinned | None = None
        self._waits = False

    def compose(self) -> ComposeResult:
        """Positive at the left, recipe at the right."""
        yield Rows(id="top")
        with Horizontal(id="bench"):
            yield StillView(id="still")
            yield PickList(id="recipe")
        yield AskRow(id="ask")
        yield Rows(id="said")
        yield Rows(id="keys")

    def on_mount(self) -> None:
        """Show the first frame."""
        self.cards = [card for card in cards_of(self.roll) if card.raw is not None]
        self.query_one(PickList).focus()
        self.call_after_refresh(self.show)
        self.look()

    def on_unmount(self) -> None:
        """End the queue after the frame under way."""
        self.queue.stop()

    def on_resize(self) -> None:
        """Lay out again once the parts have their sizes."""
        self.call_after_refresh(self.show)

    def _on_queue(self, state: QueueState) -> None:
        self.post_message(self.QueueMoved(state))

    # --- the quick look ---

    @property
    def card(self) -> FrameCard | None:
        """The frame looked at."""
        return self.cards[self.place] if self.cards else None

    def look(self) -> None:
        """Make a quick look with the present recipe; while one is being made, only the newest wish waits."""
        if self._waits or self.card is None:
            return
        self._waits = True
        self.make_look(self.card, self.recipe)

    @work(thread=True, group="look")
    def make_look(self, card: FrameCard, recipe: Recipe) -> None:
        """Open the RAW if it is another one, and convert a thinned copy; in a thread."""
        try:
            pixels, warnings = self._convert(card, recipe)
            self.post_message(self.Looked(card.key, recipe, pixels, " ".join(warnings)))
        except (TethercapError, OSError) as error:
            self.post_message(self.Looked(card.key, recipe, None, str(error)))

    def _convert(self, card: FrameCard, recipe: Recipe) -> tuple[U8Array, tuple[str, ...]]:
        if self._opened is None or self._opened.key != card.key:
            self._opened = open_thinned(card, self.roll.setup.film_kind)
        return quick_look(self._opened.raw, recipe, self._opened.corners, self.roll.setup.film_kind)

    def on_convert_screen_looked(self, message: "ConvertScreen.Looked") -> None:
        """Show the look, and make another where recipe or frame changed meanwhile."""
        self._waits = False
        self.said = message.said
        if message.pixels_bgr is not None:
            self.query_one(StillView).show_picture(message.pixels_bgr, keep_window=True)
        card = self.card
        if card is not None and (message.key != card.key or message.recipe != self.recipe):
            self.look()
        self.show()

    # --- showing ---

    def show(self) -> None:
        """Show everything."""
        if not self.is_mounted or self.app.screen is not self:
            return
        width = self.size.width
        card = self.card
        frame = f"frame {card.key}" if card is not None else "no pictures yet"
        left = line(" ", Span(f"roll {self.roll.setup.id}", Role.STRONG), Span("   recipe on ", Role.FAINT), frame)
        right = line(Span("looking … " if self._waits else f"{self.place + 1} of {len(self.cards)} ", Role.FAINT))
        self.query_one("#top", Rows).show([ends(left, right, width)])
        picks = self.query_one(PickList)
        picks.set_entries(
            [
                Entry(()),
                Entry((Span("recipe", Role.HEADING),)),
                *(Entry(knob_line(knob, self.recipe, picks.size.width), knob.key) for knob in KNOBS),
            ]
        )
        self.query_one("#said", Rows).show([self._progress(width)])
        self.query_one("#keys", Rows).show([key_line(self.where, width, getattr(self.app, "keys", None))])

    def _progress(self, width: int) -> Line:
        state = self.queue.state
        if state.is_running:
            left = f", {duration_text(state.seconds_left)} left" if state.seconds_left is not None else ""
            done = Span(bar(state.done / max(state.total, 1), max(10, width // 3)), Role.BUSY)
            return line(" ", done, f" {state.done} of {state.total}, frame {state.now}", Span(left, Role.FAINT))
        if state.failures:
            return line(Span(f" ! {len(state.failures)} not converted: {state.failures[0]}", Role.BAD))
        if state.total:
            return line(Span(f" ✓ {state.done} positives made", Role.GOOD))
        return line(Span(f" {self.said or '← → turn what is marked, the picture follows'}", Role.FAINT))

    # --- keys ---

    def on_pick_list_stepped(self, message: PickList.Stepped) -> None:
        """Turn a knob."""
        knob = next(knob for knob in KNOBS if knob.key == message.key)
        self.recipe = knob.turn(self.recipe, message.step)
        self.show()
        self.look()

    def action_convert_next(self) -> None:
        """Look at the next frame."""
        self._go(1)

    def action_convert_before(self) -> None:
        """Look at the frame before."""
        self._go(-1)

    def _go(self, step: int) -> None:
        if self.cards:
            self.place = min(max(self.place + step, 0), len(self.cards) - 1)
            self.show()
            self.look()

    def action_recipe_reset(self) -> None:
        """Go back to the plain recipe."""
        self.recipe = Recipe(mirrored=self.roll.setup.mirrored)
        self.show()
        self.look()

    def action_convert_roll(self) -> None:
        """Ask, then convert all frames with this recipe."""
        question = f"Make {len(self.cards)} positives with this recipe? Those that are there are made anew."
        self.query_one(AskRow).ask_yes(question, then=self._start)

    def _start(self) -> None:
        self.queue.start(self.cards, self.recipe)
        self.query_one(PickList).focus()

    def on_convert_screen_queue_moved(self) -> None:
        """Show how far the queue is."""
        self.show()

    def leave(self) -> None:
        """Go back; a running queue is asked about."""
        if self.queue.state.is_running:
            self.query_one(AskRow).ask_yes("Positives are being made. Stop after this one?", then=self._go_back)
        else:
            self._go_back()

    def _go_back(self) -> None:
        if len(self.app.screen_stack) > 2:
            self.app.pop_screen()
        else:
            self.app.exit(0)
