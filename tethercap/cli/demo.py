"""`tethercap demo`: the whole job on a simulated camera with an invented roll in front of it."""

import json
import sys
from collections.abc import Callable
from pathlib import Path

import click

from tethercap.camera.discover import open_camera
from tethercap.cli._roll_look import match_frames
from tethercap.cli._screen import has_screen, picture_option, preferences_with
from tethercap.cli._simulated import EndOfFilm, SimulatedCamera, operator
from tethercap.cli._wiring import Workers, open_roll, runner_maker
from tethercap.cli.exit_codes import ExitCode
from tethercap.cli.sheet import make_sheet
from tethercap.errors import RollExistsError
from tethercap.film.kinds import FilmKind
from tethercap.profile_files import list_film_formats, load_film_format
from tethercap.roll.fixity import verify
from tethercap.roll.folder import Roll
from tethercap.roll.setup import RollSetup
from tethercap.session.events import Mode, SessionEvent
from tethercap.session.options import RunnerOptions
from tethercap.session.runner import RollRunner
from tethercap.tui.app import run_capture
from tethercap.tui.plain import run_plain
from tethercap.tui.start_view import SHOWN_KINDS

INVENTED = "Invented film for a demonstration; no real pictures, people or places."
MakeRunner = Callable[[Callable[[SessionEvent], None]], RollRunner]


@click.command()
@click.option("--headless", is_flag=True, help="No screen: one line for each thing that happens.")
@click.option("--strips", type=click.IntRange(1, 60), default=1, show_default=True, help="Strips to pull through.")
@click.option(
    "--out", type=click.Path(file_okay=False, path_type=Path), help="Roll folder to make; default: a new one here."
)
@click.option(
    "--kind",
    type=click.Choice([kind.value for kind in FilmKind]),
    default=FilmKind.COLOUR_NEGATIVE.value,
    show_default=True,
)
@click.option("--format", "format_id", type=click.Choice(list_film_formats()), default="135-36x24", show_default=True)
@click.option("--seed", type=int, default=1, show_default=True, help="Another number, another roll.")
@click.option("--fast", is_flag=True, help="The hand and the camera hurry.")
@click.option("--small", is_flag=True, help="RAW files of 6 megapixels instead of 24, for a slow machine.")
@click.option("--no-convert", is_flag=True, help="File only; make no positives.")
@picture_option
@click.option("--json", "as_json", is_flag=True, help="At the end, print where everything is as one JSON object.")
def demo(
    headless: bool,
    strips: int,
    out: Path | None,
    kind: str,
    format_id: str,
    seed: int,
    fast: bool,
    small: bool,
    no_convert: bool,
    picture: str | None,
    as_json: bool,
) -> ExitCode:
    """See the whole job: film pulled, frames found, shots fired, filed, converted, on a simulated camera.

    The camera is a process on this machine that the real driver talks to; the film in front of it is invented.
    """
    folder = out or free_folder(Path("demo-roll"))
    film_format = load_film_format(format_id)
    setup = RollSetup(
        id=folder.resolve().name, film_kind=FilmKind(kind), film_format=format_id, film_stock="invented",
        frames_expected=strips * film_format.frames_per_strip, caption=INVENTED,
    )  # fmt: skip
    if (folder / "roll.toml").exists():
        raise RollExistsError(
            f"{folder} holds a roll already.", safe="Nothing was touched.", todo="Choose another --out."
        )
    arguments = [
        "--hand", "bell", "--strips", str(strips), "--film-kind", kind, "--film-format", format_id, "--seed", str(seed),
        "--frames-per-strip", str(film_format.frames_per_strip), *(["--fast"] if fast else []),
        *(["--sensor", "3000x2000"] if small else []),
    ]  # fmt: skip
    click.echo(f"{INVENTED}\nStarting the simulated camera and painting its film ...", err=True)
    with_screen = not headless and has_screen()
    with (
        open_roll(folder, setup) as roll,
        Workers.started(convert=not no_convert, prove=with_screen) as workers,
        SimulatedCamera(arguments) as simulated,
    ):
        camera = open_camera(simulated.port)
        try:
            options = RunnerOptions(mode=Mode.HANDS_FREE, skip_blank=True)
            make_runner = ending_itself(runner_maker(camera, roll, workers, options=options), simulated)
            title = f"{film_format.name}, {SHOWN_KINDS[FilmKind(kind)]}, invented"
            failed = (
                run_capture(make_runner, roll_name=setup.id, title=title, preferences=preferences_with(picture))
                if with_screen
                else run_plain(make_runner, roll_name=setup.id, typed=(), out=sys.stderr)
            )
        finally:
            camera.close()
        if not no_convert:
            match_frames(roll)
        sheet = make_sheet(roll)
    return tell(folder, roll, sheet, as_json=as_json, failed=bool(failed))


def free_folder(wanted: Path) -> Path:
    """Give the first of demo-roll, demo-roll-2, ... that is not there."""
    number = 1
    folder = wanted
    while folder.exists():
        number += 1
        folder = wanted.with_name(f"{wanted.name}-{number}")
    return folder


def ending_itself(make_runner: MakeRunner, simulated: SimulatedCamera) -> MakeRunner:
    """Let the simulated hand hear the bells, and stop the runner when the hand has pulled the last strip out."""

    def make(on_event: Callable[[SessionEvent], None]) -> RollRunner:
        runner: RollRunner | None = None

        def watch_the_end(event: SessionEvent) -> None:
            tell_hand(event)
            on_event(event)
            if end_of_film.is_reached(event) and runner is not None:
                runner.stop()

        tell_hand, end_of_film = operator(simulated), EndOfFilm(simulated)
        runner = make_runner(watch_the_end)
        return runner

    return make


def tell(folder: Path, roll: Roll, sheet: Path, *, as_json: bool, failed: bool) -> ExitCode:
    """Say where everything is, and whether it is whole."""
    report = verify(folder)
    frames = [frame for frame in roll.frames.values() if frame.chosen is not None]
    positives = sum(1 for frame in frames if frame.chosen is not None and frame.chosen.converted is not None)
    if as_json:
        places = {"roll": str(folder), "frames": len(frames), "positives": positives, "sheet": str(sheet)}
        print(json.dumps({**places, "sound": report.is_sound}))
    else:
        print(f"{len(frames)} frames filed in {folder / 'raw'}")
        print(f"{positives} positives in {folder / 'positive'}")
        print(f"contact sheet: {sheet}")
        print(f"checksums: {folder / 'manifest-sha256.txt'}, {'all right' if report.is_sound else 'NOT all right'}")
    if failed:
        return ExitCode.CAMERA
    return ExitCode.DONE if report.is_sound else ExitCode.FOUND
