"""The terminal program: modes, keys, colours. What is on a screen lives in the screen."""

import gc
import threading
import time
from collections.abc import Callable, Iterable
from multiprocessing import resource_tracker
from pathlib import Path
from typing import ClassVar

from textual import events
from textual.app import App, SystemCommand
from textual.binding import BindingType
from textual.notifications import SeverityLevel
from textual.screen import Screen

from tethercap.roll.folder import Roll
from tethercap.tui.actions import ACTIONS, Where, bindings_of
from tethercap.tui.hints import AS_THE_PICTURE_SHOWS
from tethercap.tui.live_source import LiveSource
from tethercap.tui.messages import Ring, Told
from tethercap.tui.preferences import Preferences, read_preferences
from tethercap.tui.runner_port import RunnerMaker
from tethercap.tui.screens.capture import CaptureScreen
from tethercap.tui.screens.help import HelpScreen
from tethercap.tui.screens.live import LiveScreen
from tethercap.tui.screens.roll import RollScreen
from tethercap.tui.screens.set_up import SetUpScreen
from tethercap.tui.screens.start import StartScreen
from tethercap.tui.start_view import Choice, StartServices
from tethercap.tui.terminal_asks import ask_terminal
from tethercap.tui.terminal_door import write_to_terminal
from tethercap.tui.terminal_talents import Talents, notice_text
from tethercap.tui.themes import NO_COLOUR, THEMES
from tethercap.watch.directions import Directions

_BELL_GAP_S = 0.18
_TOAST_GOES_S = 1.0
"""A notice is gone this long after its time at the latest."""
WIDTHS = [(0, "-narrow"), (100, "-middle"), (160, "-wide")]
HEIGHTS = [(0, "-short"), (34, "-high"), (52, "-tall")]
"""Classes of the screen from so many columns or rows on."""


class TerminalApp(App[int]):
    """Holds one first screen and what all screens share.

    Parameters
    ----------
    make_first : callable
        Makes the screen to begin with.
    preferences : Preferences, optional
        Colours, bells, own keys; defaults if left out.
    talents : Talents, optional
        What the terminal answered; nothing if left out.
    """

    CSS_PATH = "app.tcss"
    TITLE = "tethercap"
    ENABLE_COMMAND_PALETTE = True
    BINDINGS: ClassVar[list[BindingType]] = bindings_of(Where.EVERYWHERE)
    HORIZONTAL_BREAKPOINTS = WIDTHS
    VERTICAL_BREAKPOINTS = HEIGHTS

    def __init__(
        self,
        make_first: Callable[[], Screen[None]],
        *,
        preferences: Preferences | None = None,
        talents: Talents | None = None,
    ) -> None:
        super().__init__()
        # Worker processes are spawned through a helper that is handed the standard error's descriptor; once the screen
        # runs, that is Textual's own and has none. So the helper starts now.
        resource_tracker.ensure_running()
        self._toasts_until_s = 0.0
        self.choice: Choice | None = None
        """What was chosen on the start screen."""
        self._make_first = make_first
        self.preferences = preferences or Preferences()
        self.talents = talents or Talents()
        self.keys = dict(self.preferences.keys)
        for each in THEMES:
            self.register_theme(each)
        self.theme = NO_COLOUR.name if self.no_color else self.preferences.theme
        if self.preferences.reduced_motion:
            self.animation_level = "none"
        if self.keys:
            self.set_keymap(self.keys)

    def on_mount(self) -> None:
        """Show the first screen."""
        self.push_screen(self._make_first())
        self.set_timer(1.5, self._freeze_garbage)

    def _freeze_garbage(self) -> None:
        # What stands now stays: the collector need not walk it again, which would hold keys up for 20 to 40 ms.
        gc.collect()
        gc.freeze()

    def on_cursor_position(self, event: events.CursorPosition) -> None:
        """The terminal has worked off a live picture."""
        for screen in self.screen_stack:
            if isinstance(screen, LiveScreen):
                screen.picture_acknowledged()

    def on_start_screen_decided(self, message: StartScreen.Decided) -> None:
        """End with what was chosen."""
        self.choice = message.choice
        self.exit(0)

    def on_ring(self, message: Ring) -> None:
        """Ring a pattern: so many bells, a moment apart."""
        self.bell()
        for number in range(1, message.count):
            self.set_timer(number * _BELL_GAP_S, self.bell)

    def on_told(self, message: Told) -> None:
        """Show a notice on the desktop, where the terminal can and the person wants it."""
        wanted = self.preferences.notices
        if wanted == "always" or (wanted == "when away" and not self.app_focus):
            write_to_terminal(self, notice_text(self.talents.notices, message.title, message.body))

    @property
    def shows_toasts(self) -> bool:
        """A short notice may lie over a picture."""
        return time.monotonic() < self._toasts_until_s

    def notify(
        self,
        message: str,
        *,
        title: str = "",
        severity: SeverityLevel = "information",
        timeout: float | None = None,
        markup: bool = False,
    ) -> None:
        """Show a short notice."""
        lasts_s = self.NOTIFICATION_TIMEOUT if timeout is None else timeout
        self._toasts_until_s = max(self._toasts_until_s, time.monotonic() + lasts_s + _TOAST_GOES_S)
        super().notify(message, title=title, severity=severity, timeout=timeout, markup=markup)

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """The palette's commands: every action that works here, from the registry."""
        where = getattr(screen, "where", Where.EVERYWHERE)
        for action in ACTIONS:
            if action.where in (where, Where.EVERYWHERE) and action.id != "commands":
                target = screen if action.where is where and where is not Where.EVERYWHERE else self
                runner = getattr(target, f"action_{action.id}", None)
                if runner is not None:
                    yield SystemCommand(action.label, action.tooltip, runner)

    def action_theme(self) -> None:
        """Go on to the next colours."""
        names = [theme.name for theme in THEMES]
        place = names.index(self.theme) if self.theme in names else -1
        self.theme = names[(place + 1) % len(names)]

    def action_help(self) -> None:
        """Show help for the screen in front."""
        if isinstance(self.screen, HelpScreen):
            self.pop_screen()
        else:
            self.push_screen(HelpScreen(getattr(self.screen, "where", Where.EVERYWHERE), self.keys))

    def action_commands(self) -> None:
        """Open the palette."""
        self.action_command_palette()

    def action_leave(self) -> None:
        """Leave the screen in front; the first one ends the program."""
        leave = getattr(self.screen, "leave", None)
        if leave is not None:
            leave()
        elif len(self.screen_stack) > 2:
            self.pop_screen()
        else:
            self.exit(0)


def _app(make_first: Callable[[], Screen[None]], preferences: Preferences | None) -> TerminalApp:
    return TerminalApp(make_first, preferences=preferences or read_preferences(), talents=ask_terminal())


def run_capture(
    make_runner: RunnerMaker,
    *,
    roll_name: str,
    title: str = "",
    directions: Directions = AS_THE_PICTURE_SHOWS,
    preferences: Preferences | None = None,
) -> int:
    """Show the capture screen over a runner; the runner works in a thread of its own until the screen is left.

    Parameters
    ----------
    make_runner : callable
        Given the callable to report to, makes the runner; its `run` is called in a new thread.
    roll_name : str
        Shown in the first row until the runner names its roll.
    title : str
        What else to say there: film, format, rig.
    directions : Directions
        Words for the ways, as the person at the holder sees them.

    Returns
    -------
    int
        0, or 1 where the run ended with an error.
    """
    app = _app(lambda: CaptureScreen(make_runner, roll_name=roll_name, title=title, directions=directions), preferences)
    result = app.run()
    for thread in threading.enumerate():
        if thread.name == CaptureScreen.RUNNER_THREAD and thread.is_alive():
            thread.join()
    return int(result or app.return_code or 0)


def run_roll(roll: Roll, *, preferences: Preferences | None = None) -> int:
    """Show a roll that is open: its frames, what was found, what to do with them.

    Parameters
    ----------
    roll : Roll
        Open for writing; the caller closes it.

    Returns
    -------
    int
        0.
    """
    app = _app(lambda: RollScreen(roll), preferences)
    return int(app.run() or app.return_code or 0)


def run_home(services: StartServices, folder: Path, *, preferences: Preferences | None = None) -> Choice | None:
    """Show the start screen and give back what the person wants to do; None where nothing.

    Parameters
    ----------
    services : StartServices
        Finds cameras and rolls; `tethercap.tui.start_view.FoundHere` is the real one.
    folder : Path
        Where new rolls are made.
    """
    app = TerminalApp(
        lambda: StartScreen(services, folder), preferences=preferences or read_preferences(), talents=ask_terminal()
    )
    app.run()
    return app.choice


def run_set_up(source: LiveSource, *, title: str = "", preferences: Preferences | None = None) -> int:
    """Show the set-up screen over a camera's live view.

    Parameters
    ----------
    source : LiveSource
        Not started; `tethercap.tui.live_source.CameraSource` is the real one. The caller closes its camera.
    title : str
        Camera, film format.

    Returns
    -------
    int
        0.
    """
    app = TerminalApp(
        lambda: SetUpScreen(source, title=title), preferences=preferences or read_preferences(), talents=ask_terminal()
    )
    return int(app.run() or app.return_code or 0)
