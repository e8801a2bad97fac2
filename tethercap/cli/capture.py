"""`tethercap capture ROLL`: run a roll on a real camera."""

import sys
from pathlib import Path

import click
from click.core import ParameterSource

from tethercap.camera.discover import open_camera
from tethercap.cli._roll_look import match_frames
from tethercap.cli._screen import has_screen, picture_option, preferences_with
from tethercap.cli._wiring import Workers, open_roll, runner_maker
from tethercap.cli.exit_codes import ExitCode
from tethercap.cli.sheet import make_sheet
from tethercap.errors import RollNameError
from tethercap.film.kinds import FilmKind
from tethercap.profile_files import list_film_formats, load_film_format
from tethercap.roll.core import read_folder_setup
from tethercap.roll.setup import RollSetup
from tethercap.session.events import Mode
from tethercap.session.options import RunnerOptions
from tethercap.tui.app import run_capture
from tethercap.tui.plain import run_plain
from tethercap.tui.start_view import SHOWN_KINDS
from tethercap.tui.web import serve_again
from tethercap.watch.directions import Directions

_OF_THE_FILM = {
    "format_id": ("--format", "film_format"),
    "kind": ("--kind", "film_kind"),
    "numbers_fall": ("--numbers-fall", "numbers_run"),
    "mirrored": ("--mirrored", "mirrored"),
}
"""Options that say how the film is to be taken -> what they are called, and the field of roll.toml."""


@click.command()
@click.argument("roll", type=click.Path(file_okay=False, path_type=Path))
@click.option(
    "--format",
    "format_id",
    type=click.Choice(list_film_formats()),
    default="135-36x24",
    show_default=True,
    help="Film format of a new roll.",
)
@click.option(
    "--kind",
    type=click.Choice([kind.value for kind in FilmKind]),
    default=FilmKind.COLOUR_NEGATIVE.value,
    show_default=True,
    help="Kind of film of a new roll.",
)
@click.option("--film", "film_stock", default="", help="What the film's edge says.")
@click.option(
    "--first-frame",
    default="1",
    show_default=True,
    help="Number of the first frame, as on the edge: 00, 0, 1 ... 36, 36A.",
)
@click.option("--frames", "frames_expected", type=click.IntRange(1, 999), help="How many frames the roll should have.")
@click.option("--numbers-fall", is_flag=True, help="Numbers fall from frame to frame as the film is pulled.")
@click.option("--mirrored", is_flag=True, help="The film lies with its other side up.")
@click.option("--port", help="Camera port, as `tethercap cameras` lists it.")
@click.option("--serial", help="Serial number of the camera to use.")
@click.option(
    "--camera-place",
    type=click.Choice(["above", "below", "beside"]),
    default="above",
    show_default=True,
    help="Where the camera looks from; turns left and right into yours.",
)
@click.option("--hands-free/--by-key", default=False, help="Fire by itself when a frame lies still and in place.")
@click.option("--raw-and-jpeg", is_flag=True, help="The camera sends two files a shot.")
@click.option("--skip-blank", is_flag=True, help="Note unexposed frames as blank and go on, without asking.")
@click.option("--no-convert", is_flag=True, help="File only; positives can be made later.")
@click.option(
    "--mirror",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder, on another disk, that gets a second copy of the roll; it never holds up the work.",
)
@click.option("--plain", is_flag=True, help="One line of text for each thing that happens, no full screen.")
@picture_option
@click.option("--web", is_flag=True, help="Show the screen in a browser on this computer instead of the terminal.")
@click.option("--web-port", type=click.IntRange(1, 65535), default=8000, show_default=True, help="Port for --web.")
def capture(
    roll: Path,
    format_id: str,
    kind: str,
    film_stock: str,
    first_frame: str,
    frames_expected: int | None,
    numbers_fall: bool,
    mirrored: bool,
    port: str | None,
    serial: str | None,
    camera_place: str,
    hands_free: bool,
    raw_and_jpeg: bool,
    skip_blank: bool,
    no_convert: bool,
    mirror: Path | None,
    plain: bool,
    picture: str | None,
    web: bool,
    web_port: int,
) -> ExitCode:
    """Capture the roll in the folder ROLL: watch, fire, pull, check, file, convert.

    A folder that holds a roll is gone on with, at the frame after the last one; any other must be empty or not there.
    The folder's name becomes the roll's id. Bright panels tire the eyes: dim it while you load film. Old film may be
    nitrate, which burns fiercely: keep it from heat and follow local rules.
    """
    if web:
        click.echo(f"Open http://127.0.0.1:{web_port} in a browser; stop with Ctrl+C.", err=True)
        serve_again([argument for argument in sys.argv[1:] if argument != "--web"], web_port)
        return ExitCode.DONE
    try:
        setup = RollSetup(
            id=roll.resolve().name,
            film_kind=FilmKind(kind),
            film_format=format_id,
            film_stock=film_stock,
            first_frame=first_frame,
            frames_expected=frames_expected,
            numbers_run=-1 if numbers_fall else 1,
            mirrored=mirrored,
        )
    except RollNameError as error:
        raise click.UsageError(str(error)) from error
    if (roll / "roll.toml").exists():
        _refuse_other_film(read_folder_setup(roll), setup)
    options = RunnerOptions(
        mode=Mode.HANDS_FREE if hands_free else Mode.BY_KEY,
        expected_files=2 if raw_and_jpeg else 1,
        skip_blank=skip_blank,
    )
    with_screen = not plain and has_screen()
    with (
        open_roll(roll, setup, mirror=mirror) as opened,
        Workers.started(convert=not no_convert, prove=with_screen) as workers,
    ):
        for note in opened.opening_notes:
            click.echo(note, err=True)
        click.echo("Opening the camera ...", err=True)
        camera = open_camera(port, serial)
        try:
            directions = Directions.for_camera(camera_place)
            make_runner = runner_maker(camera, opened, workers, options=options, directions=directions)
            title = f"{load_film_format(opened.setup.film_format).name}, {SHOWN_KINDS[opened.setup.film_kind]}"
            if with_screen:
                failed = run_capture(
                    make_runner, roll_name=opened.setup.id, title=title, directions=directions,
                    preferences=preferences_with(picture),
                )  # fmt: skip
            else:
                failed = run_plain(make_runner, roll_name=opened.setup.id, directions=directions)
        finally:
            camera.close()
        if not no_convert:
            match_frames(opened)
        if not no_convert and any(frame.chosen for frame in opened.frames.values()):
            click.echo(f"contact sheet: {make_sheet(opened)}", err=True)
    return ExitCode.CAMERA if failed else ExitCode.DONE


def _refuse_other_film(is_so: RollSetup, wanted: RollSetup) -> None:
    """A roll that is gone on with keeps what its roll.toml says; an option that says otherwise is a mistake."""
    words = click.get_current_context()
    for name, (option, field) in _OF_THE_FILM.items():
        said = words.get_parameter_source(name) is ParameterSource.COMMANDLINE
        now, then = getattr(is_so, field), getattr(wanted, field)
        if said and now != then:
            raise click.UsageError(
                f"{option} says otherwise than the roll, whose {field} is {now}. Leave it out, or change the roll "
                f"first: tethercap describe {words.params['roll']} --set {field}={then}"
            )
