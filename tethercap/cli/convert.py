"""`tethercap convert`: RAW files or whole rolls into positives."""

import contextlib
import itertools
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import click

from tethercap.batch.calibration import Target, calibrate_on_cards, calibrate_on_chart, read_targets
from tethercap.batch.dust import with_still_dust
from tethercap.batch.films import is_measured, keep_film, read_film, refuse_taken
from tethercap.batch.it8 import SlideTarget, calibrate_on_target, read_slide_target
from tethercap.batch.job import ConversionJob, ConversionResult
from tethercap.batch.pools import ClusterExecutor, make_pool
from tethercap.batch.put_files import places_of, put_files, sweep
from tethercap.batch.roll_jobs import put_in_roll
from tethercap.batch.stitch import stitch
from tethercap.batch.together import Calibration, convert_each, share_frame, share_look
from tethercap.batch.work import frame_long_mm
from tethercap.cli._again import items_again, kind_again, refuse_beside_again
from tethercap.cli._convert_say import say_done, say_failed
from tethercap.cli._greedy import GreedyCommand
from tethercap.cli._progress import count_bar, say
from tethercap.cli._rolls import Item, Wanted, expand_sources, refuse_shared_places
from tethercap.cli._several import Unpaired, merged_items, paired_items, stitched_items
from tethercap.cli.exit_codes import ExitCode
from tethercap.convert.archive import ArchiveKind
from tethercap.convert.calibrate import Measured
from tethercap.convert.film_model import FilmModel
from tethercap.convert.flat_field import FlatField, measure_flat_field
from tethercap.convert.recipe import Border, Dust, Recipe
from tethercap.errors import ConversionError, RollNameError, TethercapError
from tethercap.film.kinds import FilmKind
from tethercap.image_files.metadata import read_shot
from tethercap.image_files.raw import read_raw
from tethercap.image_files.tiff import Compression
from tethercap.pictures import ColourSpace
from tethercap.profile_files import load_profile, read_profile
from tethercap.roll.names import FrameId, parse_frame_range
from tethercap.roll.store import place_of, waiting_path

_PATH = click.Path(path_type=Path)


def _names(values: type[Any]) -> click.Choice[str]:
    return click.Choice([member.value for member in values])


@click.command(cls=GreedyCommand)
@click.argument("sources", nargs=-1, required=True, type=_PATH, metavar="FILES|ROLL...")
@click.option("--kind", type=_names(FilmKind), help="What film it is; a roll knows its own.")
@click.option("--format", "format_id", help="Id of the film format; a roll knows its own, files agree on one.")
@click.option(
    "--roll-together", is_flag=True, help="Let the files share one film base and one neutral, as frames of a roll."
)
@click.option("--flat", type=_PATH, help="A RAW of the bare light, same rig: its unevenness is taken out.")
@click.option(
    "--grey", multiple=True, type=_PATH, help="RAWs of a grey card on this roll, or a JSON that says where it lies."
)
@click.option("--chart", type=_PATH, help="A RAW of a 24-patch colour chart on this roll, or a JSON with its corners.")
@click.option("--ignore-charts", is_flag=True, help="Use no such chart that is found among a negative's frames.")
@click.option("--it8", type=_PATH, help="For slides: a JSON that says where a target of ISO 12641 lies in a RAW.")
@click.option("--it8-values", type=_PATH, help="The text (CGATS.17) that came with that target.")
@click.option(
    "--film", metavar="NAME", help="A film that was kept by --save-film on this rig: nothing of it is measured."
)
@click.option(
    "--beside-film", metavar="NAME", help="Another film that was kept on this rig: it helps to tell this one's colours."
)
@click.option(
    "--save-film",
    metavar="NAME",
    help="Keep the film as --chart, --grey or --it8 measured it, for --film, --beside-film.",
)
@click.option("--space", type=_names(ColourSpace), help="Colour space of the positives.  [default: srgb]")
@click.option("--border", type=_names(Border), help="How much is kept around the picture.  [default: frame]")
@click.option("--no-crop", is_flag=True, help="Keep all the camera saw; the same as --border whole.")
@click.option("--recipe", "recipe_id", help="A recipe: id of a profile, or a TOML file.")
@click.option(
    "--again",
    type=_PATH,
    metavar="POSITIVE",
    help="Make the picture as this positive, or those in this folder, say of themselves that they were made.",
)
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
@click.option(
    "--frames", metavar="NUMBERS", help="Of a roll only these, like 7 or 3,9-12; the look is the whole roll's."
)
@click.option(
    "--merge", is_flag=True, help="The files, or the takes of a roll's frame, are one bracket, or repeats: add them up."
)
@click.option(
    "--stitch",
    is_flag=True,
    help="The files, or the takes of a roll's frame, are overlapping parts: put them together.",
)
@click.option("--each", type=click.IntRange(2), help="Files to a frame, for --merge and --stitch.  [default: all]")
@click.option(
    "--pairs",
    type=click.Choice(["left-first", "right-first"]),
    help="Each RAW shows two half frames side by side; they get NAME and NAMEA, or 7 and 7A.",
)
@click.option("--compression", type=_names(Compression), default="none", show_default=True, help="Of the TIFFs.")
@click.option("--jpeg", is_flag=True, help="Also write each positive as a JPEG of full size.")
@click.option("--proofs/--no-proofs", default=None, help="JPEG proofs beside the positives.  [default: for rolls only]")
@click.option("--out", type=_PATH, help="Folder for the positives; a roll has its own.")
@click.option("--replace", "replaces", is_flag=True, help="Write over files in --out instead of keeping them beside.")
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
    again: Path | None,
    out: Path | None,
    jobs: int,
    as_json: bool,
    **choices: Any,
) -> ExitCode:
    """Turn RAW files, or all pictures of rolls, into positives.

    The RAW files are only read. Positives are 16-bit TIFF with their ICC profile inside. In a roll, one that is there
    already is made anew; if it was changed since it was made, the changed one is kept in edited/. Of files, what is
    there already is kept as NAME_before.tif.
    """
    _refuse_contradictions({**choices, "grey": grey, "chart": chart})
    if again is not None:
        refuse_beside_again({**choices, "grey": grey, "chart": chart, "roll_together": roll_together})
        kind = kind or kind_again(again)
    recipe = make_recipe(choices)
    wanted = Wanted(
        recipe=recipe,
        instead_of_rolls=bool(choices["recipe_id"]),
        kind=kind,
        out=out,
        format_id=choices["format_id"],
        archive=ArchiveKind(choices["archive"]) if choices["archive"] else None,
        proofs=choices["proofs"],
        frames=_frame_ranges(choices["frames"]),
    )
    # What is wrong with these is told before the pictures are looked at.
    if choices["save_film"]:
        refuse_taken(choices["save_film"])
    field = measure_flat_field(read_raw(flat)) if flat is not None else None
    cards, charts = read_targets(grey), read_targets([chart] if chart is not None else [])
    target = _slide_target(choices["it8"], choices["it8_values"])
    with contextlib.ExitStack() as stack:
        items = _without_light(expand_sources(stack, sources, wanted), flat)
        if wanted.frames and not any(item.roll_job for item in items):
            raise click.UsageError("--frames says which frames of a roll; name single files instead.")
        places = set[Path]()
        stack.callback(sweep, places)  # when the pool below is closed
        pool = stack.enter_context(_pool_for(choices["cluster"], jobs))
        said = {**choices, "kind": kind}
        threads = 1 if jobs > 1 or choices["cluster"] else 2
        items = [_as_chosen(item, said, field, threads=threads) for item in items]
        items, unpaired = _several(items, pool, wanted, choices)
        refuse_shared_places(items)
        if again is not None:
            items, untold = items_again(items, again, said_of_recipe(choices))
            unpaired = [*unpaired, *untold]
        for job, error in unpaired:
            say_failed(job, error, as_json=as_json)
        places.update(place for item in items if item.roll_job is None for place in places_of(item.job))
        sweep(places)
        work = [item.job for item in items]
        if again is None:
            named = any(choices[name] for name in ("film", "beside_film", "save_film"))
            together = bool(roll_together or cards or charts or target or named) or any(item.roll_job for item in items)
            known = _film_beside(work)
            calibration = partial(_calibration, cards, charts, target, field, known) if together else None
            work = _looked_at(work, pool, calibration, uses_chart=not choices["ignore_charts"])
            if choices["save_film"]:
                _save_film(work, choices["save_film"])
        chosen = [(item, job) for item, job in zip(items, work, strict=True) if item.is_wanted(wanted.frames)]
        is_done = _convert_all(chosen, pool, keeps=not choices["replaces"], as_json=as_json) and not unpaired
    return ExitCode.DONE if is_done else ExitCode.FOUND


def _film_beside(work: Sequence[ConversionJob]) -> FilmModel | None:
    """The other film on the rig that the recipes name, if all name the same."""
    names = {(job.recipe.beside_film, job.film_kind) for job in work}
    name, film_kind = names.pop() if len(names) == 1 else ("", None)
    return read_film(name, film_kind) if name and film_kind is not None else None


def _save_film(work: Sequence[ConversionJob], film_id: str) -> None:
    """Keep the film that the jobs are converted by.

    Raises
    ------
    ConversionError
        If nothing was measured, or more than one film.
    """
    films = {job.model for job in work if job.model is not None}
    if len(films) != 1 or not is_measured(model := films.pop()):
        raise ConversionError(
            "There is no film to keep: it was not measured, or the files are of more than one.",
            safe="No picture was made.",
            todo="Name a chart (--chart), cards (--grey) or a target (--it8) on one roll.",
        )
    camera = read_shot(work[0].raw_path).camera_model
    path = keep_film(replace(model, source=f"{model.source}, {camera}") if camera else model, film_id)
    say(f"The film is kept as {film_id}, in {path}.")


def _looked_at(
    work: list[ConversionJob],
    pool: Executor,
    calibration: Callable[[FilmKind], Calibration | None] | None,
    *,
    uses_chart: bool,
) -> list[ConversionJob]:
    """Give the jobs what the pictures tell together: format, dust on the rig, and a roll's look where `calibration`."""
    work = share_frame(work, pool, for_look=calibration is not None)
    if calibration is not None:
        with count_bar("Looking at the roll", len(work)) as advance:
            work = share_look(work, pool, calibration=calibration, uses_chart=uses_chart, on_done=advance)
    return with_still_dust(work, pool, frame_long_mm=frame_long_mm)


def _refuse_contradictions(choices: dict[str, Any]) -> None:
    if choices["merge"] and choices["stitch"]:
        raise click.UsageError("--merge is for pictures of one place, --stitch for parts side by side: choose one.")
    if choices["each"] and not (choices["merge"] or choices["stitch"]):
        raise click.UsageError("--each goes with --merge or --stitch.")
    if choices["film"] and (choices["grey"] or choices["chart"] or choices["it8"]):
        raise click.UsageError("--film was measured already: leave --chart, --grey and --it8 away.")
    if choices["stitch"] and (choices["archive"] or choices["dust"] == Dust.MARK):
        raise click.UsageError("--stitch makes a positive only: no --archive, and no mask of its --dust.")


def _without_light(items: list[Item], flat: Path | None) -> list[Item]:
    """Leave the picture of the bare light out, which often lies in the same folder as those of the film."""
    kept = [item for item in items if flat is None or item.job.raw_path.resolve() != flat.resolve()]
    if flat is not None and len(kept) < len(items):
        say(f"{flat.name} is the bare light, so no positive is made of it.")
    if not kept and items:
        raise click.UsageError(f"There is no picture but {flat}, which is the bare light.")
    return kept


def _pool_for(cluster: str | None, jobs: int) -> Executor:
    if cluster:
        return ClusterExecutor(cluster)
    return make_pool("processes" if jobs > 1 else "serial", jobs)


def _frame_ranges(text: str | None) -> tuple[tuple[FrameId, FrameId], ...]:
    try:
        return tuple(parse_frame_range(part.strip()) for part in text.split(",")) if text else ()
    except RollNameError as error:
        raise click.BadParameter(str(error), param_hint="--frames") from error


def _several(
    items: list[Item], pool: Executor, wanted: Wanted, choices: dict[str, Any]
) -> tuple[list[Item], list[Unpaired]]:
    """Put together what is one frame, and take apart what is two; frames that are not wanted stay as they are."""
    chosen = [item for item in items if item.is_wanted(wanted.frames)]
    others = [item for item in items if not item.is_wanted(wanted.frames)]
    if not chosen:
        raise click.UsageError("The roll has no picture" + (" of these frames." if wanted.frames else " yet."))
    if choices["stitch"]:
        chosen = stitched_items(chosen, choices["each"])
    if choices["merge"]:
        chosen = merged_items(chosen, choices["each"])
    unpaired: list[Unpaired] = []
    if choices["pairs"]:
        chosen, unpaired = paired_items(chosen, pool, is_right_first=choices["pairs"] == "right-first")
    return [*others, *chosen], unpaired


def _as_chosen(item: Item, choices: dict[str, Any], flat: FlatField | None, *, threads: int) -> Item:
    """Give the item with what the command line says about every picture."""
    recipe = replace(item.job.recipe, **said_of_recipe(choices))
    roll_job = item.roll_job.with_recipe(recipe) if item.roll_job is not None else None
    job = item.job if roll_job is None else replace(item.job, **_further_paths(roll_job.job))
    chosen = replace(
        job,
        recipe=recipe,
        film_kind=FilmKind(choices["kind"]) if choices.get("kind") is not None else job.film_kind,
        format_id=choices["format_id"] or job.format_id,
        flat=job.flat if flat is None else flat,
        compression=Compression(choices["compression"]),
        threads=threads,
    )
    if roll_job is None and chosen.positive_path is not None:
        place = place_of(chosen.positive_path)
        if recipe.dust is not Dust.KEEP:
            chosen = replace(chosen, dust_path=waiting_path(place.with_name(f"{item.name}_dust.png")))
        if recipe.jpeg:
            chosen = replace(chosen, jpeg_path=waiting_path(place.with_name(f"{item.name}_full.jpg")))
    return Item(chosen, roll_job)


def _further_paths(job: ConversionJob) -> dict[str, Any]:
    return {"dust_path": job.dust_path, "jpeg_path": job.jpeg_path}


def _convert_all(chosen: Sequence[tuple[Item, ConversionJob]], pool: Executor, *, keeps: bool, as_json: bool) -> bool:
    """Convert, put what was made into its place at once, and say so; False where some could not be made."""
    is_done = True
    singles = [(item, job) for item, job in chosen if not item.parts]
    with count_bar("Converting", len(chosen)) as advance:
        made = zip(singles, convert_each([job for _, job in singles], pool), strict=True)
        stitched = (((item, job), _stitched(item, job, pool)) for item, job in chosen if item.parts)
        for (item, job), result in itertools.chain(made, stitched):
            if isinstance(result, ConversionResult):
                in_roll = item.roll_job
                placed = put_files(result, keep=keeps) if in_roll is None else put_in_roll(in_roll, result)
                say_done(placed, as_json=as_json)
            else:
                is_done = False
                say_failed(job, result, as_json=as_json)
            advance()
    return is_done


def _stitched(item: Item, job: ConversionJob, pool: Executor) -> ConversionResult | TethercapError:
    try:
        return stitch(item.parts, job, pool)
    except TethercapError as error:
        return error


def make_recipe(choices: dict[str, Any]) -> Recipe:
    """Put a recipe together: the profile's or file's, then what was said on the command line.

    Raises
    ------
    ProfileError
        If there is no such recipe, or it has a mistake in it.
    click.UsageError
        If something that was said is beyond what a picture can be made with.
    """
    recipe = Recipe()
    named = choices.get("recipe_id")
    if named:
        path = Path(named)
        recipe = read_profile(path, Recipe) if path.suffix == ".toml" else load_profile("recipes", named, Recipe)
    try:
        return replace(recipe, **said_of_recipe(choices))
    except ValueError as error:
        raise click.UsageError(f"{error}.") from error


def said_of_recipe(choices: dict[str, Any]) -> dict[str, Any]:
    """Fields of the recipe that the command line names; they win over any recipe."""
    said: dict[str, Any] = {}
    if choices.get("space"):
        said["space"] = ColourSpace(choices["space"])
    if choices.get("border"):
        said["border"] = Border(choices["border"])
    if choices.get("no_crop"):
        said["border"] = Border.WHOLE
    if choices.get("jpeg"):
        said["jpeg"] = True
    if choices.get("dust"):
        said["dust"] = Dust(choices["dust"])
    for name in ("film", "beside_film"):
        if choices.get(name):
            said[name] = choices[name]
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
    cards: Sequence[Target],
    charts: Sequence[Target],
    target: SlideTarget | None,
    flat: FlatField | None,
    known: FilmModel | None,
    film_kind: FilmKind,
) -> Calibration | None:
    """Make the function that measures the roll's film on its target, chart or cards, where there are any."""
    if target is not None and film_kind is FilmKind.SLIDE:
        return lambda base: Measured(calibrate_on_target(target, flat, base))
    if target is not None:
        say(f"The target is for slides; it is not used for this {film_kind.value.replace('-', ' ')}.")
    if film_kind is FilmKind.SLIDE and cards:
        say("A slide keeps its film's own colours; the cards are not used for it.")
        cards = ()
    if charts:
        return lambda base: calibrate_on_chart(charts[0], film_kind, base, flat)
    if cards:
        return lambda base: calibrate_on_cards(cards, film_kind, base, flat, known)
    return None
