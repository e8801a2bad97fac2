"""The start screen: cameras, rolls to go on with, a new roll, the demonstration."""

import time
from pathlib import Path
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.message import Message
from textual.screen import Screen
from textual.worker import get_current_worker

from tethercap.camera.base import CameraIdentity
from tethercap.errors import RollNameError, TethercapError
from tethercap.pictures import U8Array
from tethercap.tui.actions import Where, bindings_of
from tethercap.tui.big_letters import big_rows
from tethercap.tui.lines import Line, Role, Span, bar, line
from tethercap.tui.pictures_of import picture_of
from tethercap.tui.roll_cards import FrameCard
from tethercap.tui.start_view import Choice, NewRoll, RollSummary, StartServices, peek_cards, when_text
from tethercap.tui.widgets.ask_row import AskRow
from tethercap.tui.widgets.bars import key_line
from tethercap.tui.widgets.film_grid import FilmGrid, Tile
from tethercap.tui.widgets.pick_list import Entry, PickList
from tethercap.tui.widgets.rows import Rows

_PEEK_FRAMES = 18
"""Newest frames of the marked roll that are shown."""
_PEEK_PX = 160


class StartScreen(Screen[None]):
    """Lets the person choose what to do; the program ends with that `Choice`.

    Parameters
    ----------
    services : StartServices
    folder : Path
        Where new rolls are made.
    """

    where = Where.START
    BINDINGS: ClassVar[list[BindingType]] = bindings_of(Where.START)

    class Looked(Message):
        """Cameras and rolls were looked for."""

        def __init__(self, cameras: list[CameraIdentity], rolls: list[RollSummary], trouble: str) -> None:
            super().__init__()
            self.cameras, self.rolls, self.trouble = cameras, rolls, trouble

    class Decided(Message):
        """The person knows what to do."""

        def __init__(self, choice: Choice) -> None:
            super().__init__()
            self.choice = choice

    class Peeked(Message):
        """Frames of the marked roll were read, or the picture of one of them."""

        def __init__(self, path: Path, cards: list[FrameCard], key: str | None, pixels_bgr: U8Array | None) -> None:
            super().__init__()
            self.path, self.cards, self.key, self.pixels_bgr = path, cards, key, pixels_bgr

    def __init__(self, services: StartServices, folder: Path) -> None:
        super().__init__()
        self.services, self.folder = services, folder
        self.found: StartScreen.Looked | None = None
        self.form: NewRoll | None = None
        """The form of a new roll while it is filled in."""
        self.port: str | None = None
        self._peeked = ""
        """Folder of the roll whose frames are shown."""

    def compose(self) -> ComposeResult:
        """One list; the form takes its place."""
        yield Rows(id="top")
        yield Rows(id="brand")
        yield PickList(id="list", on_step=self._step)
        yield FilmGrid(id="peek")
        yield AskRow(id="ask")
        yield Rows(id="said")
        yield Rows(id="keys")

    def on_mount(self) -> None:
        """Look for cameras and rolls."""
        self.query_one(PickList).focus()
        self.call_after_refresh(self.show)
        self.look()

    def on_resize(self) -> None:
        """Lay out again once the parts have their sizes."""
        self.call_after_refresh(self.show)

    @work(thread=True, exclusive=True, group="look")
    def look(self) -> None:
        """Look for rolls, then for cameras, in a thread."""
        rolls = self.services.rolls()
        cameras: list[CameraIdentity] = []
        trouble = ""
        try:
            cameras = self.services.cameras()
        except TethercapError as error:
            trouble = str(error)
        self.post_message(self.Looked(cameras, rolls, trouble))

    def on_start_screen_looked(self, message: "StartScreen.Looked") -> None:
        """Show what was found."""
        if self.found is None and self.form is None:
            self.query_one(PickList).put_mark(f"roll {message.rolls[0].path}" if message.rolls else "new")
        self.found = message
        if len(message.cameras) == 1:
            self.port = message.cameras[0].port
        self.show()

    # --- showing ---

    def show(self) -> None:
        """Show the list, or the form."""
        if not self.is_mounted or self.app.screen is not self:
            return
        self.query_one("#top", Rows).show(
            [line(" ", Span("tethercap", Role.STRONG), Span(f"   {self.folder}", Role.FAINT))]
        )
        self.query_one("#brand", Rows).show(_brand())
        picks = self.query_one(PickList)
        entries = self._form_entries(self.form) if self.form is not None else self._entries()
        picks.styles.height = max(len(entries) + 1, 1)
        picks.set_entries(entries)
        self._peek(picks.key)
        self.query_one("#said", Rows).show([self._advice(picks.key)])
        self.query_one("#keys", Rows).show([key_line(self.where, self.size.width, getattr(self.app, "keys", None))])

    def _entries(self) -> list[Entry]:
        entries = [Entry(()), _heading("camera"), *self._camera_entries()]
        entries += [Entry(()), _heading("roll"), *self._roll_entries()]
        entries.append(Entry((Span("+ a new roll …", Role.PLAIN),), "new"))
        entries += [Entry(()), _heading("no film at hand?")]
        entries.append(Entry((Span("see the whole job on a simulated camera and invented film"),), "demo"))
        return entries

    def _camera_entries(self) -> list[Entry]:
        found = self.found
        if found is None:
            return [Entry(line(Span("looking for cameras …", Role.BUSY)))]
        if found.trouble:
            return [Entry(line(Span("! ", Role.BAD), found.trouble)), Entry((Span("look again"),), "look")]
        if not found.cameras:
            asked = "none found: is it on, is its cable in? Some need a menu set for a computer;"
            return [
                Entry(line(Span("! ", Role.CAUTION), asked)),
                Entry(line("  `tethercap doctor` says what stands in the way.")),
                Entry((Span("look again"),), "look"),
            ]
        return [
            Entry(_camera_line(camera, chosen=camera.port == self.port), f"camera {camera.port}")
            for camera in found.cameras
        ]

    def _roll_entries(self) -> list[Entry]:
        if self.found is None:
            return [Entry(line(Span("looking for rolls …", Role.BUSY)))]
        now_s = time.time()
        return [Entry(_roll_line(roll, now_s, self.size.width), f"roll {roll.path}") for roll in self.found.rolls]

    def _form_entries(self, form: NewRoll) -> list[Entry]:
        entries = [Entry(()), _heading("a new roll")]
        for key, label, value, meaning in form.rows():
            entries.append(
                Entry(line(Span(f"{label:<11}", Role.FAINT), f"{value:<34}", Span(meaning, Role.FAINT)), f"form {key}")
            )
        entries += [Entry(()), Entry((Span("begin this roll"),), "begin"), Entry((Span("back"),), "back")]
        return entries

    def _advice(self, key: str) -> Line:
        if key.startswith("form "):
            return line(Span(" ← → change a choice, enter types a text", Role.FAINT))
        kind = key.partition(" ")[0]
        said = {
            "camera": "enter uses this camera",
            "roll": "enter goes on with this roll, o looks at it",
            "new": "enter opens the form of a new roll",
            "demo": "enter starts it; nothing is needed but this computer",
            "look": "enter looks again",
            "begin": "enter makes the folder and opens the camera",
        }
        return line(Span(f" {said.get(kind, '')}", Role.FAINT))

    # --- choosing ---

    def on_pick_list_moved(self) -> None:
        """Say what Enter does, and show the roll that is marked."""
        key = self.query_one(PickList).key
        self.query_one("#said", Rows).show([self._advice(key)])
        self._peek(key)

    # --- the marked roll as film ---

    def _peek(self, key: str) -> None:
        """Show the marked roll's newest strips in the room that is left."""
        kind, _, value = key.partition(" ")
        film = self.query_one("#peek", FilmGrid)
        film.can_focus = False
        if kind != "roll" or self.form is not None:
            self._peeked = ""
            film.set_tiles([])
        elif value != self._peeked:
            self._peeked = value
            film.pictures.clear()
            film.set_tiles([])
            self.read_peek(Path(value))

    @work(thread=True, exclusive=True, group="peek")
    def read_peek(self, path: Path) -> None:
        """Read the roll's record and its small positives, in a thread."""
        worker = get_current_worker()
        cards = peek_cards(path)[-_PEEK_FRAMES:]
        self.post_message(self.Peeked(path, cards, None, None))
        for card in cards:
            if worker.is_cancelled:
                return
            if card.proof is not None:
                self.post_message(self.Peeked(path, cards, card.key, picture_of(card, _PEEK_PX)))

    def on_start_screen_peeked(self, message: "StartScreen.Peeked") -> None:
        """Show what was read, unless another roll is marked by now."""
        if str(message.path) != self._peeked:
            return
        film = self.query_one("#peek", FilmGrid)
        if message.key is None:
            film.set_tiles([Tile(card.key, card.caption, "faint") for card in message.cards])
            film.show_mark = False
        else:
            film.put_picture(message.key, message.pixels_bgr)

    def _step(self, key: str, step: int) -> None:
        """Change a choice of the form."""
        if self.form is not None and key.startswith("form "):
            self.form = self.form.stepped(key.removeprefix("form "), step)
            self.show()

    def on_pick_list_picked(self, message: PickList.Picked) -> None:
        """Do what was chosen."""
        kind, _, value = message.key.partition(" ")
        match kind:
            case "camera":
                self.port = value
            case "look":
                self.found = None
                self.look()
            case "roll" if self._has_camera("o looks at the roll without one"):
                self._end(Choice("capture", Path(value), port=self.port))
            case "new":
                self.form = NewRoll()
            case "demo":
                self._end(Choice("demo"))
            case "form":
                self._type(value)
            case "begin":
                if self._has_camera("the form stays as it is"):
                    self._begin()
            case "roll":
                pass
            case _:
                self.form = None
        self.show()

    def _has_camera(self, otherwise: str) -> bool:
        """Whether there is a camera to begin with; says so where there is none, and stays."""
        found = self.found
        if found is None or found.cameras:
            return True
        self.notify(f"No camera is here yet: connect it, then press r. Meanwhile {otherwise}.", timeout=8)
        return False

    def _type(self, key: str) -> None:
        form = self.form
        text = form.text_of(key) if form is not None else None
        if form is None or text is None:
            if form is not None:
                self.form = form.stepped(key, 1)
            return

        def answered(typed: str) -> str | None:
            try:
                self.form = form.typed(key, typed)
            except RollNameError as error:
                return str(error)
            self.call_after_refresh(self._back_to_list)
            return None

        label = next(label for row_key, label, _, _ in form.rows() if row_key == key)
        self.query_one(AskRow).ask_text(f"{label}:", proposal=text, answer=answered)

    def _back_to_list(self) -> None:
        self.query_one(PickList).focus()
        self.show()

    def _begin(self) -> None:
        if self.form is None:
            return
        try:
            setup = self.form.setup()
        except RollNameError as error:
            self.notify(str(error), severity="warning", timeout=8)
            self.query_one(PickList).put_mark("form roll_id")
            return
        self._end(Choice("capture", self.folder / setup.id, setup, self.port))

    def _end(self, choice: Choice) -> None:
        self.post_message(self.Decided(choice))

    # --- keys ---

    def action_look_at_roll(self) -> None:
        """Look at the marked roll instead of going on with it."""
        kind, _, value = self.query_one(PickList).key.partition(" ")
        if kind == "roll":
            self._end(Choice("look", Path(value)))

    def action_look_again(self) -> None:
        """Look for cameras and rolls again."""
        self.found = None
        self.show()
        self.look()

    def leave(self) -> None:
        """Leave the form, or the program."""
        if self.form is not None:
            self.form = None
            self.show()
        else:
            self.app.exit(0)


def _brand() -> list[Line]:
    """The name on a piece of film."""
    letters = big_rows("TETHERCAP")
    holes = " ▆" * (len(letters[0]) // 2 + 2)
    edge: Line = (Span(" "), Span(holes, Role.FAINT))
    return [edge, *((Span("  "), Span(row, Role.ACCENT)) for row in letters), edge]


def _heading(text: str) -> Entry:
    return Entry((Span(text, Role.HEADING),))


def _camera_line(camera: CameraIdentity, *, chosen: bool) -> Line:
    name = " ".join(part for part in (camera.make, camera.model) if part) or "camera"
    sign = Span("● ", Role.GOOD) if chosen else Span("○ ", Role.FAINT)
    serial = f"   no. {camera.serial}" if camera.serial else ""
    return line(sign, f"{name:<34}", Span(f"{camera.port}{serial}", Role.FAINT))


def _roll_line(roll: RollSummary, now_s: float, width: int) -> Line:
    share = roll.done / roll.expected if roll.expected else 0.0
    count = f"{roll.done} of {roll.expected}" if roll.expected else f"{roll.done} frames"
    if roll.is_whole:
        state = Span("✓ whole".ljust(14), Role.GOOD)
    else:
        state = Span(f"go on at {roll.next_frame}".ljust(14), Role.ACCENT)
    held = Span(f"! {roll.held} again  ", Role.BAD) if roll.held else Span("")
    when = Span(when_text(roll.changed_at_s, now_s), Role.FAINT)
    name, film = f"{roll.roll_id:<17} ", Span(f"{roll.film[:19]:<20}" if width >= 100 else "", Role.FAINT)
    return line(name, film, *bar(share, 8, Role.ACCENT), f" {count:<9} ", state, held, when)
