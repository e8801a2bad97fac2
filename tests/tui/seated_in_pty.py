"""The capture screen over a seated frame, in whatever terminal it is run: for tests of terminals with pixels."""

from tests.tui.scripted_runner import ScriptedRunner, seated
from tethercap.tui.app import TerminalApp
from tethercap.tui.preferences import Preferences
from tethercap.tui.screens.capture import CaptureScreen
from tethercap.tui.terminal_asks import ask_terminal

if __name__ == "__main__":
    TerminalApp(
        lambda: CaptureScreen(lambda on_event: ScriptedRunner(on_event, seated()), roll_name="invented-07"),
        preferences=Preferences(bells=False),
        talents=ask_terminal(),
    ).run()
