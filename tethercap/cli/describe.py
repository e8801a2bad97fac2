"""`tethercap describe`: what is known about a roll goes into its pictures' metadata."""

import difflib
import json
from collections.abc import Mapping
from dataclasses import asdict
from enum import EnumType
from pathlib import Path
from typing import Any

import click
import msgspec

from tethercap.cli._progress import count_bar, say
from tethercap.cli.exit_codes import ExitCode
from tethercap.errors import ProfileError
from tethercap.image_files.metadata import embed, xmp_packet
from tethercap.profile_files import load_film_format
from tethercap.roll.describe import DescribeReport
from tethercap.roll.folder import Roll
from tethercap.roll.notes_table import read_notes_table
from tethercap.roll.setup import FrameNotes, RollSetup

_FIXED = frozenset({"schema", "id", "frames", "which"})
"""Fields that are not for --set."""


@click.command()
@click.argument("roll", type=click.Path(path_type=Path))
@click.option("--set", "settings", metavar="KEY=TEXT", multiple=True, help="Change a field of roll.toml first.")
@click.option("--frames", metavar="RANGE", help='With --set: say it of these frames only, like 7 or "7-12".')
@click.option("--csv", "table", type=click.Path(path_type=Path), help="Take notes on frames from a table first.")
@click.option("--json", "as_json", is_flag=True, help="Print what was done as a JSON object.")
def describe(roll: Path, settings: tuple[str, ...], frames: str | None, table: Path | None, as_json: bool) -> ExitCode:
    """Bring what ROLL/roll.toml says into the sidecars of all RAW files, and into positives and proofs.

    RAW files are never touched. The table has a line of headings: frame (7 or 7-12), then any of taken_on, place,
    title, caption, keywords (separated by semicolons), notes. Of the roll as a whole one can also set creator, rights,
    film_stock, film_speed_iso, developed_on, original_camera, original_lens, copy_lens and more; see roll.toml.

    Exit codes: 0 done, 1 done, and something was left as it was because another program had changed it.
    """
    if frames and not settings:
        raise click.UsageError("--frames says which frames --set is about; give --set as well.")
    notes = list(_notes_from_table(table)) if table is not None else []
    changes: dict[str, object] = {}
    if frames is not None:
        notes.append(_frame_notes(frames, settings))
    else:
        changes = _parsed(settings, RollSetup)
        if "film_format" in changes:
            load_film_format(str(changes["film_format"]), project=roll)
    with Roll.open(roll, sidecar=xmp_packet) as opened:
        for note in opened.opening_notes:
            say(note)
        if changes or notes:
            opened.change_setup(changes, notes)
        takes = sum(len(frame.takes) for frame in opened.frames.values())
        with count_bar("Writing metadata", takes) as progress:
            report = opened.describe(embed, progress)
    return _tell(report, as_json)


def _notes_from_table(table: Path) -> tuple[FrameNotes, ...]:
    try:
        return read_notes_table(table.read_bytes(), table.name)
    except OSError as error:
        raise ProfileError(f"{table} cannot be read: {error.strerror}.", safe="Nothing was changed.") from error


def _frame_notes(frames: str, settings: tuple[str, ...]) -> FrameNotes:
    try:
        return msgspec.convert({"which": frames, **_parsed(settings, FrameNotes)}, FrameNotes)
    except msgspec.ValidationError as error:
        raise click.BadParameter(str(error), param_hint="--frames / --set") from error


def _parsed(settings: tuple[str, ...], kind: type[RollSetup] | type[FrameNotes]) -> dict[str, object]:
    types = {field.name: field.type for field in msgspec.structs.fields(kind) if field.name not in _FIXED}
    return dict(_setting(text, types) for text in settings)


def _setting(text: str, types: Mapping[str, Any]) -> tuple[str, object]:
    key, equals, value = text.partition("=")
    if not equals:
        raise click.BadParameter(f"{text!r} has no =; write KEY=TEXT.", param_hint="--set")
    if key not in types:
        nearest = difflib.get_close_matches(key, types, n=1, cutoff=0.5)
        hint = f"; did you mean {nearest[0]!r}?" if nearest else f". Known are {', '.join(types)}."
        raise click.BadParameter(f"{key!r} is not a known key{hint}", param_hint="--set")
    if key == "keywords":
        return key, [word for part in value.split(";") if (word := part.strip())]
    try:
        return key, msgspec.convert(value, types[key], strict=False)
    except msgspec.ValidationError as error:
        known = f"; known are {', '.join(types[key])}" if isinstance(types[key], EnumType) else ""
        raise click.BadParameter(f"{key}: {error}{known}", param_hint="--set") from error


def _tell(report: DescribeReport, as_json: bool) -> ExitCode:
    if as_json:
        print(json.dumps(asdict(report)))
    else:
        for file in report.written:
            print(file)
        say(f"{len(report.written)} files written, {report.unchanged} said it all already.")
        for file in report.kept:
            say(f"A sidecar that another program had changed is kept as {file}.")
        for file in report.left:
            say(f"{file} was changed by another program and is left as it is.")
        for trouble in report.troubles:
            say(trouble)
    return ExitCode.FOUND if report.kept or report.left or report.troubles else ExitCode.DONE
