"""`tethercap start`: choose on a screen what to do."""

from pathlib import Path

import click

from tethercap.camera.discover import find_cameras
from tethercap.cli._screen import picture_option, preferences_with, require_screen
from tethercap.cli.capture import capture
from tethercap.cli.demo import demo
from tethercap.cli.exit_codes import ExitCode
from tethercap.cli.look import look
from tethercap.tui.app import run_home
from tethercap.tui.start_view import Choice, FoundHere


@click.command()
@click.argument("folder", type=click.Path(file_okay=False, exists=True, path_type=Path), default=".")
@picture_option
@click.pass_context
def start(ctx: click.Context, folder: Path, picture: str | None) -> ExitCode:
    """Show cameras, the rolls in FOLDER, the form of a new roll, and the demonstration; then do what was chosen."""
    require_screen()
    preferences = preferences_with(picture)
    choice = run_home(FoundHere(folder, find_cameras), folder.resolve(), preferences=preferences)
    return ExitCode.DONE if choice is None else carry_out(ctx, choice, picture)


def carry_out(ctx: click.Context, choice: Choice, picture: str | None = None) -> ExitCode:
    """Run the command that a choice stands for."""
    if choice.what == "demo":
        return ExitCode(ctx.invoke(demo, picture=picture))
    if choice.what == "look":
        return ExitCode(ctx.invoke(look, roll=choice.path, picture=picture))
    setup = choice.setup
    if setup is None:
        return ExitCode(ctx.invoke(capture, roll=choice.path, port=choice.port, picture=picture))
    return ExitCode(
        ctx.invoke(
            capture,
            roll=choice.path,
            port=choice.port,
            picture=picture,
            format_id=setup.film_format,
            kind=setup.film_kind.value,
            film_stock=setup.film_stock,
            first_frame=str(setup.first_frame),
            frames_expected=setup.frames_expected,
            numbers_fall=setup.numbers_run < 0,
            mirrored=setup.mirrored,
        )
    )
