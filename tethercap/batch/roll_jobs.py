"""A roll's pictures as conversion jobs, and what is made put into the roll."""

from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass, replace

from tethercap.batch.dust import with_still_dust
from tethercap.batch.job import ConversionJob, ConversionResult
from tethercap.batch.recipes import RollRecipes, read_recipes
from tethercap.batch.together import convert_each, share_look
from tethercap.batch.work import frame_long_mm
from tethercap.convert.crop import quad_or_none
from tethercap.convert.flat_field import FlatField
from tethercap.convert.recipe import Dust, Recipe
from tethercap.errors import TethercapError
from tethercap.roll.folder import Roll
from tethercap.roll.metadata import positive_properties
from tethercap.roll.names import FrameId


@dataclass(frozen=True, slots=True, eq=False)
class RollJob:
    """One frame of an open roll to convert."""

    roll: Roll
    frame_id: FrameId
    take: int
    job: ConversionJob
    """Writes under names of its own beside the positives that may be there."""


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
        take = frame.chosen
        if take is None:
            continue
        job = ConversionJob(
            raw_path=roll.path / take.filed.file,
            film_kind=roll.setup.film_kind,
            positive_path=roll.waiting_path(roll.positive_path(frame_id, take.number)),
            proof_path=roll.waiting_path(roll.proof_path(frame_id, take.number)) if proofs else None,
            recipe=recipes.for_frame(frame_id, mirrored=take.filed.mirrored, instead=instead),
            corners=quad_or_none(take.filed.corners_px),
            find_frame=True,
            format_id=roll.setup.film_format,
            properties=positive_properties(roll.setup, frame_id, take),
        )
        jobs.append(RollJob(roll, frame_id, take.number, with_dust_path(roll, frame_id, take.number, job)))
    return jobs


def with_dust_path(roll: Roll, frame_id: FrameId, take: int, job: ConversionJob) -> ConversionJob:
    """Give the job a place for its mask of dust, if its recipe looks for dust."""
    if job.recipe.dust is Dust.KEEP:
        return job
    return replace(job, dust_path=roll.waiting_path(roll.made_path(frame_id, take, "dust", ".png")))


def put_in_roll(roll_job: RollJob, result: ConversionResult) -> ConversionResult:
    """Put what was made, with the look of its roll, in the place of what was there, and note it.

    Returns
    -------
    ConversionResult
        With the final names.

    Raises
    ------
    StorageError
    """
    roll, frame_id, take = roll_job.roll, roll_job.frame_id, roll_job.take
    further = {}
    for what, waiting in result.further.items():
        further[what] = roll.put_made(frame_id, take, waiting, what, sha256=result.further_sha256[what])
    result = replace(result, further=further)
    if result.positive is None:
        return result
    roll.put_positive(
        frame_id,
        take,
        result.positive,
        result.proof,
        positive_sha256=result.positive_sha256,
        proof_sha256=result.proof_sha256,
        steps=[{"step": name, **parameters} for name, parameters in result.steps],
        base={"counts_rgb": list(result.base.counts_rgb), "measured": result.base.measured, "of_roll": True},
        warnings=result.warnings,
        recipe=result.recipe,
    )
    proof = roll.proof_path(frame_id, take) if result.proof is not None else None
    return replace(result, positive=roll.positive_path(frame_id, take), proof=proof)


def has_frames_of_their_own(roll: Roll) -> bool:
    """Whether some frame has no positive yet, or one that was made without looking at the others."""
    takes = [frame.chosen for frame in roll.frames.values() if frame.chosen is not None]
    return any(
        take.converted is None
        or not isinstance(take.converted.base, dict)
        or not take.converted.base.get("of_roll", False)
        for take in takes
    )


def reconvert_roll(
    roll: Roll,
    pool: Executor,
    *,
    flat: FlatField | None = None,
    threads: int = 1,
    on_step: Callable[[], None] = lambda: None,
) -> list[tuple[FrameId, TethercapError]]:
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
    on_step : callable
        Called twice for each frame: when it was looked at, and when its positive is in place.

    Returns
    -------
    list
        Frames whose positives could not be made, and why.

    Raises
    ------
    TethercapError
        If the roll cannot be looked at as one, or written to; positives not replaced yet are as they were.
    """
    wanted = roll_jobs(roll)
    if not wanted:
        return []
    jobs = [replace(each.job, flat=flat, threads=threads) for each in wanted]
    jobs = with_still_dust(jobs, pool, frame_long_mm=frame_long_mm)
    failed = []
    for each, result in zip(wanted, convert_each(share_look(jobs, pool, on_done=on_step), pool), strict=True):
        if isinstance(result, ConversionResult):
            put_in_roll(each, result)
        else:
            failed.append((each.frame_id, result))
        on_step()
    return failed
