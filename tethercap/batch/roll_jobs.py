"""A roll's pictures as conversion jobs, and what is made put into the roll."""

from collections.abc import Callable, Iterator
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from tethercap.batch.dust import with_still_dust
from tethercap.batch.find_pair import HALF_FRAME
from tethercap.batch.job import ConversionJob, ConversionResult
from tethercap.batch.recipes import RollRecipes, read_recipes
from tethercap.batch.together import convert_each, share_look
from tethercap.batch.work import frame_long_mm
from tethercap.convert.archive import ArchiveKind
from tethercap.convert.crop import quad_or_none
from tethercap.convert.flat_field import FlatField, measure_flat_field
from tethercap.convert.recipe import Dust, Recipe
from tethercap.errors import RollError, TethercapError
from tethercap.geometry import QuadPx
from tethercap.image_files.raw import read_raw
from tethercap.roll.folder import Roll
from tethercap.roll.metadata import positive_properties
from tethercap.roll.names import FrameId
from tethercap.roll.outcome import FiledTake
from tethercap.roll.state import TakeRecord, find_picture, second_id


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class RollJob:
    """One frame of an open roll to convert."""

    roll: Roll
    frame_id: FrameId
    take: TakeRecord
    job: ConversionJob
    """Writes under names of its own beside the results that may be there."""
    is_second: bool = False
    """It is the second frame's, where two are in the shot."""
    cut: QuadPx | None = None
    """Where the frame lies in the RAW, where two are in the shot."""
    takes: tuple[int, ...] = ()
    """Numbers of all takes that it is made of, where it is made of several."""

    @property
    def number(self) -> FrameId:
        """Number of the frame on the film."""
        return self.frame_id.second if self.is_second else self.frame_id

    def with_archive(self, kind: ArchiveKind | None) -> "RollJob":
        """Give the job with an archive picture wanted as well."""
        if kind is None:
            return self
        path = self.roll.waiting_path(self.roll.made_path(self.number, self.take.number, kind.value, ".tif"))
        return replace(self, job=replace(self.job, archive=kind, archive_path=path))

    def with_recipe(self, recipe: Recipe) -> "RollJob":
        """Give the job with another recipe, and with names for all that this recipe makes beside the positive."""
        roll, take = self.roll, self.take
        mask = jpeg = None
        if recipe.dust is not Dust.KEEP:
            mask = roll.waiting_path(roll.made_path(self.number, take.number, "dust", ".png"))
        # One that is there is made anew, or it would show another recipe than the positive does.
        if recipe.jpeg or any(made.what == "jpeg" and made.second == self.is_second for made in take.made):
            jpeg = roll.waiting_path(roll.made_path(self.number, take.number, "jpeg", ".jpg"))
        return replace(self, job=replace(self.job, recipe=recipe, dust_path=mask, jpeg_path=jpeg))


def roll_jobs(
    roll: Roll, recipes: RollRecipes | None = None, *, instead: Recipe | None = None, proofs: bool = True
) -> list[RollJob]:
    """List the takes that stand for their frames, as they lie on the film.

    Parameters
    ----------
    roll : Roll
    recipes : RollRecipes, optional
        Not given, the roll's own recipe.toml is read.
    instead : Recipe, optional
        Takes the place of what recipe.toml says about the whole roll.
    proofs : bool
        Make proofs as well.

    Raises
    ------
    ProfileError
        If recipe.toml has a mistake.
    """
    recipes = read_recipes(roll.path) if recipes is None else recipes
    jobs = []
    for frame_id, frame in roll.frames.items():
        if (take := frame.chosen) is None:
            continue
        mirrored = take.filed.mirrored
        recipe = recipes.for_frame(frame_id, mirrored=mirrored, instead=instead)
        whole = roll_job(roll, frame_id, take, recipe, proof=proofs)
        cuts = [quad_or_none(made.corners_px) for made in (take.converted, take.second) if made is not None]
        if len(cuts) == 2 and cuts[0] is not None and cuts[1] is not None and second_id(roll.frames, frame_id):
            # The shot was cut in two before, and so it is again.
            of_second = recipes.for_frame(frame_id.second, mirrored=mirrored, instead=instead)
            jobs.append(half_job(whole, cuts[0]))
            jobs.append(half_job(whole, cuts[1], is_second=True).with_recipe(of_second))
        else:
            jobs.append(whole)
    return jobs


def half_job(whole: RollJob, corners: QuadPx, *, is_second: bool = False) -> RollJob:
    """Make of a shot's job that of one of the two half frames in it."""
    roll, take, job = whole.roll, whole.take, whole.job
    number = whole.frame_id.second if is_second else whole.frame_id
    has_proof = job.proof_path is not None
    half = replace(
        job,
        positive_path=roll.waiting_path(roll.positive_path(number, take.number)),
        proof_path=roll.waiting_path(roll.proof_path(number, take.number)) if has_proof else None,
        corners=corners,
        find_frame=False,
        format_id=HALF_FRAME,
        properties=positive_properties(roll.setup, number, take),
    )
    return replace(whole, job=half, is_second=is_second, cut=corners).with_archive(job.archive).with_recipe(job.recipe)


def _light_of(path: Path) -> FlatField:
    """The bare light that a recipe names."""
    return _measured_light(path, path.stat().st_mtime_ns if path.exists() else 0)


@lru_cache(maxsize=2)
def _measured_light(path: Path, _changed_ns: int) -> FlatField:
    """Measure it once for all frames of a roll, and anew when the file was changed."""
    return measure_flat_field(read_raw(path))


def roll_job(roll: Roll, frame_id: FrameId, take: TakeRecord, recipe: Recipe, *, proof: bool = True) -> RollJob:
    """Describe the conversion of one take of a frame; where the frame lies in it is told by the record."""
    job = ConversionJob(
        raw_path=roll.path / take.filed.file,
        film_kind=roll.setup.film_kind,
        positive_path=roll.waiting_path(roll.positive_path(frame_id, take.number)),
        proof_path=roll.waiting_path(roll.proof_path(frame_id, take.number)) if proof else None,
        corners=quad_or_none(take.filed.corners_px),
        find_frame=True,
        flat=_light_of(roll.path / recipe.flat) if recipe.flat else None,
        format_id=roll.setup.film_format,
        properties=positive_properties(roll.setup, frame_id, take),
        with_sha256=True,
    )
    return RollJob(roll=roll, frame_id=frame_id, take=take, job=job).with_recipe(recipe)


def job_of_filed(roll: Roll, filed: FiledTake, recipes: RollRecipes) -> RollJob:
    """Describe the conversion of a picture that was filed, by the number that it has by now.

    Raises
    ------
    RollError
        If it is not in the roll any more.
    """
    found = find_picture(roll.frames, filed.sha256, FrameId.parse(filed.frame_id), filed.take)
    if found is None:
        raise RollError(f"{filed.path.name} is not in the roll any more.", safe="Nothing was changed.")
    frame_id, take = found
    return roll_job(roll, frame_id, take, recipes.for_frame(frame_id, mirrored=take.filed.mirrored))


def put_in_roll(each: RollJob, result: ConversionResult) -> ConversionResult:
    """Put what was made, with the look of its roll, in the place of what was there, and note it.

    Returns
    -------
    ConversionResult
        With the final names, and a sentence for each file that a person had changed, which is kept.

    Raises
    ------
    RollError
        If the picture is not in the roll any more.
    StorageError
    """
    roll, frame_id, take, sha256 = each.roll, each.frame_id, each.take.number, each.take.filed.sha256
    further, kept = {}, list[str]()
    for what, waiting in result.further.items():
        placed = roll.put_made(
            frame_id,
            take,
            waiting,
            what,
            sha256=result.further_sha256[what],
            picture_sha256=sha256,
            is_second=each.is_second,
        )
        further[what] = placed.files[0]
        kept += placed.kept_words
    if result.positive is None:
        return replace(result, further=further, kept=tuple(kept))
    placed = roll.put_positive(
        frame_id,
        take,
        result.positive,
        result.proof,
        positive_sha256=result.positive_sha256,
        proof_sha256=result.proof_sha256,
        picture_sha256=sha256,
        is_second=each.is_second,
        takes=each.takes,
        corners_px=None if each.cut is None else tuple((x_px, y_px) for x_px, y_px in each.cut),
        steps=[{"step": name, **parameters} for name, parameters in result.steps],
        base={"counts_rgb": list(result.base.counts_rgb), "measured": result.base.measured, "of_roll": True},
        warnings=result.warnings,
        recipe=result.recipe,
    )
    positive, *proofs = placed.files
    return replace(
        result,
        positive=positive,
        proof=proofs[0] if proofs else None,
        further=further,
        kept=(*kept, *placed.kept_words),
    )


def has_frames_of_their_own(roll: Roll) -> bool:
    """Whether some frame has no positive yet, or one that was made without looking at the others."""
    takes = [frame.chosen for frame in roll.frames.values() if frame.chosen is not None]
    return any(
        take.converted is None
        or not isinstance(take.converted.base, dict)
        or not take.converted.base.get("of_roll", False)
        for take in takes
    )


@dataclass(frozen=True, slots=True)
class Reconverted:
    """What became of one frame of a roll that is converted as one."""

    frame_id: FrameId
    trouble: TethercapError | None = None
    """Why its positive could not be made; the one from before, if any, is as it was."""
    kept: tuple[str, ...] = ()
    """A sentence for each file that a person had changed, which is kept."""


def reconvert_roll(
    roll: Roll,
    pool: Executor,
    *,
    flat: FlatField | None = None,
    threads: int = 1,
    on_look: Callable[[], None] = lambda: None,
) -> Iterator[Reconverted]:
    """Convert a whole roll again as one: base and neutral found over all its frames, so that they match.

    Positives made one at a time, while the roll was captured, each had a look of their own. Each is replaced when
    the new one is whole; a run that is cut off leaves a roll in which every positive is the old one or the new one.

    Parameters
    ----------
    roll : Roll
        Open.
    pool : Executor
    flat : FlatField, optional
    threads : int
        Threads for each picture.
    on_look : callable
        Called after each frame that was looked at; then the frames are made.

    Yields
    ------
    Reconverted
        For each frame in turn, when its positive is in place.

    Raises
    ------
    TethercapError
        If the roll cannot be looked at as one, or written to; positives not replaced yet are as they were.
    """
    wanted = roll_jobs(roll)
    if not wanted:
        return
    jobs = [replace(each.job, flat=each.job.flat if flat is None else flat, threads=threads) for each in wanted]
    jobs = with_still_dust(jobs, pool, frame_long_mm=frame_long_mm)
    for each, result in zip(wanted, convert_each(share_look(jobs, pool, on_done=on_look), pool), strict=True):
        if isinstance(result, ConversionResult):
            yield Reconverted(each.number, kept=put_in_roll(each, result).kept)
        else:
            yield Reconverted(each.number, result)
