"""`tethercap rig`: set a camera up over the film."""

import click

from tethercap.camera.discover import open_camera
from tethercap.cli._screen import picture_option, preferences_with, require_screen
from tethercap.cli.exit_codes import ExitCode
from tethercap.errors import NotSupportedError
from tethercap.profile_files import list_film_formats, load_film_format
from tethercap.tui.app import run_set_up
from tethercap.tui.live_source import CameraSource
from tethercap.watch.watcher import Watcher


@click.command()
@click.option("--format", "format_id", type=click.Choice(list_film_formats()), default="135-36x24", show_default=True)
@click.option("--port", help="Camera port, as `tethercap cameras` lists it.")
@click.option("--serial", help="Serial number of the camera to use.")
@picture_option
def rig(format_id: str, port: str | None, serial: str | None, picture: str | None) -> ExitCode:
    """Set up framing, focus and exposure over the live view, with a meter for each."""
    require_screen()
    film_format = load_film_format(format_id)
    camera = open_camera(port, serial)
    try:
        if not camera.abilities.live_view:
            raise NotSupportedError(
                "This camera sends no live view, so nothing can be measured here.",
                todo="Set it up by its own screen, and check the first RAW with `tethercap inspect`.",
            )
        title = f"{camera.identity.model or 'camera'}, {film_format.name}"
        source = CameraSource(camera, Watcher(film_format))
        return ExitCode(run_set_up(source, title=title, preferences=preferences_with(picture)))
    finally:
        camera.close()
