"""The screens in a browser on this computer: each visit runs the command again, and the roll's lock lets one in."""

import os
import shlex
import sys
from collections.abc import Sequence

from tethercap.errors import ProfileError, TethercapError
from tethercap.tui.app import TerminalApp
from tethercap.tui.screens.trouble import TroubleScreen

HOST = "127.0.0.1"
"""Nobody but this computer: the screens can fire a camera and rename files."""


def in_browser() -> bool:
    """Whether this process draws into a browser; the server sets the driver that Textual is to use."""
    return "TEXTUAL_DRIVER" in os.environ


def serve_again(arguments: Sequence[str], port: int) -> None:
    """Serve `tethercap ARGUMENTS` to a browser on this computer until stopped from the keyboard.

    Parameters
    ----------
    arguments : sequence of str
        Command line of the program, without its name.
    port : int
        Port on 127.0.0.1.

    Raises
    ------
    ProfileError
        If the server is not installed.
    """
    try:
        from textual_serve.server import Server
    except ImportError:
        raise ProfileError(
            "Showing screens in a browser needs one more package.",
            todo="Install it with: pip install 'tethercap[web]'.",
        ) from None
    command = shlex.join([sys.executable, "-m", "tethercap.cli.main", *arguments])
    Server(command, host=HOST, port=port, title="tethercap").serve()


def show_trouble(error: TethercapError) -> None:
    """Show an error as a screen of its own, where there is no terminal to print it to."""
    TerminalApp(lambda: TroubleScreen(error)).run()
