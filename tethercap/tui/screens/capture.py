"""The capture screen: the live picture, the verdict, the figures, the roll."""

import threading
from collections.abc import Callable
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.message import Message

from tethercap.errors import RollNameError, TethercapError
from tethercap.pictures import U8Array
from tethercap.roll.names import FrameId
from tethercap.session.events import (
    Mode,
    PositiveMade,
    ProofMade,
    SessionEvent,
    SettingChanged,
    Signal,
    Signalled,
    Watched,
)
from tethercap.session.states import RunState
from tethercap.tui.actions import Where, action_named, bindings_of, key_name
from tethercap.tui.capture_view import CaptureView
from tethercap.tui.exposure_row import ExposureDial
from tethercap.tui.hints import AS_THE_PICTURE_SHOWS, Hint, Tone, ended_early, hint_of, leaving_hint
from tethercap.tui.lines import Role, Span, line
from tethercap.tui.mailbox import EventMailbox
from tethercap.tui.messages import EventsArrived, Ring, RunnerFinished, Told
from tethercap.tui.notices import notice_of
from tethercap.tui.overlay import Drawing
from tethercap.tui.picture_choice import PictureChoice
from tethercap.tui.pictures_of import small_of
from tethercap.tui.runner_port import RunnerMaker
from tethercap.tui.screens.live import LiveScreen
from tethercap.tui.strip_dial import StripDial
from tethercap.tui.widgets.ask_row import AskRow
from tethercap.tui.widgets.band import Band, sentence_lines
from tethercap.tui.widgets.bars import key_line, last_lines, top_line
from tethercap.tui.widgets.live_view import LiveView
from tethercap.tui.widgets.panel import panel_lines
from tethercap.tui.widgets.ribbon import ribbon_lines
from tethercap.tui.widgets.rows import Rows
from tethercap.tui.widgets.still_view import StillView
from tethercap.watch.directions import Directions
from tethercap.watch.limits import Limits

_FIGURES_EVERY_S = 0.1
_COUNTS_EVERY_BEATS = 5
_PROOF_PX = 200
BELLS = {Signal.SEATED: 1, Signal.FILED: 2, Signal.HELD: 3, Signal.STRIP_DONE: 4}
"""How often the bell rings for what."""


class CaptureScreen(LiveScreen):
    """Shows a running roll and hands keys to its runner.

    Parameters
    ----------
    make_runner : callable
        Makes the runner, given whom to report to.
    roll_name, title : str
        Shown in the first row.
    limits : Limits
        Where the gauges' marks stand.
    directions : Directions
        Words for the ways, as the person at the holder sees them.
    """

    where = Where.CAPTURE
    RUNNER_THREAD = "roll runner"
    BINDINGS: ClassVar[list[BindingType]] = bindings_of(Where.CAPTURE)

    class ProofRead(Message):
        """The picture of a shot was read: its proof, or its positive."""

        def __init__(self, title: str, pixels_bgr: U8Array) -> None:
            super().__init__()
            self.title, self.pixels_bgr = title, pixels_bgr

    def __init__(
        self,
        make_runner: RunnerMaker,
        *,
        roll_name: str,
        title: str = "",
        limits: Limits | None = None,
        directions: Directions = AS_THE_PICTURE_SHOWS,
    ) -> None:
        super().__init__()
        self.limits = limits or Limits()
        self._directions = directions
        self._film_title = title
        self.mailbox = EventMailbox(self._notice_events, self._on_watched)
        self.runner = make_runner(self.mailbox.put)
        self.view = CaptureView.from_snapshot(self.runner.snapshot())
        self.view.roll_id = self.view.roll_id or roll_name
        self.sounds = True
        self._choice = PictureChoice()
        self._leaving = False
        self._beats = 0
        self._proved: tuple[str, int] | None = None
        self._watched: Watched | None = None
        self._thread = threading.Thread(target=self._run, name=self.RUNNER_THREAD, daemon=False)

    def compose(self) -> ComposeResult:
        """Put the parts in their places; sizes are the style sheet's."""
        yield Rows(id="top")
        with Horizontal(id="bench"):
            yield LiveView(id="view")
            with Vertical(id="beside"):
                yield Rows(id="panel")
                yield Rows(id="proof-title")
                yield StillView(id="proof")
        yield Band(id="band")
        yield Rows(id="sentence")
        yield AskRow(id="ask")
        yield Rows(id="ribbon")
        yield Rows(id="last")
        yield Rows(id="keys")

    def on_mount(self) -> None:
        """Begin to draw, then begin to run."""
        preferences = getattr(self.app, "preferences", None)
        self.sounds = preferences is None or preferences.bells
        self.start_feed()
        self.set_interval(_FIGURES_EVERY_S, self._on_beat)
        self._thread.start()

    def on_resize(self) -> None:
        """Lay everything out again once the parts have their sizes."""
        self.call_after_refresh(self.show_all)

    # --- the runner ---------------------------------------------------------------------------------------------------

    def _run(self) -> None:
        error: BaseException | None = None
        try:
            self.runner.run()
        except Exception as ended_by:
            error = ended_by
        self.post_message(RunnerFinished(error))

    def _notice_events(self) -> None:
        self.post_message(EventsArrived())

    def _on_watched(self, event: Watched) -> None:
        """Draw on the picture; in the runner's thread."""
        self._watched = event
        self.offer(event.frame, self._drawing_of(event))

    def _draw_again(self) -> None:
        if self._watched is not None:
            self.offer(self._watched.frame, self._drawing_of(self._watched))

    def _drawing_of(self, event: Watched) -> Drawing:
        return self._choice.drawing_of(event, self.view.frame_in_view, self.limits)

    def on_events_arrived(self) -> None:
        """Take in what happened and show it at once."""
        for event in self.mailbox.take():
            self._take(event)
        self.show_all()

    def _take(self, event: SessionEvent) -> None:
        self.view.apply(event)
        notice = notice_of(event, self.view.roll_id)
        if notice is not None:
            self.app.post_message(Told(notice.title, notice.body))
        if isinstance(event, Signalled):
            self.ring(event.signal)
        elif isinstance(event, SettingChanged):
            self._dialled()
        elif isinstance(event, ProofMade):
            self._proved = event.frame_id, event.take
            self.read_proof(event)
        elif isinstance(event, PositiveMade) and not self._is_older(event):
            self.read_proof(event)

    def _is_older(self, made: PositiveMade) -> bool:
        """A positive that comes when a later shot can be looked at already does not take its place."""
        return self._proved not in (None, (made.frame_id, made.take))

    @work(thread=True, exclusive=True, group="proof")
    def read_proof(self, made: ProofMade | PositiveMade) -> None:
        """Read the picture of a shot, in a thread."""
        what = "positive" if isinstance(made, PositiveMade) else "proof"
        try:
            content = made.proof.read_bytes() if isinstance(made, PositiveMade) else made.jpeg
            small = small_of(content, _PROOF_PX)
        except (TethercapError, OSError):
            return  # the picture itself is there; only its small one cannot be shown
        self.post_message(self.ProofRead(f"{what} of frame {made.frame_id}", small))

    def on_capture_screen_proof_read(self, message: "CaptureScreen.ProofRead") -> None:
        """Show the newest shot where there is room for it."""
        self.query_one("#proof-title", Rows).show([line(Span(f" {message.title}", Role.HEADING))])
        self.query_one("#proof", StillView).show_picture(message.pixels_bgr)

    def on_runner_finished(self, message: RunnerFinished) -> None:
        """Leave, or say what ended the run."""
        if message.error is None or self._leaving:
            self.app.exit(0 if message.error is None else 1)
            return
        self.view.trouble = ended_early(message.error)
        self.show_all()

    def _on_beat(self) -> None:
        if self.app.screen is not self:
            return
        for event in self.mailbox.take():
            self._take(event)
        self._beats += 1
        if self._beats % _COUNTS_EVERY_BEATS == 0:
            self.view.take_counts(self.runner.snapshot())
            self.show_all()
        else:
            self.show_figures()

    def ring(self, signal: Signal) -> None:
        """Ring for a signal, unless bells are off."""
        if self.sounds:
            self.app.post_message(Ring(BELLS[signal]))

    # --- showing ------------------------------------------------------------------------------------------------------

    def hint(self) -> Hint:
        """What the band says."""
        if self._leaving:
            return leaving_hint(self.runner.snapshot().conversions_waiting, busy=self.view.busy)
        keys: dict[str, str] = getattr(self.app, "keys", {})
        return hint_of(
            self.view,
            centring_mm=self.limits.centring_mm,
            tilt_deg=self.limits.tilt_deg,
            directions=self._directions,
            fire_key=key_name(keys.get("fire", action_named("fire").key)),
        )

    def show_all(self) -> None:
        """Show everything that is known."""
        if not self.is_mounted or self.app.screen is not self:
            return
        width = self.size.width
        self.query_one("#top", Rows).show([top_line(self.view, self._film_title, width)])
        ribbon, last = self.query_one("#ribbon", Rows), self.query_one("#last", Rows)
        ribbon.show(ribbon_lines(self.view, width, ribbon.size.height))
        last.show(last_lines(self.view, width, last.size.height))
        self.query_one("#keys", Rows).show([key_line(self.where, width, getattr(self.app, "keys", None))])
        self.show_figures()

    def show_figures(self) -> None:
        """Show what changes with every live picture."""
        hint = self.hint()
        self.query_one("#band", Band).show_hint(hint)
        self.set_class(hint.tone is Tone.TROUBLE, "-long")
        sentence = self.query_one("#sentence", Rows)
        sentence.show(sentence_lines(hint, sentence.size.width, sentence.size.height))
        panel = self.query_one("#panel", Rows)
        if panel.size.width:
            panel.show(panel_lines(self.view, hint, self.limits, panel.size.width, panel.size.height))
        if self.view.state is RunState.PULLING:
            last = self.query_one("#last", Rows)
            last.show(last_lines(self.view, self.size.width, last.size.height))

    # --- keys ---------------------------------------------------------------------------------------------------------

    def action_fire(self) -> None:
        """Take the frame if it may be taken."""
        self.runner.fire()

    def action_force(self) -> None:
        """Take the frame as it lies."""
        self.runner.force()

    def action_hands_free(self) -> None:
        """Change who fires."""
        self.runner.set_mode(Mode.BY_KEY if self.view.mode is Mode.HANDS_FREE else Mode.HANDS_FREE)

    def action_pause(self) -> None:
        """Rest, or go on by key."""
        self.runner.set_mode(Mode.BY_KEY if self.view.mode is Mode.PAUSED else Mode.PAUSED)

    def action_retake(self) -> None:
        """Ask which frame to take again."""
        last = self.view.last.frame_id if self.view.last is not None else self.view.next_frame_id
        self._ask_frame("Take which frame again?", last, self.runner.retake)

    def action_go_to(self) -> None:
        """Ask which frame lies in the holder."""
        self._ask_frame("Which frame lies in the holder?", self.view.next_frame_id, self.runner.go_to)

    def _ask_frame(self, question: str, proposal: str, then: Callable[[str], None]) -> None:
        def answered(text: str) -> str | None:
            try:
                frame_id = str(FrameId.parse(text))
            except RollNameError as error:
                return f"{error.what} {error.todo}" if self.size.width >= 120 else error.what
            then(frame_id)
            return None

        self.query_one(AskRow).ask_text(question, proposal=proposal, answer=answered)

    def action_skip(self) -> None:
        """Ask why the frame is left out."""

        def answered(why: str) -> str | None:
            self.runner.skip(why or "left out")
            return None

        self.query_one(AskRow).ask_text(
            f"Leave out frame {self.view.next_frame_id}: why?", proposal="not wanted", answer=answered
        )

    def action_blank(self) -> None:
        """Ask whether the frame is blank."""
        question = f"Note frame {self.view.next_frame_id} as blank and go on?"
        self.query_one(AskRow).ask_yes(question, then=self.runner.mark_blank)

    def action_strip(self) -> None:
        """Say how the strip in the holder lies."""
        snapshot = self.runner.snapshot()
        dial = StripDial(snapshot.numbers_run, snapshot.mirrored)

        def pressed(key: str) -> str | None:
            if not dial.press(key):
                return dial.text()
            self.runner.start_strip(numbers_run=dial.numbers_run, mirrored=dial.mirrored)
            return None

        keys = "← → which   ↑ ↓ turn   enter: yes"
        self.query_one(AskRow).ask_keys(dial.text(), keys, pressed=pressed)

    def action_put_back(self) -> None:
        """Set back what was turned on the camera."""
        self.runner.put_back()

    def action_pull_again(self) -> None:
        """Fetch the last picture once more."""
        self.runner.pull_again()

    def action_exposure(self) -> None:
        """Turn time, aperture or ISO with the arrow keys."""
        self.dial = ExposureDial(dict(self.view.settings))
        self.query_one(AskRow).ask_keys(
            self.dial.text(), "← → which   ↑ ↓ change   enter: done", pressed=self._turn_dial
        )

    def _turn_dial(self, key: str) -> str | None:
        if key in ("left", "right"):
            self.dial.turn_to(1 if key == "right" else -1)
        elif key in ("up", "down"):
            value = self.dial.stepped(1 if key == "up" else -1)
            if value is not None:
                self.runner.change(self.dial.chosen, value)
        elif key == "enter":
            return None
        return self.dial.text()

    def _dialled(self) -> None:
        ask = self.query_one(AskRow)
        if ask.asking and ask.question.startswith(("[time", " time")):
            chosen = self.dial.chosen
            self.dial = ExposureDial(dict(self.view.settings), chosen)
            ask.retext(self.dial.text())

    def action_drawing(self) -> None:
        """Draw more or less over the picture."""
        self._choice.next_amount()
        self._draw_again()

    def action_peaking(self) -> None:
        """Paint fine detail, or not."""
        self._choice.peaking = not self._choice.peaking
        self._draw_again()

    def action_corners(self) -> None:
        """Show corners one to one, or the whole picture."""
        self._choice.corners = not self._choice.corners
        self._draw_again()

    def action_large(self) -> None:
        """Give the picture the whole width, or not."""
        self.toggle_class("-large")
        self.call_after_refresh(self.show_all)

    def action_sound(self) -> None:
        """Turn bells off or on."""
        self.sounds = not self.sounds
        self.notify("Bells on." if self.sounds else "Bells off.", timeout=2)

    def leave(self) -> None:
        """End the run; ask first only where something would be lost."""
        if self._leaving or not self._thread.is_alive():
            self.app.exit(0 if self._leaving else 1)
            return
        waiting = self.runner.snapshot().conversions_waiting
        if waiting:
            question = f"{waiting} positives are still being made. Leave when done?"
            self.query_one(AskRow).ask_yes(question, then=self._stop)
        else:
            self._stop()

    def _stop(self) -> None:
        self._leaving = True
        self.runner.stop()
        self.show_figures()

    def on_unmount(self) -> None:
        """End everything that was started."""
        self.runner.stop()
        super().on_unmount()
