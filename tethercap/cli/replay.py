"""`tethercap replay`: watch a folder of recorded live pictures as if they came now."""

import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import click

from tethercap.cli._progress import say
from tethercap.cli._sightings import Positive, as_data, as_line, film_options, formats_for
from tethercap.cli.exit_codes import ExitCode
from tethercap.errors import StorageError, UnreadablePictureError
from tethercap.film.formats import FilmFormat
from tethercap.film.kinds import FilmKind
from tethercap.image_files.jpeg import JPEG_SUFFIXES, decode_jpeg
from tethercap.pictures import LiveFrame
from tethercap.watch.edges import find_frame_edges
from tethercap.watch.sighting import FrameEdges
from tethercap.watch.watcher import Watcher

_NUMBER = re.compile(r"(\d+)(?!.*\d)")
_FORMAT_FROM = 6
"""So many pictures, spread over the recording, are looked at to find out the format."""
_FORMAT_SURE_BY = 1.5
"""Lead over any other format that ends the search: two pictures that show it clearly, and nothing against it."""


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option("--fps", default=30.0, show_default=True, type=Positive(), help="Pictures per second.")
@click.option(
    "--shutter",
    "shutter_s",
    default=1 / 30,
    type=Positive(),
    help="Shutter time to fire with, s.",
)
@film_options
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object a picture, and one a shot.")
def replay(
    folder: Path,
    fps: float,
    shutter_s: float,
    format_id: str | None,
    kind: str | None,
    mm_per_px: float | None,
    as_json: bool,
) -> ExitCode:
    """Watch the numbered JPEGs in DIR through the same code as a live view, and say when it would have fired.

    The number in a file's name is its place in time; a missing number is a picture that was dropped. Every shot
    counts as taken at once and good.

    Exit codes: 0 done, 2 the command line was wrong, 4 the folder could not be read, 5 an unknown format, or no picture
    that can be read.
    """
    pictures = _numbered(folder)
    film_format, formats = formats_for(format_id)
    film_kind = FilmKind(kind) if kind else None
    if film_format is None:
        film_format = _format_of(pictures, formats, film_kind, mm_per_px)
        say(f"Watching for {film_format.name}.")
    watcher = Watcher(film_format, film_kind=film_kind, mm_per_px=mm_per_px, shutter_s=shutter_s)
    watched = 0
    for path, frame in _frames(pictures, fps, tell=say):
        watched += 1
        seen = watcher.watch(frame)
        t_s = round(frame.taken_at_s, 4)
        data = {"event": "frame", **as_data(path, seen), "t_s": t_s, "ready": seen.ready}
        print(json.dumps(data) if as_json else f"{t_s:8.3f} s  {as_line(path, seen)}")
        if seen.ready:
            watcher.shot_taken(frame.taken_at_s)
            print(json.dumps({"event": "fire", "file": str(path), "t_s": t_s}) if as_json else f"{t_s:8.3f} s  fire")
    if not watched:
        raise UnreadablePictureError(f"None of the pictures in {folder} can be read.", todo="Record them again.")
    return ExitCode.DONE


def _numbered(folder: Path) -> list[tuple[int, Path]]:
    """JPEGs with a number in their name, in its order.

    Raises
    ------
    StorageError
        If the folder cannot be read or holds none.
    """
    try:
        paths = [path for path in folder.iterdir() if path.suffix.lower() in JPEG_SUFFIXES]
    except OSError as error:
        raise StorageError(f"{folder} cannot be read: {error.strerror or error}.") from error
    found = [(int(match[1]), path) for path in paths if (match := _NUMBER.search(path.stem))]
    if not found:
        raise StorageError(f"{folder} holds no JPEG with a number in its name.")
    return sorted(found)


def _frames(
    pictures: list[tuple[int, Path]], fps: float, *, tell: Callable[[str], None] = lambda _: None
) -> Iterator[tuple[Path, LiveFrame]]:
    """Pictures in turn, each at its time; those that cannot be read are left out and told."""
    first = pictures[0][0]
    for number, path in pictures:
        try:
            pixels = decode_jpeg(path.read_bytes())
        except OSError as error:
            tell(f"{path.name} is taken for a dropped picture: {error.strerror or error}.")
            continue
        except UnreadablePictureError as error:
            tell(f"{path.name} is taken for a dropped picture: {error}")
            continue
        yield path, LiveFrame(pixels, (number - first) / fps, number)


def _format_of(
    pictures: list[tuple[int, Path]],
    formats: tuple[FilmFormat, ...],
    film_kind: FilmKind | None,
    mm_per_px: float | None,
) -> FilmFormat:
    """The format that the clearest pictures show; the first listed for 135 when none is clear."""
    sums = dict.fromkeys((film_format.id for film_format in formats), 0.0)
    chosen = pictures[:: max(1, len(pictures) // _FORMAT_FROM)]
    for _, frame in _frames(chosen, 1.0):
        found = find_frame_edges(
            frame.pixels_bgr, film_format=None, film_kind=film_kind, mm_per_px=mm_per_px, formats=formats
        )
        if isinstance(found, FrameEdges):
            sums[found.format_id] += found.confidence**2
        second, first = sorted(sums.values())[-2:]
        if first - second > _FORMAT_SURE_BY:
            break
    best = max(sums, key=lambda format_id: (sums[format_id], format_id == "135-36x24"))
    return next(film_format for film_format in formats if film_format.id == best)
