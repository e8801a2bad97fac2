"""`tethercap cameras`: which cameras are there, what one can do, and how one is understood."""

import contextlib
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
from rich.console import Console
from rich.table import Table
from rich.text import Text

from tethercap.camera.base import CameraIdentity
from tethercap.camera.child import ChildCamera
from tethercap.camera.discover import default_log_dir, find_cameras
from tethercap.camera.words.dump import write_dump
from tethercap.cli._explain import explain
from tethercap.cli.exit_codes import ExitCode
from tethercap.errors import StorageError
from tethercap.exposure.settings import Setting, SettingState
from tethercap.exposure.show import show_value

STDOUT = "-"


@click.command()
@click.option("--port", metavar="PORT", help='Open the camera at "usb:001,004" or "ptpip:192.168.1.1:15740:15740".')
@click.option("--serial", metavar="NUMBER", help="Open the camera with this serial number.")
@click.option("--open", "show_one", is_flag=True, help="Open the camera and say what it can do and stands at.")
@click.option(
    "--dump",
    "dump_to",
    is_flag=False,
    flag_value=STDOUT,
    metavar="[FILE]",
    help="Write the camera's whole configuration, with owner, serial and network names taken out.",
)
@click.option(
    "--explain",
    "dump",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    metavar="DUMP",
    help="Say how each setting in a configuration dump is understood.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line and camera.")
def cameras(
    port: str | None, serial: str | None, show_one: bool, dump_to: str | None, dump: Path | None, as_json: bool
) -> ExitCode:
    """List the cameras, or say what one can do, or how one is understood."""
    if dump is not None:
        return explain(dump, as_json=as_json)
    if dump_to is not None:
        return _write_dump(port, serial, dump_to)
    if show_one or port is not None or serial is not None:
        return _show_one(port, serial, as_json=as_json)
    return _list(as_json=as_json)


def _list(*, as_json: bool) -> ExitCode:
    talk = Console(stderr=True)
    found = find_cameras()
    for camera in found:
        print(json.dumps({"port": camera.port, "model": camera.model}) if as_json else f"{camera.port}\t{camera.model}")
    if not found:
        talk.print("No camera was found on USB. Plug one in and switch it on; `tethercap doctor` looks further.")
    return ExitCode.DONE


@contextlib.contextmanager
def _opened(port: str | None, serial: str | None) -> Iterator[ChildCamera]:
    with Console(stderr=True).status("Opening the camera"):
        camera = ChildCamera(port, serial, log_dir=default_log_dir())
    try:
        yield camera
    finally:
        camera.close()


def _show_one(port: str | None, serial: str | None, *, as_json: bool) -> ExitCode:
    with _opened(port, serial) as camera:
        states = camera.settings()
        if as_json:
            print(json.dumps(_as_record(camera, states), ensure_ascii=False))
        else:
            _print_card(camera, states)
    return ExitCode.DONE


def _as_record(camera: ChildCamera, states: dict[Setting, SettingState]) -> dict[str, Any]:
    identity, abilities = camera.identity, camera.abilities
    return {
        "port": identity.port,
        "make": identity.make,
        "model": identity.model,
        "serial": identity.serial,
        "firmware": identity.firmware,
        "driver": camera.driver_version,
        "live_view": abilities.live_view,
        "trigger": abilities.trigger,
        "partial_read": abilities.partial_read,
        "notes": list(abilities.notes),
        "settings": {
            str(setting): {
                "value": state.value.text,
                "number": state.value.number,
                "word": state.value.word,
                "choices": [choice.text for choice in state.choices],
                "settable": state.settable,
                "note": state.note,
            }
            for setting, state in states.items()
        },
    }


def _spoken(identity: CameraIdentity) -> str:
    named = " ".join(part for part in (identity.make, identity.model) if part)
    serial = f", serial {identity.serial}" if identity.serial else ""
    return f"{named}{serial} at {identity.port}"


def _print_card(camera: ChildCamera, states: dict[Setting, SettingState]) -> None:
    console = Console(soft_wrap=True)
    console.print(Text(_spoken(camera.identity), "bold"))
    for able, sentence in (
        (camera.abilities.live_view, "live view"),
        (camera.abilities.trigger, "release from here"),
        (camera.abilities.partial_read, "files in pieces, live view going on"),
    ):
        console.print(Text(f"  {'yes' if able else 'no ':3}  {sentence}"))
    for note in camera.abilities.notes:
        console.print(Text(f"  ! {note}"))
    table = Table("setting", "now", "settable", "", box=None, pad_edge=False, header_style="dim")
    for setting, state in states.items():
        cells = (
            str(setting).replace("-", " "),
            show_value(setting, state.value),
            "yes" if state.settable else "no",
            state.note,
        )
        table.add_row(*(Text("".join(c if c.isprintable() else " " for c in cell)) for cell in cells))
    console.print(table)


def _write_dump(port: str | None, serial: str | None, target: str) -> ExitCode:
    talk = Console(stderr=True)
    with _opened(port, serial) as camera:
        with talk.status("Reading the whole configuration; some cameras take half a minute"):
            widgets = camera.widgets()
        heading = (f"Model: {camera.identity.make} {camera.identity.model}".strip(), f"Driver: {camera.driver_version}")
    text = write_dump(widgets, heading=heading)
    if target == STDOUT:
        print(text, end="")
        return ExitCode.DONE
    try:
        with Path(target).open("x", encoding="utf-8") as file:
            file.write(text)
    except OSError as error:
        raise StorageError(
            f"The dump could not be written to {target}: {error.strerror}.", todo="Choose another name."
        ) from None
    talk.print(f"{len(widgets)} settings written to {target}. Have a look before you send it on.")
    return ExitCode.DONE
