"""`tethercap inspect`: find the frame in single pictures, and say how it lies."""

import json
from dataclasses import replace
from pathlib import Path

import click

from tethercap.check.view import raw_to_view
from tethercap.cli._progress import of_file, say
from tethercap.cli._sightings import as_data, as_line, film_options, formats_for
from tethercap.cli.exit_codes import ExitCode
from tethercap.cli.main import exit_code_for
from tethercap.errors import StorageError, TethercapError
from tethercap.film.kinds import FilmKind
from tethercap.image_files.jpeg import decode_jpeg
from tethercap.image_files.raw import read_raw
from tethercap.pictures import U8Array
from tethercap.watch.sighting import Decision, Sighting
from tethercap.watch.still import inspect_still

_RAW_REDUCTION = 2
"""Mosaic pixels to one pixel of the view: one cell of the colour filter."""


@click.command()
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=click.Path(path_type=Path))
@film_options
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object a file.")
def inspect(
    files: tuple[Path, ...], format_id: str | None, kind: str | None, mm_per_px: float | None, as_json: bool
) -> ExitCode:
    """Find the frame in each FILE, a live-view JPEG or a RAW, and say how it lies.

    Corners are in pixels of the file, clockwise from the top left, pixel centres at integers; tilt is clockwise
    positive; the offset is the frame's middle from the picture's, in mm, right and down.

    Exit codes: 0 all frames are accepted, 1 one is not, 4 or 5 a file could not be read.
    """
    film_format, formats = formats_for(format_id)
    film_kind = FilmKind(kind) if kind else None
    code = ExitCode.DONE
    for path in files:
        try:
            pixels, factor = _pixels_of(path)
        except TethercapError as error:
            # The files that follow are looked at all the same.
            say(of_file(path, error))
            code = max(code, exit_code_for(error))
            continue
        scale = None if mm_per_px is None else mm_per_px * factor
        seen = inspect_still(pixels, film_format=film_format, film_kind=film_kind, mm_per_px=scale, formats=formats)
        seen = _in_file_px(seen, factor)
        print(json.dumps(as_data(path, seen)) if as_json else as_line(path, seen))
        if seen.verdict.decision is not Decision.ACCEPT:
            code = max(code, ExitCode.FOUND)
    return code


def _pixels_of(path: Path) -> tuple[U8Array, int]:
    """Read a picture; with it, how many of the file's pixels go to one of its own along each side."""
    try:
        with path.open("rb") as file:
            is_jpeg = file.read(2) == b"\xff\xd8"
        if is_jpeg:
            return decode_jpeg(path.read_bytes()), 1
    except OSError as error:
        raise StorageError(f"The file cannot be read: {error.strerror or error}.") from error
    return raw_to_view(read_raw(path), _RAW_REDUCTION), _RAW_REDUCTION


def _in_file_px(seen: Sighting, factor: int) -> Sighting:
    if seen.edges is None or seen.alignment is None or factor == 1:
        return seen
    mm_per_px = seen.edges.mm_per_px / factor
    return replace(
        seen,
        edges=replace(seen.edges, corners=seen.edges.corners.scaled(factor), mm_per_px=mm_per_px),
        alignment=replace(seen.alignment, mm_per_px=mm_per_px),
    )
