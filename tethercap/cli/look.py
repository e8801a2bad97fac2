"""`tethercap look ROLL`: a roll's frames on a screen."""

from pathlib import Path

import click

from tethercap.cli._screen import picture_option, preferences_with, require_screen
from tethercap.cli._wiring import open_roll
from tethercap.cli.exit_codes import ExitCode
from tethercap.tui.app import run_roll


@click.command()
@click.argument("roll", type=click.Path(file_okay=False, exists=True, path_type=Path))
@picture_option
def look(roll: Path, picture: str | None) -> ExitCode:
    """Look at the frames of ROLL: small and large, takes, findings, notes, numbers; turn the recipe."""
    require_screen()
    with open_roll(roll, None) as opened:
        for note in opened.opening_notes:
            click.echo(note, err=True)
        return ExitCode(run_roll(opened, preferences=preferences_with(picture)))
