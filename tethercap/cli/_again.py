"""`tethercap convert --again`: pictures made as their positives say that they were made."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from tethercap.batch.again import job_again, kind_in
from tethercap.batch.job import ConversionJob
from tethercap.cli._rolls import Item
from tethercap.errors import ConversionError, PictureError, TethercapError
from tethercap.film.kinds import FilmKind
from tethercap.roll.store import place_of

_TOLD_BY_POSITIVE = (
    "roll_together",
    "grey",
    "chart",
    "it8",
    "it8_values",
    "recipe_id",
    "film",
    "beside_film",
    "save_film",
    "stitch",
    "format_id",
)


def refuse_beside_again(choices: Mapping[str, Any]) -> None:
    """Refuse what a positive tells itself.

    Raises
    ------
    click.UsageError
    """
    for name in _TOLD_BY_POSITIVE:
        if choices[name]:
            option = name.removesuffix("_id").replace("_", "-")
            raise click.UsageError(f"--again takes all from the positive: leave --{option} away.")


def kind_again(positives: Path) -> FilmKind:
    """Kind of film of a positive, or of those in a folder.

    Raises
    ------
    click.UsageError
        If the folder has none.
    PictureError, ConversionError
        If it does not say.
    """
    if not positives.is_dir():
        return kind_in(positives)
    found = sorted(path for path in positives.iterdir() if path.suffix.lower() == ".tif")
    if not found:
        raise click.UsageError(f"There is no positive (.tif) in {positives}.")
    return kind_in(found[0])


def items_again(
    items: Sequence[Item], positives: Path, said: Mapping[str, Any]
) -> tuple[list[Item], list[tuple[ConversionJob, TethercapError]]]:
    """Give items with what their positives say, and those that cannot be made so.

    Parameters
    ----------
    items : sequence of Item
    positives : Path
        A positive, or a folder of some with the names that will be written.
    said : mapping
        Fields of the recipe that were said besides, which win.

    Raises
    ------
    click.UsageError
        If one positive is given for several pictures.
    """
    is_folder = positives.is_dir()
    if len(items) > 1 and not is_folder:
        raise click.UsageError("--again: one positive is of one picture; give a folder of positives for several.")
    made: list[Item] = []
    untold: list[tuple[ConversionJob, TethercapError]] = []
    for item in items:
        name = place_of(item.job.positive_path).name if item.job.positive_path is not None else f"{item.name}.tif"
        try:
            job = job_again(item.job, positives / name if is_folder else positives)
        except (ConversionError, PictureError) as error:
            untold.append((item.job, error))
        else:
            made.append(replace(item, job=replace(job, recipe=replace(job.recipe, **said))))
    return made, untold
