"""`tethercap convert`: RAW files or whole rolls into positives."""

import contextlib
from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import click
from rich.console import Console

from tethercap.batch.calibration import calibrate_on_cards, calibrate_on_chart, read_targets
from tethercap.batch.dust import with_still_dust
from tethercap.batch.it8 import SlideTarget, calibrate_on_target, read_slide_target
from tethercap.batch.job import ConversionJob, ConversionResult
from tethercap.batch.pools import ClusterExecutor, make_pool
from tethercap.batch.roll_jobs import put_in_roll, with_dust_path
from tethercap.batch.stitch import stitch
from tethercap.batch.together import Calibration, convert_each, share_look
from tethercap.batch.work import frame_long_mm
from tethercap.cli._convert_say import say_done, say_failed
from tethercap.cli._greedy import GreedyCommand
from tethercap.cli._progress import count_bar
from tethercap.cli._rolls import Item, Wanted, expand_sources
from tethercap.cli._several import groups_of, merged_items, paired_items, refuse_rolls
from tethercap.cli.exit_codes import ExitCode
from tethercap.convert.archive import ArchiveKind
from tethercap.convert.flat_field import FlatField, measure_flat_field
from tethercap.convert.recipe import Border, Dust, Recipe
from tethercap.errors import TethercapError
from tethercap.film.kinds import FilmKind
from tethercap.image_files.raw import read_raw
from tethercap.image_files.tiff import Compression
from tethercap.pictures import ColourSpace
from tethercap.profile_files import load_profile, read_profile

_PATH = click.Path(path_type=Path)


def _names(values: type[Any]) -> click.Choice[str]:
    return click.Choice([member.value for member in values])


@click.command(cls=GreedyCommand)
@click.argument("sources", nargs=-1, required=True, type=_PATH, metavar="FILES|ROLL...")
@click.option("--kind", type=_names(FilmKind), help="What film it is; a roll knows its own.")
@click.option("--format", "format_id", help="Id of the film format; a roll knows its own, otherwise all are tried.")
@click.option(
    "--roll-together", is_flag=True, help="Let the files share one film base and one neutral, as frames of a roll."
)
@click.option("--flat", type=_PATH, help="A RAW of the bare light, same rig: its unevenness is taken out.")
@click.option(
    "--grey", multiple=True, type=_PATH, help="RAWs of a grey card on this roll, or a JSON that says where it lies."
)
@click.option("--chart", type=_PATH, help="A RAW of a 24-patch colour chart on this roll, or a JSON with its corners.")
@click.option("--it8", type=_PATH, help="For slides: a JSON that says where a target of ISO 12641 lies in a RAW.")
@click.option("--it8-values", type=_PATH, help="The text (CGATS.17) that came with that target.")
@click.option("--space", type=_names(ColourSpace), help="Colour space of the positives.  [default: srgb]")
@click.option("--border", type=_names(Border), help="How much is kept around the picture.  [default: frame]")
@click.option("--no-crop", is_flag=True, help="Keep all the camera saw; the same as --border whole.")
@click.option("--recipe", "recipe_id", help="A recipe: id of a profile, or a TOML file.")
@click.option("--exposure", type=float, metavar="STOPS", help="Brighter (or darker, negative).")
@click.option("--contrast", type=float, help="Slope of the print, 1 is as the scene was.")
@click.option(
    "--archive",
    type=_names(ArchiveKind),
    help="Also write the film as measured, flat-fielded and squared, 16 bits: linear light, or density.",
)
@click.option(
    "--dust",
    type=_names(Dust),
    help="Look for dust on film and rig: mark writes a mask beside the positive, repair paints it over as well.",
)
@click.option("--merge", is_flag=True, help="The files are exposures of one frame: a bracket, or repeats.")
@click.option("--stitch", is_flag=True, help="The files are overlapping parts of one frame.")
@click.option("--each", type=click.IntRange(2), help="Files to a frame, for --merge and --stitch.  [default: all]")
@click.option(
    "--pairs",
    type=click.Choice(["left-first", "right-first"]),
    help="Each RAW shows two half frames side by side; they get NAME and NAMEA, or 7 and 7A.",
)
@click.option("--compression", type=_names(Compression), default="none", show_default=True, help="Of the TIFFs.")
@click.option("--proofs/--no-proofs", default=None, help="JPEG proofs beside the positives.  [default: for rolls only]")
@click.option("--out", type=_PATH, help="Folder for the positives; a roll has its own.")
@click.option("--jobs", type=click.IntRange(1, 64), default=1, show_default=True, help="Pictures converted at once.")
@click.option(
    "--cluster",
    metavar="ADDRESS",
    help="Convert on a Dask cluster, like tcp://127.0.0.1:8786, whose workers see the same files.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a picture on stdout.")
def convert(
    sources: tuple[Path, ...],
    kind: str | None,
    roll_together: bool,
    flat: Path | None,
    grey: tuple[Path, ...],
    chart: Path | None,
    out: Path | None,
    jobs: int,
    as_json: bool,
    **choices: Any,
) -> ExitCode:
    """Turn RAW files, or all pictures of rolls, into positives.

    The RAW files are only read. Positives are 16-bit TIFF with their ICC profile inside; one that is there already
    is made anew.
    """
    recipe = make_recipe(choices)
    wanted = Wanted(
        recipe=recipe,
        instead_of_rolls=bool(choices["recipe_id"]),
        kind=kind,
        out=out,
        format_id=choices["format_id"],
        archive=ArchiveKind(choices["archive"]) if choices["archive"] else None,
        proofs=choices["proofs"],
    )
    field = measure_flat_field(read_raw(flat)) if flat is not None else None
    with contextlib.ExitStack() as stack:
        items = expand_sources(stack, sources, wanted)
        pool = stack.enter_context(_pool_for(choices["cluster"], jobs))
        said = {**choices, "kind": kind}
        threads = 1 if jobs > 1 or choices["cluster"] else 2
        items = [replace(item, job=_as_chosen(item, said, field, threads=threads)) for item in items]
        if choices["stitch"]:
            return _stitch_all(groups_of(items, choices["each"]), pool, as_json=as_json)
        if choices["merge"]:
            items = merged_items(items, choices["each"])
        if choices["pairs"]:
            items = paired_items(items, pool, is_right_first=choices["pairs"] == "right-first")
        work = [item.job for item in items]
        if roll_together or grey or chart or choices["it8"] or any(item.roll_job for item in items):
            with count_bar("Looking at the roll", len(work)) as advance:
                target = _slide_target(choices["it8"], choices["it8_values"])
                calibration = partial(_calibration, grey, chart, target, field)
                work = share_look(work, pool, calibration=calibration, on_done=advance)
        work = with_still_dust(work, pool, frame_long_mm=frame_long_mm)
        is_done = _convert_all(items, work, pool, as_json=as_json)
    return ExitCode.DONE if is_done else ExitCode.FOUND


def _pool_for(cluster: str | None, jobs: int) -> Executor:
    if cluster:
        return ClusterExecutor(cluster)
    return make_pool("processes" if jobs > 1 else "serial", jobs)


def _stitch_all(groups: Sequence[Sequence[Item]], pool: Executor, *, as_json: bool) -> ExitCode:
    """Put each group of parts together into one positive."""
    is_done = True
    for group in groups:
        refuse_rolls(group, "--stitch")
        jobs = [item.job for item in group]
        if jobs[0].positive_path is None:
            continue
        target = jobs[0].positive_path.with_name(f"{group[0].name}_stitched.tif")
        with count_bar("Putting together", len(group)) as advance:
            try:
                say_done(stitch(jobs, target, pool, on_done=advance), as_json=as_json)
            except TethercapError as error:
                is_done = False
                say_failed(jobs[0], error, as_json=as_json)
    return ExitCode.DONE if is_done else ExitCode.FOUND


def _as_chosen(item: Item, choices: dict[str, Any], flat: FlatField | None, *, threads: int) -> ConversionJob:
    """Give the job with what the command line says about every picture."""
    job = item.job
    if choices.get("kind") is not None:
        job = replace(job, film_kind=FilmKind(choices["kind"]))
    chosen = replace(
        job,
        recipe=replace(job.recipe, **said_of_recipe(choices)),
        format_id=choices["format_id"] or job.format_id,
        flat=flat,
        compression=Compression(choices["compression"]),
        threads=threads,
    )
    if item.roll_job is not None:
        return with_dust_path(item.roll_job.roll, item.roll_job.frame_id, item.roll_job.take, chosen)
    if chosen.recipe.dust is not Dust.KEEP and chosen.positive_path is not None:
        return replace(chosen, dust_path=chosen.positive_path.with_name(f"{item.name}_dust.png"))
    return chosen


def _convert_all(items: Sequence[Item], work: Sequence[ConversionJob], pool: Executor, *, as_json: bool) -> bool:
    """Convert, put what was made into its roll at once, and say so; False where some could not be made."""
    is_done = True
    with count_bar("Converting", len(work)) as advance:
        for item, job, result in zip(items, work, convert_each(work, pool), strict=True):
            if isinstance(result, ConversionResult):
                placed = put_in_roll(item.roll_job, result) if item.roll_job is not None else result
                say_done(placed, as_json=as_json)
            else:
                is_done = False
                say_failed(job, result, as_json=as_json)
            advance()
    return is_done


def make_recipe(choices: dict[str, Any]) -> Recipe:
    """Put a recipe together: the profile's or file's, then what was said on the command line.

    Raises
    ------
    ProfileError
        If there is no such recipe, or it has a mistake in it.
    """
    recipe = Recipe()
    named = choices.get("recipe_id")
    if named:
        path = Path(named)
        recipe = read_profile(path, Recipe) if path.suffix == ".toml" else load_profile("recipes", named, Recipe)
    return replace(recipe, **said_of_recipe(choices))


def said_of_recipe(choices: dict[str, Any]) -> dict[str, Any]:
    """Fields of the recipe that the command line names; they win over any recipe."""
    said: dict[str, Any] = {}
    if choices.get("space"):
        said["space"] = ColourSpace(choices["space"])
    if choices.get("border"):
        said["border"] = Border(choices["border"])
    if choices.get("no_crop"):
        said["border"] = Border.WHOLE
    if choices.get("dust"):
        said["dust"] = Dust(choices["dust"])
    if choices.get("exposure") is not None:
        said["exposure_stops"] = choices["exposure"]
    if choices.get("contrast") is not None:
        said["contrast"] = choices["contrast"]
    return said


def _slide_target(said: Path | None, values: Path | None) -> SlideTarget | None:
    if said is None and values is None:
        return None
    if said is None or values is None:
        raise click.UsageError("A slide target needs both --it8 and --it8-values.")
    return read_slide_target(said, values)


def _calibration(
    grey: Sequence[Path], chart: Path | None, target: SlideTarget | None, flat: FlatField | None, film_kind: FilmKind
) -> Calibration | None:
    """Make the function that measures the roll's model on its target, chart or cards, where there are any."""
    if target is not None and film_kind is FilmKind.SLIDE:
        return lambda base: calibrate_on_target(target, flat, base)
    if film_kind is FilmKind.SLIDE and grey:
        Console(stderr=True).print("A slide keeps its film's own colours; the cards are not used for it.")
        grey = ()
    if chart is not None:
        return lambda base: calibrate_on_chart(read_targets([chart])[0], film_kind, base, flat)
    if grey:
        return lambda base: calibrate_on_cards(read_targets(list(grey)), film_kind, base, flat)
    return None
