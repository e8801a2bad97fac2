"""What `inspect` and `replay` share: the options an operator would know, and a sighting as data and as a line."""

import math
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import click

from tethercap.film.formats import FilmFormat
from tethercap.film.kinds import FilmKind
from tethercap.profile_files import load_film_format, load_film_formats
from tethercap.watch.sighting import Sighting

_Command = TypeVar("_Command", bound=Callable[..., object])


class Positive(click.FloatRange):
    """A finite number above 0; `nan` and `inf` are numbers to Python, too."""

    def __init__(self) -> None:
        super().__init__(min=0, min_open=True)

    def convert(self, value: float, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read it, or fail as click does."""
        number = float(super().convert(value, param, ctx))
        if not math.isfinite(number):
            self.fail(f"{value} is not a finite number.", param, ctx)
        return number


def film_options(command: _Command) -> _Command:
    """Add --format, --kind and --scale."""
    options = (
        click.option(
            "--format", "format_id", metavar="ID", help="Film format, e.g. 135-36x24; without it all are tried."
        ),
        click.option(
            "--kind",
            type=click.Choice([kind.value for kind in FilmKind]),
            help="Kind of film; without it, told by the picture.",
        ),
        click.option(
            "--scale",
            "mm_per_px",
            type=Positive(),
            metavar="MM_PER_PX",
            help="Millimetres of film per pixel, to about 1 %; without it, found out.",
        ),
    )
    for option in reversed(options):
        command = option(command)
    return command


def formats_for(format_id: str | None) -> tuple[FilmFormat | None, tuple[FilmFormat, ...]]:
    """The format named, or all that come into question.

    Raises
    ------
    ProfileError
        If there is no such format.
    """
    return (load_film_format(format_id), ()) if format_id else (None, load_film_formats())


def as_data(path: Path, sighting: Sighting) -> dict[str, object]:
    """A sighting as it goes into JSON; numbers rounded to what they are worth."""
    edges, alignment, motion = sighting.edges, sighting.alignment, sighting.motion
    corners = None
    if edges is not None:
        corners = [[round(point.x_px, 2), round(point.y_px, 2)] for point in edges.corners]
    return {
        "file": str(path),
        "verdict": sighting.verdict.decision.value,
        "reasons": [reason.text for reason in sighting.verdict.reasons],
        "corners_px": corners,
        "tilt_deg": None if alignment is None else round(alignment.tilt_deg, 3),
        "offset_mm": None if alignment is None else [round(value, 3) for value in alignment.offset],
        "mm_per_px": None if edges is None else round(edges.mm_per_px, 7),
        "whole": None if alignment is None else alignment.whole,
        "moving": None if motion is None else not motion.still,
        "film_kind": None if sighting.film_kind is None else sighting.film_kind.value,
        "format": None if edges is None else edges.format_id,
        "confidence": None if edges is None else round(edges.confidence, 3),
        "film_present": sighting.film_present,
        "blank": sighting.blank,
    }


def as_line(path: Path, sighting: Sighting) -> str:
    """A sighting for people, one line."""
    parts = [f"{path}: {sighting.verdict.decision.value.replace('-', ' ')}"]
    if sighting.alignment is not None:
        x_mm, y_mm = sighting.alignment.offset
        parts.append(f"{x_mm:+.2f} mm, {y_mm:+.2f} mm, {sighting.alignment.tilt_deg:+.2f} degrees")
    parts.extend(reason.text for reason in sighting.verdict.reasons)
    return "; ".join(parts)
