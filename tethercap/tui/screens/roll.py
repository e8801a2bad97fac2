"""The roll screen: all frames on strips of film, what is known about each, and what to do with it."""

from collections.abc import Callable
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal
from textual.message import Message
from textual.screen import Screen
from textual.worker import get_current_worker

from tethercap.errors import TethercapError
from tethercap.pictures import U8Array
from tethercap.roll.folder import Roll
from tethercap.roll.names import FrameId
from tethercap.roll.setup import FrameNotes
from tethercap.roll.state import FrameStatus
from tethercap.tui.actions import Where, bindings_of
from tethercap.tui.lines import Line, Role, Span, ends, line, wrap
from tethercap.tui.pictures_of import picture_of
from tethercap.tui.roll_cards import SIGNS, FrameCard, Sieve, cards_of, fact_lines, retake_list, sifted
from tethercap.tui.screens.convert import ConvertScreen
from tethercap.tui.screens.frame import FrameScreen
from tethercap.tui.widgets.ask_row import AskRow
from tethercap.tui.widgets.bars import key_line
from tethercap.tui.widgets.film_grid import FilmGrid, Tile
from tethercap.tui.widgets.rows import Rows

_THUMB_PX = 160
_TONES = {
    FrameStatus.OPEN: "faint",
    FrameStatus.TAKEN: "tone-ready",
    FrameStatus.FORCED: "tone-hold",
    FrameStatus.HELD: "tone-trouble",
    FrameStatus.BLANK: "faint",
    FrameStatus.SKIPPED: "faint",
}


class RollScreen(Screen[None]):
    """Shows a roll that is open, and writes changes through it.

    Parameters
    ----------
    roll : Roll
        Open; the screen does not close it.
    """

    where = Where.ROLL
    BINDINGS: ClassVar[list[BindingType]] = bindings_of(Where.ROLL)

    class ThumbRead(Message):
        """A frame's small picture was read."""

        def __init__(self, key: str, pixels_bgr: U8Array | None) -> None:
            super().__init__()
            self.key, self.pixels_bgr = key, pixels_bgr

    def __init__(self, roll: Roll) -> None:
        super().__init__()
        self.roll = roll
        self.sieve = Sieve.ALL
        self.cards: list[FrameCard] = []
        self._negative = False

    def compose(self) -> ComposeResult:
        """Strips at the left, facts at the right."""
        yield Rows(id="top")
        with Horizontal(id="bench"):
            yield FilmGrid(id="grid")
            yield Rows(id="facts")
        yield AskRow(id="ask")
        yield Rows(id="said")
        yield Rows(id="keys")

    def on_mount(self) -> None:
        """Show what is known, then read pictures."""
        self.query_one(FilmGrid).focus()
        self.call_after_refresh(self.look_again)
        self.read_thumbs()

    def on_resize(self) -> None:
        """Lay out again once the parts have their sizes."""
        self.call_after_refresh(self._show)

    def on_screen_resume(self) -> None:
        """Come back from a frame, or from making positives."""
        self.look_again()

    # --- showing ---

    def look_again(self) -> None:
        """Read the roll's frames again."""
        self.cards = cards_of(self.roll)
        self._show()

    @property
    def marked(self) -> FrameCard | None:
        """The frame with the mark."""
        key = self.query_one(FilmGrid).key
        return next((card for card in self.cards if card.key == key), None)

    def _show(self) -> None:
        if not self.is_mounted or self.app.screen is not self:
            return
        shown = sifted(self.cards, self.sieve)
        grid = self.query_one(FilmGrid)
        grid.set_tiles([Tile(card.key, card.caption, _TONES[card.frame.status]) for card in shown])
        self._show_rows(len(shown))

    def _show_rows(self, shown: int) -> None:
        width = self.size.width
        setup = self.roll.setup
        film = f"   {setup.film_stock or setup.film_kind.value.replace('-', ' ')}, {setup.film_format}"
        left = line(" ", Span(f"roll {setup.id}", Role.STRONG), Span(film, Role.FAINT))
        right = line(f"{self.sieve.value}: {shown} of {len(self.cards)} ")
        self.query_one("#top", Rows).show([ends(left, right, width)])
        facts = self.query_one("#facts", Rows)
        card = self.marked
        known = fact_lines(card, facts.size.width) if card is not None else self._none_lines(facts.size.width)
        facts.show(known[: facts.size.height])
        self.query_one("#said", Rows).show([self._counts()])
        self.query_one("#keys", Rows).show([key_line(self.where, width, getattr(self.app, "keys", None))])

    def _none_lines(self, width: int) -> list[Line]:
        """What to say where no frame is shown."""
        text = "f shows others." if self.cards else "Nothing is captured yet."
        said = f"No frame: {self.sieve.value}. {text}"
        return [line(Span(f" {part}", Role.FAINT)) for part in wrap(said, max(12, width - 2))]

    def _counts(self) -> tuple[Span, ...]:
        parts: list[Span | str] = [" "]
        for status, (sign, role, word) in SIGNS.items():
            count = sum(card.frame.status is status for card in self.cards)
            if count:
                parts += [Span(f"{sign} ", role), Span(f"{count} {word}   ", Role.FAINT)]
        return line(*parts)

    @work(thread=True, exclusive=True, group="thumbs")
    def read_thumbs(self) -> None:
        """Read the frames' pictures one after the other, in a thread."""
        worker = get_current_worker()
        for card in cards_of(self.roll):
            if worker.is_cancelled:
                return
            picture = picture_of(card, _THUMB_PX, negative=self._negative)
            self.post_message(self.ThumbRead(card.key, picture))

    def on_roll_screen_thumb_read(self, message: "RollScreen.ThumbRead") -> None:
        """Show a picture."""
        self.query_one(FilmGrid).put_picture(message.key, message.pixels_bgr)

    def on_film_grid_chosen(self) -> None:
        """Show the facts of the frame that now has the mark."""
        self._show_rows(len(self.query_one(FilmGrid).tiles))

    # --- keys ---

    def _wanted(self) -> FrameCard | None:
        """The marked frame that a key is for; said where there is none."""
        card = self.marked
        if card is None:
            self.notify("No frame is marked.")
        return card

    def action_open_frame(self) -> None:
        """Open the marked frame large."""
        shown = [card for card in sifted(self.cards, self.sieve) if card.raw is not None]
        card = self._wanted()
        if card is not None and card.raw is None:
            self.notify(f"Frame {card.key} has no picture yet.")
        elif card is not None:
            self.app.push_screen(FrameScreen(shown, card.key))

    def action_next_take(self) -> None:
        """Let the next take stand for the frame."""
        card = self._wanted()
        if card is None:
            return
        if len(card.frame.takes) < 2 or card.shown_take is None:
            self.notify(f"Frame {card.key} has no other take.")
            return
        numbers = [take.number for take in card.frame.takes]
        following = numbers[(numbers.index(card.shown_take.number) + 1) % len(numbers)]
        self._do(lambda: self.roll.pick(card.key, following))
        self.read_thumbs()

    def action_sieve(self) -> None:
        """Show other frames."""
        sieves = list(Sieve)
        self.sieve = sieves[(sieves.index(self.sieve) + 1) % len(sieves)]
        self._show()

    def action_negative(self) -> None:
        """Show negatives or positives."""
        self._negative = not self._negative
        self.query_one(FilmGrid).pictures.clear()
        self.read_thumbs()

    def action_roll_blank(self) -> None:
        """Ask whether the frame is blank."""
        card = self._wanted()
        if card is not None:
            ask = self.query_one(AskRow)
            ask.ask_yes(
                f"Note frame {card.key} as blank?", then=lambda: self._do(lambda: self.roll.mark_blank(card.key))
            )

    def action_roll_skip(self) -> None:
        """Ask why the frame is left out."""
        card = self._wanted()
        if card is not None:
            self._ask(f"Leave out frame {card.key}: why?", "not wanted", lambda why: self.roll.skip(card.key, why))

    def action_reopen(self) -> None:
        """Take back blank or left out."""
        card = self._wanted()
        if card is not None and card.frame.status not in (FrameStatus.BLANK, FrameStatus.SKIPPED):
            self.notify(f"Frame {card.key} is neither blank nor left out.")
        elif card is not None:
            self._do(lambda: self.roll.reopen(card.key))

    def action_renumber(self) -> None:
        """Ask for another number."""
        card = self._wanted()
        if card is not None:
            frame_id = card.frame.frame_id
            self._ask(
                f"Which number is frame {card.key} really?",
                card.key,
                lambda text: self.roll.renumber({frame_id: FrameId.parse(text)}),
            )

    def action_note(self) -> None:
        """Ask for a note."""
        card = self._wanted()
        if card is not None:
            self._ask(
                f"Note about frame {card.key}:",
                next((each.notes for each in self.roll.setup.frames if str(each.which) == card.key), ""),
                lambda text: self.roll.change_setup(frames=[FrameNotes(which=card.key, notes=text)]),
            )

    def action_to_convert(self) -> None:
        """Turn the recipe."""
        card = self.marked
        try:
            self.app.push_screen(ConvertScreen(self.roll, first=card.key if card is not None else ""))
        except TethercapError as error:
            self.notify(str(error), severity="error", timeout=15)

    def action_retake_list(self) -> None:
        """List what is to be taken again."""
        self.notify(f"To take again: {retake_list(self.cards)}", timeout=15)

    def _ask(self, question: str, proposal: str, then: Callable[[str], None]) -> None:
        def answered(text: str) -> str | None:
            try:
                then(text)
            except TethercapError as error:
                return str(error)
            self.look_again()
            return None

        self.query_one(AskRow).ask_text(question, proposal=proposal, answer=answered)

    def _do(self, change: Callable[[], None]) -> None:
        try:
            change()
        except TethercapError as error:
            self.notify(str(error), severity="error", timeout=15)
        self.look_again()
        self.query_one(FilmGrid).focus()
