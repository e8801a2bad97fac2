"""`tethercap convert`: RAW files or whole rolls into positives."""

import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import click
from rich.console import Console

from tethercap.batch.calibration import calibrate_on_cards, calibrate_on_chart, read_targets
from tethercap.batch.job import ConversionJob, ConversionResult
from tethercap.batch.pools import make_pool
from tethercap.batch.survey import SurveyJob, survey_roll
from tethercap.batch.work import convert_file
from tethercap.cli._greedy import GreedyCommand
from tethercap.cli._progress import count_bar
from tethercap.cli._rolls import expand_sources, note_in_rolls
from tethercap.cli.exit_codes import ExitCode
from tethercap.convert.film_base import FilmBase
from tethercap.convert.film_model import FilmModel
from tethercap.convert.flat_field import FlatField, measure_flat_field
from tethercap.convert.recipe import Border, Recipe
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
@click.option("--space", type=_names(ColourSpace), help="Colour space of the positives.  [default: srgb]")
@click.option("--border", type=_names(Border), help="How much is kept around the picture.  [default: frame]")
@click.option("--no-crop", is_flag=True, help="Keep all the camera saw; the same as --border whole.")
@click.option("--recipe", "recipe_id", help="A recipe: id of a profile, or a TOML file.")
@click.option("--exposure", type=float, metavar="STOPS", help="Brighter (or darker, negative).")
@click.option("--contrast", type=float, help="Slope of the print, 1 is as the scene was.")
@click.option("--compression", type=_names(Compression), default="none", show_default=True, help="Of the TIFFs.")
@click.option("--proofs/--no-proofs", default=None, help="JPEG proofs beside the positives.  [default: for rolls only]")
@click.option("--out", type=_PATH, help="Folder for the positives; a roll has its own.")
@click.option("--jobs", type=click.IntRange(1, 64), default=1, show_default=True, help="Pictures converted at once.")
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
    items = expand_sources(sources, out, kind, proofs=choices["proofs"])
    recipe = make_recipe(choices)
    together = roll_together or any(item.roll is not None for item in items)
    field = measure_flat_field(read_raw(flat)) if flat is not None else None
    start = [
        ConversionJob(
            raw_path=item.raw_path,
            film_kind=item.film_kind,
            positive_path=item.positive,
            proof_path=item.proof,
            recipe=replace(recipe, mirrored=recipe.mirrored or item.mirrored),
            corners=item.corners,
            find_frame=True,
            format_id=choices["format_id"] or item.format_id,
            flat=field,
            properties=item.properties,
            compression=Compression(choices["compression"]),
            threads=1 if jobs > 1 else 2,
        )
        for item in items
    ]
    work = share_look(start, grey, chart, field, jobs) if together or grey or chart else start
    results = _convert_all(work, jobs, as_json=as_json)
    note_in_rolls(items, results)
    return ExitCode.DONE if all(isinstance(result, ConversionResult) for result in results) else ExitCode.FOUND


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
    said: dict[str, Any] = {}
    if choices.get("space"):
        said["space"] = ColourSpace(choices["space"])
    if choices.get("border"):
        said["border"] = Border(choices["border"])
    if choices.get("no_crop"):
        said["border"] = Border.WHOLE
    if choices.get("exposure") is not None:
        said["exposure_stops"] = choices["exposure"]
    if choices.get("contrast") is not None:
        said["contrast"] = choices["contrast"]
    return replace(recipe, **said)


def share_look(
    work: Sequence[ConversionJob], grey: Sequence[Path], chart: Path | None, flat: FlatField | None, jobs: int
) -> list[ConversionJob]:
    """Give all jobs the film base and the model of their roll; each film kind among them is a roll of its own.

    Raises
    ------
    PictureError, ConversionError, ProfileError
    """
    shared: dict[Path, ConversionJob] = {}
    for film_kind in dict.fromkeys(job.film_kind for job in work):
        of_kind = [job for job in work if job.film_kind is film_kind]
        surveys = [
            SurveyJob(job.raw_path, film_kind, job.corners, job.find_frame, job.format_id, flat) for job in of_kind
        ]
        with count_bar("Looking at the roll", len(surveys)) as advance, make_pool(_pool_kind(jobs), jobs) as pool:
            found = survey_roll(surveys, pool, calibrate=_calibration(film_kind, grey, chart, flat), on_done=advance)
        for number, (job, frame) in enumerate(zip(of_kind, found.frames, strict=True)):
            shared[job.raw_path] = replace(
                job,
                base=found.bases[number] if found.bases else None,
                model=found.model,
                exposure=found.exposures[number] if found.exposures and job.recipe.auto_exposure else None,
                corners=job.corners or frame.corners,
                find_frame=False,
            )
    return [shared[job.raw_path] for job in work]


def _calibration(
    film_kind: FilmKind, grey: Sequence[Path], chart: Path | None, flat: FlatField | None
) -> Callable[[FilmBase | None], FilmModel] | None:
    """Make the function that measures the roll's model on its chart or cards, where there are any."""
    if film_kind is FilmKind.SLIDE and (chart is not None or grey):
        Console(stderr=True).print("A slide keeps its film's own colours; the card or chart is not used for it.")
        return None
    if chart is not None:
        return lambda base: calibrate_on_chart(read_targets([chart])[0], film_kind, base, flat)
    if grey:
        return lambda base: calibrate_on_cards(read_targets(list(grey)), film_kind, base, flat)
    return None


def _pool_kind(jobs: int) -> Any:
    return "processes" if jobs > 1 else "serial"


def _convert_all(work: Sequence[ConversionJob], jobs: int, *, as_json: bool) -> list[ConversionResult | TethercapError]:
    talk = Console(stderr=True)
    results: list[ConversionResult | TethercapError] = []
    with count_bar("Converting", len(work)) as advance, make_pool(_pool_kind(jobs), jobs) as pool:
        futures = [pool.submit(convert_file, job) for job in work] if jobs > 1 else None
        for number, job in enumerate(work):
            try:
                result = futures[number].result() if futures is not None else convert_file(job)
            except TethercapError as error:
                results.append(error)
                talk.print(f"{job.raw_path.name}: {error}", style="red", markup=False, soft_wrap=True)
                _say_failed(job, error, as_json=as_json)
            else:
                results.append(result)
                for warning in result.warnings:
                    talk.print(f"{job.raw_path.name}: {warning}", markup=False, soft_wrap=True)
                _say_done(result, as_json=as_json)
            advance()
    return results


def _say_done(result: ConversionResult, *, as_json: bool) -> None:
    if not as_json:
        print(result.positive or result.proof)
        return
    said = {
        "file": str(result.raw_path),
        "positive": None if result.positive is None else str(result.positive),
        "proof": None if result.proof is None else str(result.proof),
        "seconds": round(result.seconds, 3),
        "size_px": list(result.size),
        "base_counts_rgb": [round(count, 2) for count in result.base.counts_rgb],
        "base_measured": result.base.measured,
        "corners_px": None if result.corners is None else result.corners.as_array().round(2).tolist(),
        "steps": [{"step": name, **parameters} for name, parameters in result.steps],
        "warnings": list(result.warnings),
    }
    print(json.dumps(said))


def _say_failed(job: ConversionJob, error: TethercapError, *, as_json: bool) -> None:
    if as_json:
        print(json.dumps({"file": str(job.raw_path), "positive": None, "error": str(error)}))
