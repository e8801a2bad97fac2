"""The set-up screen: framing, focus, exposure, each with a meter, over the live picture."""

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal

from tethercap.errors import TethercapError
from tethercap.session.events import SettingChanged, SettingsRead, Watched
from tethercap.tui.actions import Where, bindings_of
from tethercap.tui.exposure_row import ExposureDial
from tethercap.tui.lines import Role, Span, ends, line
from tethercap.tui.live_source import LiveSource, SourceEvent, SourceSaid, SourceTroubled
from tethercap.tui.overlay import Drawing, target_quad
from tethercap.tui.screens.live import LiveScreen
from tethercap.tui.set_up_steps import STEPS, SetUpView, step_lines, trouble_lines
from tethercap.tui.widgets.ask_row import AskRow
from tethercap.tui.widgets.bars import key_line
from tethercap.tui.widgets.live_view import LiveView
from tethercap.tui.widgets.panel import exposure_text
from tethercap.tui.widgets.rows import Rows

_METERS_EVERY_S = 0.15


class SetUpScreen(LiveScreen):
    """Helps to set a rig up.

    Parameters
    ----------
    source : LiveSource
        Not started; the screen starts and stops it.
    title : str
        Camera, film format.
    """

    where = Where.SET_UP
    BINDINGS: ClassVar[list[BindingType]] = [
        *bindings_of(Where.SET_UP),
        *(Binding(str(n + 1), f"step({n})", step.name, show=False) for n, step in enumerate(STEPS)),
    ]

    def __init__(self, source: LiveSource, *, title: str = "") -> None:
        super().__init__()
        self.source = source
        self.view = SetUpView()
        self.chosen = 0
        self.trouble: TethercapError | None = None
        """Why the camera does not answer, as long as it does not."""
        self._title_text = title
        self._corners = False

    def compose(self) -> ComposeResult:
        """Picture at the left, steps at the right."""
        yield Rows(id="top")
        with Horizontal(id="bench"):
            yield LiveView(id="view")
            yield Rows(id="steps")
        yield AskRow(id="ask")
        yield Rows(id="said")
        yield Rows(id="keys")

    def on_mount(self) -> None:
        """Begin to draw, then to look."""
        self.start_feed()
        self.set_interval(_METERS_EVERY_S, self.show_meters)
        self.source.start(self._on_event)

    def on_unmount(self) -> None:
        """End everything that was started."""
        self.source.stop()
        super().on_unmount()

    def _on_event(self, event: SourceEvent) -> None:
        """Take an event in; in the source's thread. Figures are read from the view by the screen's own beat."""
        match event:
            case Watched(frame, sighting):
                self.view.take(frame, sighting)
                self.offer(frame, self._drawing())
            case SettingsRead(settings):
                self.view.settings, self.trouble = dict(settings), None
                self.call_later(self._dialled)
            case SettingChanged(change):
                if not change.taken:
                    self._say(f"Asked for {change.asked.text}, the camera took {change.got.text}.")
            case SourceSaid(sentence):
                self._say(sentence)
            case SourceTroubled(error):
                self.trouble = error

    def _say(self, sentence: str) -> None:
        self.call_later(self.notify, sentence, severity="warning", timeout=8)

    def _drawing(self) -> Drawing:
        sighting, frame = self.view.sighting, self.view.frame
        edges = sighting.edges if sighting is not None else None
        if self._corners:
            return Drawing(edges, corners_only=True)
        peaking = STEPS[self.chosen].peaking
        if edges is None or frame is None or STEPS[self.chosen].id != "framing":
            return Drawing(peaking=peaking)
        return Drawing(edges, target_quad(frame.size, edges))

    def show_meters(self) -> None:
        """Measure the newest picture and show everything."""
        if self.app.screen is not self:
            return
        self.view.measure()
        width = self.size.width
        left = line(" ", Span("set-up", Role.STRONG), Span(f"   {self._title_text}", Role.FAINT))
        self.query_one("#top", Rows).show([ends(left, line(f"{exposure_text(self.view.settings)} "), width)])
        steps = self.query_one("#steps", Rows)
        if self.trouble is not None:
            lines = trouble_lines(self.trouble, steps.size.width)
            said = Span(" trying to get the camera back …", Role.BUSY)
        else:
            lines = step_lines(self.view, self.chosen, steps.size.width)
            said = Span(" 1 2 3 choose a step", Role.FAINT)
        steps.show(lines[: steps.size.height])
        self.query_one("#said", Rows).show([line(said)])
        self.query_one("#keys", Rows).show([key_line(self.where, width, getattr(self.app, "keys", None))])

    # --- keys ---

    def action_step(self, number: int) -> None:
        """Open a step."""
        self.chosen = number
        self._draw_again()

    def action_next_step(self) -> None:
        """Open the next step."""
        self.action_step((self.chosen + 1) % len(STEPS))

    def action_set_up_corners(self) -> None:
        """Show corners one to one, or the whole picture."""
        self._corners = not self._corners
        self._draw_again()

    def action_forget_focus(self) -> None:
        """Begin focus again."""
        self.view.best.forget()

    def action_set_up_exposure(self) -> None:
        """Turn time, aperture or ISO."""
        self.dial = ExposureDial(dict(self.view.settings))
        ask = self.query_one(AskRow)
        ask.ask_keys(self.dial.text(), "← → which   ↑ ↓ change   enter: done", pressed=self._turn_dial)

    def _turn_dial(self, key: str) -> str | None:
        step = {"left": -1, "right": 1}.get(key)
        if step is not None:
            self.dial.turn_to(step)
        elif key in ("up", "down"):
            value = self.dial.stepped(1 if key == "up" else -1)
            if value is not None:
                self.source.change(self.dial.chosen, value)
        return None if key == "enter" else self.dial.text()

    def _dialled(self) -> None:
        ask = self.query_one(AskRow)
        if ask.asking:
            self.dial = ExposureDial(dict(self.view.settings), self.dial.chosen)
            ask.retext(self.dial.text())

    def _draw_again(self) -> None:
        if self.view.frame is not None:
            self.offer(self.view.frame, self._drawing())

    def leave(self) -> None:
        """End."""
        self.app.exit(0)
