"""The program's entry: finds the command's own file, turns errors into sentences and exit codes."""

import importlib
import io
import os
import sys

import click

from tethercap import __version__
from tethercap.batch.sturdy import one_thread_each
from tethercap.cli.exit_codes import ExitCode
from tethercap.errors import CameraError, RollError, TethercapError

COMMANDS: dict[str, str] = {
    "start": "Choose on a screen what to do.",
    "demo": "See the whole job on a simulated camera and an invented roll.",
    "cameras": "List cameras, or explain how one is understood.",
    "doctor": "Say what stands between this computer and the camera.",
    "capture": "Capture a roll: watch, fire, pull, check, file.",
    "rig": "Set up framing, focus and exposure over the live view.",
    "look": "Look at a roll's frames on a screen.",
    "replay": "Watch a folder of recorded live pictures as if they came now.",
    "inspect": "Find the frame in pictures and say how it lies.",
    "convert": "Turn RAW files or rolls into positives.",
    "sheet": "Make a roll's contact sheet.",
    "frames": "List a roll's frames, or correct their numbers.",
    "describe": "Write what is known about a roll into its metadata.",
    "verify": "Check a roll's files against its manifest.",
    "bag": "Pack a roll as a BagIt bag.",
}
"""Command name -> one line of help. The click command x lives in tethercap/cli/x.py and is loaded when it is used."""


class LazyCommands(click.Group):
    """A group whose commands are imported only when they are called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the table."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import tethercap/cli/NAME.py and hand out its command of the same name."""
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = getattr(importlib.import_module(f"tethercap.cli.{cmd_name}"), cmd_name)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands from the table, importing none of them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


def exit_code_for(error: TethercapError) -> ExitCode:
    """Exit code that belongs to an error."""
    if isinstance(error, CameraError):
        return ExitCode.CAMERA
    return ExitCode.STORAGE if isinstance(error, RollError) else ExitCode.INPUT


@click.group(cls=LazyCommands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="tethercap")
def tethercap() -> None:
    """Watches film in front of a tethered camera, fires when a frame lies centred, square and still, and files it."""


def run() -> None:
    """Run the command line and leave with its exit code."""
    one_thread_each()  # before NumPy is loaded: here too, or a process alone would round otherwise than workers do
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="surrogateescape")  # a file's name goes out as it is, even where it is no text
    try:
        result = tethercap.main(prog_name="tethercap", standalone_mode=False)
    except click.exceptions.Abort:
        sys.exit(ExitCode.INTERRUPTED)
    except click.ClickException as error:
        error.show()
        sys.exit(ExitCode.USAGE)
    except TethercapError as error:
        if "TEXTUAL_DRIVER" in os.environ:  # drawn into a browser: there is no terminal to print to
            importlib.import_module("tethercap.tui.web").show_trouble(error)
        print(f"tethercap: {error}", file=sys.stderr)
        sys.exit(exit_code_for(error))
    sys.exit(int(result) if isinstance(result, int) else ExitCode.DONE)


if __name__ == "__main__":
    run()
