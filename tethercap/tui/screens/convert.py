"""The convert screen: the recipe turned on a frame, its positive shown at once; then the whole roll."""

from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal
from textual.message import Message
from textual.worker import get_current_worker

from tethercap.batch.together import FrameLook
from tethercap.convert.recipe import Recipe
from tethercap.errors import TethercapError
from tethercap.pictures import U8Array
from tethercap.roll.folder import Roll
from tethercap.tui.actions import Where, bindings_of
from tethercap.tui.convert_queue import ConvertQueue, QueueState
from tethercap.tui.convert_view import progress_line, scope_line
from tethercap.tui.lines import Role, Span, ends, line
from tethercap.tui.quick_look import QuickFrame, looks_of_roll, open_quick
from tethercap.tui.recipe_desk import RecipeDesk, Scope
from tethercap.tui.recipe_dial import KNOBS, knob_line
from tethercap.tui.roll_cards import FrameCard, cards_of
from tethercap.tui.screens.picture import PictureScreen, no_further
from tethercap.tui.widgets.ask_row import AskRow
from tethercap.tui.widgets.bars import key_line
from tethercap.tui.widgets.cells_view import painter_of, still_depth
from tethercap.tui.widgets.pick_list import Entry, PickList
from tethercap.tui.widgets.rows import Rows
from tethercap.tui.widgets.still_view import StillView


class _Left(Exception):  # noqa: N818 - not an error: the screen was left
    """Nobody waits for the looks any more."""


_KEPT_AFTER_S = 0.8
"""A recipe that rests this long is kept on the disk."""


class ConvertScreen(PictureScreen):
    """Turns the recipes of a roll on one frame at a time, keeps them in the roll, and converts the roll.

    Parameters
    ----------
    roll : Roll
        Open; positives are put into it.
    first : str
        Number of the frame to begin with; the first one if left out.
    """

    where = Where.CONVERT
    BINDINGS: ClassVar[list[BindingType]] = bindings_of(Where.CONVERT)

    class Looked(Message):
        """A quick look was made, or could not be made."""

        def __init__(self, key: str, recipe: Recipe, pixels_bgr: U8Array | None, said: str) -> None:
            super().__init__()
            self.key, self.recipe, self.pixels_bgr, self.said = key, recipe, pixels_bgr, said

    class RollLooked(Message):
        """One more frame of the roll was looked at, or, with looks, all of them."""

        def __init__(self, looks: dict[str, FrameLook] | None = None, trouble: str = "") -> None:
            super().__init__()
            self.looks, self.trouble = looks, trouble

    class QueueMoved(Message):
        """The queue got on."""

    def __init__(self, roll: Roll, *, first: str = "") -> None:
        super().__init__()
        self.roll = roll
        self.desk = RecipeDesk(roll.path, roll.setup.mirrored)
        self.cards: list[FrameCard] = []
        self.place = 0
        self.said = ""
        self.trouble = ""
        self.queue = ConvertQueue(roll, lambda state: self._on_queue(state))
        self._first = first
        self._opened: QuickFrame | None = None
        self._cannot_show = ""
        """Key of the frame in view, where it cannot be shown."""
        self._looks: dict[str, FrameLook] = {}
        """Frame number -> what the frame gets of its roll."""
        self._roll_looked = 0
        self._roll_is_known = False
        self._waits = False

    def compose(self) -> ComposeResult:
        """Positive at the left, recipe at the right."""
        yield Rows(id="top")
        with Horizontal(id="bench"):
            yield StillView(id="still")
            yield PickList(id="recipe", on_step=self._step)
        yield AskRow(id="ask")
        yield Rows(id="said")
        yield Rows(id="keys")

    def on_mount(self) -> None:
        """Show the first frame."""
        self.cards = [card for card in cards_of(self.roll) if card.raw is not None]
        self.place = next((place for place, card in enumerate(self.cards) if card.key == self._first), 0)
        self._at_frame()
        self.query_one(PickList).focus()
        self.call_after_refresh(self.show)
        self.call_after_refresh(self.look)
        self.look_at_whole_roll()

    def on_unmount(self) -> None:
        """End the queue after the frame under way."""
        self.queue.stop()

    def on_resize(self) -> None:
        """Lay out again once the parts have their sizes."""
        self.call_after_refresh(self.show)

    def _on_queue(self, state: QueueState) -> None:
        self.post_message(self.QueueMoved())

    # --- the quick look ---

    @property
    def card(self) -> FrameCard | None:
        """The frame looked at."""
        return self.cards[self.place] if self.cards else None

    @property
    def recipe(self) -> Recipe:
        """The recipe that is turned."""
        return self.desk.recipe

    def _at_frame(self) -> None:
        card = self.card
        if card is not None and card.shown_take is not None:
            self.desk.look_at(card.key, mirrored=card.shown_take.filed.mirrored)

    def look(self) -> None:
        """Make a quick look with the present recipe; while one is being made, only the newest wish waits."""
        if self._waits or self.card is None:
            return
        self._waits = True
        view = self.query_one(StillView)
        canvas = painter_of(self.app).canvas(max(view.size.height, 1), max(view.size.width, 1), still_depth(self.app))
        self.make_look(self.card, self.desk.recipe, round(1.3 * max(canvas.width_px, canvas.height_px)))

    @work(thread=True, group="look")
    def make_look(self, card: FrameCard, recipe: Recipe, long_side_px: int) -> None:
        """Open the RAW if it is another one, and print it; in a thread."""
        try:
            opened = self._opened
            if opened is None or opened.key != card.key:
                opened = self._opened = open_quick(self.roll, card, long_side_px)
            opened.give_look(self._looks.get(card.key))
            pixels, warnings = opened.look(recipe), opened.warnings_for(recipe)
            self.post_message(self.Looked(card.key, recipe, pixels, " ".join(warnings)))
        except (TethercapError, OSError) as error:
            self.post_message(self.Looked(card.key, recipe, None, str(error)))

    @work(thread=True, group="roll look")
    def look_at_whole_roll(self) -> None:
        """Find what the frames share, so that looks are what the positives will be; in a thread."""
        worker = get_current_worker()

        def one_more() -> None:
            if worker.is_cancelled:
                raise _Left
            self.post_message(self.RollLooked())

        try:
            self.post_message(self.RollLooked(looks_of_roll(self.roll, one_more)))
        except _Left:
            return
        except (TethercapError, OSError) as error:
            self.post_message(self.RollLooked({}, f"The roll cannot be looked at as one: {error}"))

    def on_convert_screen_roll_looked(self, message: "ConvertScreen.RollLooked") -> None:
        """Say how far looking at the roll is; at its end show the frame with the roll's look."""
        if message.looks is None:
            self._roll_looked += 1
        else:
            self._looks, self.trouble = message.looks, message.trouble
            self._roll_is_known = True
            self.look()
        self.show()

    def on_convert_screen_looked(self, message: "ConvertScreen.Looked") -> None:
        """Show the look, and make another where recipe or frame changed meanwhile."""
        self._waits = False
        self.said = message.said
        # Where there is none, another frame's picture must not stand for it.
        self.query_one(StillView).show_picture(message.pixels_bgr, keep_window=True)
        self._cannot_show = message.key if message.pixels_bgr is None else ""
        card = self.card
        if card is not None and (message.key != card.key or message.recipe != self.desk.recipe):
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
        is_open = self._opened is not None and card is not None and self._opened.key == card.key
        opening = card is not None and not is_open and card.key != self._cannot_show
        state = "opening …   " if opening else self._state_of_roll()
        right = line(Span(state, Role.BUSY), Span(f"{self.place + 1} of {len(self.cards)} ", Role.FAINT))
        self.query_one("#top", Rows).show([ends(left, right, width)])
        picks = self.query_one(PickList)
        knobs = [Entry(knob_line(knob, self.desk.recipe, picks.size.width), knob.key) for knob in KNOBS]
        picks.set_entries([Entry(()), Entry(scope_line(self.desk)), *knobs])
        self.query_one("#said", Rows).show([progress_line(self.queue.state, self.desk, self._words(), width)])
        self.query_one("#keys", Rows).show([key_line(self.where, width, getattr(self.app, "keys", None))])

    def _state_of_roll(self) -> str:
        """How far looking at the roll is: until then a look is of the frame alone."""
        if self._roll_is_known or not self.cards:
            return ""
        return f"as this frame alone; looking at the roll {self._roll_looked} of {len(self.cards)}   "

    def _words(self) -> tuple[str, bool]:
        """What else to say, and whether it is bad."""
        return (self.trouble, True) if self.trouble else (self.said, False)

    def _turned(self) -> None:
        self.trouble = ""
        self.queue.forget()  # what it made is not as the recipe says any more
        self.set_timer(_KEPT_AFTER_S, self.keep)
        self.show()
        self.look()

    def keep(self) -> bool:
        """Keep the recipe in the roll; False, and said, where the disk refuses."""
        if self.desk.is_stored:
            return True
        try:
            self.desk.store()
        except TethercapError as error:
            self.trouble = str(error)
        self.show()
        return self.desk.is_stored

    # --- keys ---

    def _step(self, key: str, step: int) -> None:
        """Turn a knob."""
        knob = next(knob for knob in KNOBS if knob.key == key)
        self.desk.turn(knob.turn(self.desk.recipe, step))
        self._turned()

    def action_recipe_scope(self) -> None:
        """Turn the whole roll's recipe, or this frame's."""
        self.desk.scope = Scope.FRAME if self.desk.scope is Scope.ROLL else Scope.ROLL
        self.show()
        self.look()

    def action_recipe_undo(self) -> None:
        """Take the last turn back."""
        if not self.desk.undo():
            self.notify("Nothing was turned since this screen was opened.")
            return
        self.place = next((place for place, card in enumerate(self.cards) if card.key == self.desk.frame), self.place)
        self._turned()

    def action_convert_next(self) -> None:
        """Look at the next frame."""
        self._go(1)

    def action_convert_before(self) -> None:
        """Look at the frame before."""
        self._go(-1)

    def _go(self, step: int) -> None:
        place = self.place + step
        if not 0 <= place < len(self.cards):
            self.notify(no_further(step))
        elif self.keep():
            self.place = place
            self._at_frame()
            self.show()
            self.look()

    def action_recipe_reset(self) -> None:
        """Go back to the plain recipe."""
        self.desk.reset()
        self._turned()

    def action_convert_roll(self) -> None:
        """Ask, then convert all frames, each with its recipe."""
        frames = sum(card.frame.chosen is not None for card in self.cards)
        if self.queue.state.is_running:
            self.notify("Positives are being made already; q asks whether to stop.")
            return
        if not frames:
            self.notify("No frame has a picture that stands for it, so there is nothing to make.")
            return
        if not self.keep():
            return
        question = f"Make all positives anew, {frames}? Changed ones are kept."
        self.query_one(AskRow).ask_yes(question, then=self._start)

    def _start(self) -> None:
        self.queue.start()
        self.query_one(PickList).focus()

    def on_convert_screen_queue_moved(self) -> None:
        """Show how far the queue is."""
        self.show()

    def leave(self) -> None:
        """Go back; a running queue, and a recipe that could not be kept, are asked about."""
        if self.queue.state.is_running:
            self.query_one(AskRow).ask_yes("Positives are being made. Stop after this one?", then=self._go_back)
        elif not self.keep():
            self.query_one(AskRow).ask_yes("The recipe could not be kept. Leave without it?", then=self._go_back)
        else:
            self._go_back()

    def _go_back(self) -> None:
        if len(self.app.screen_stack) > 2:
            self.app.pop_screen()
        else:
            self.app.exit(0)
