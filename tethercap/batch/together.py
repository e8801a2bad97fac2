"""Pictures converted as one roll: one look found over all of them, then each made, a worker that dies not taking the
rest along.
"""

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace

from tethercap.batch.job import ConversionJob, ConversionResult
from tethercap.batch.pools import SerialExecutor, stand_back
from tethercap.batch.sturdy import SturdyPool
from tethercap.batch.survey import SurveyJob, survey_roll
from tethercap.batch.work import convert_file
from tethercap.convert.film_base import FilmBase
from tethercap.convert.film_model import FilmModel
from tethercap.errors import ConversionError, TethercapError
from tethercap.film.kinds import FilmKind

Calibration = Callable[[FilmBase | None], FilmModel]
"""Takes the roll's film base and measures its model on a card or chart."""


_AHEAD = 32
"""Jobs handed to the workers before the first is done."""


def _no_calibration(_kind: FilmKind) -> Calibration | None:
    return None


def share_look(
    jobs: Sequence[ConversionJob],
    pool: Executor,
    *,
    calibration: Callable[[FilmKind], Calibration | None] = _no_calibration,
    on_done: Callable[[], None] = lambda: None,
) -> list[ConversionJob]:
    """Give all jobs the film base, the model and the exposures of their roll; each kind of film is a roll of its own.

    Parameters
    ----------
    jobs : sequence of ConversionJob
        In the film's order.
    pool : Executor
    calibration : callable, optional
        Gives for a kind of film the function that measures its model, where there is a card or chart for it.
    on_done : callable
        Called after each picture that was looked at.

    Raises
    ------
    PictureError, ConversionError, ProfileError
    """
    shared: dict[int, ConversionJob] = {}
    for film_kind in dict.fromkeys(job.film_kind for job in jobs):
        of_kind = [(place, job) for place, job in enumerate(jobs) if job.film_kind is film_kind]
        surveys = [
            SurveyJob(job.raw_path, film_kind, job.cut_by, job.find_frame, job.format_id, job.flat)
            for _, job in of_kind
        ]
        try:
            found = survey_roll(surveys, pool, calibrate=calibration(film_kind), on_done=on_done)
        except BrokenProcessPool as error:
            raise ConversionError(
                "A process died while the roll was looked at.",
                safe="Nothing was changed.",
                todo="Try with --jobs 1; the file at which it stops then is the damaged one.",
            ) from error
        for number, ((place, job), frame) in enumerate(zip(of_kind, found.frames, strict=True)):
            # Exposures that are merged have a scale of their own, so the roll's counts do not fit them.
            own = job.recipe.own_base or bool(job.further_raws)
            shared[place] = replace(
                job,
                base=found.bases[number] if found.bases and not own else None,
                model=found.model,
                exposure=(
                    found.exposures[number] if found.exposures and job.recipe.auto_exposure and not own else None
                ),
                corners=job.cut_by or frame.corners,
                find_frame=False,
            )
    return [shared[place] for place in range(len(jobs))]


def convert_each(jobs: Sequence[ConversionJob], pool: Executor) -> Iterator[ConversionResult | TethercapError]:
    """Convert all, and give for each in turn what became of it.

    A worker process that dies takes the pool with it: what was not done yet is then done in workers that are replaced,
    and only the picture that kills its worker again is given up.
    """
    # What is ahead is bounded, so that a long roll needs no more memory than a short one; and a pool that works in this
    # very thread hands out each result before the next is begun.
    ahead = 1 if isinstance(pool, SerialExecutor) else _AHEAD
    futures: deque[Future[ConversionResult]] = deque()
    for place in range(len(jobs)):
        try:
            while len(futures) < ahead and place + len(futures) < len(jobs):
                futures.append(pool.submit(convert_file, jobs[place + len(futures)]))
            yield _outcome(futures.popleft())
        except BrokenProcessPool:
            yield from _one_by_one(jobs[place:])
            return


def _one_by_one(jobs: Sequence[ConversionJob]) -> Iterator[ConversionResult | TethercapError]:
    with SturdyPool(stand_back) as pool:
        for job in jobs:
            try:
                yield _outcome(pool.submit(convert_file, job))
            except BrokenProcessPool:
                yield ConversionError(
                    f"The process that converted {job.raw_path.name} died.",
                    safe="The RAW is untouched.",
                    todo="Check the file with tethercap inspect, and that there is memory enough.",
                )


def _outcome(future: "Future[ConversionResult]") -> ConversionResult | TethercapError:
    try:
        return future.result()
    except TethercapError as error:
        return error
