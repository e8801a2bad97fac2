"""Pictures converted as one roll: one look found over all of them, then each made, a worker that dies not taking the
rest along.
"""

import itertools
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from typing import NamedTuple

from tethercap.batch.films import read_film
from tethercap.batch.find_frame import SharedFrame, frame_of_set, see_frame
from tethercap.batch.job import ConversionJob, ConversionResult
from tethercap.batch.pools import SerialExecutor, death_told, stand_back
from tethercap.batch.sturdy import SturdyPool
from tethercap.batch.survey import SurveyJob, survey_roll
from tethercap.batch.work import convert_file
from tethercap.convert.calibrate import Measured
from tethercap.convert.exposure import PrintExposure
from tethercap.convert.film_base import FilmBase
from tethercap.convert.film_model import FilmModel
from tethercap.convert.recipe import Border
from tethercap.errors import ConversionError, TethercapError
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx

Calibration = Callable[[FilmBase | None], Measured]
"""Takes the roll's film base and measures its film on a card or chart."""


class _Film(NamedTuple):
    """What is said of the film that pictures are on."""

    kind: FilmKind
    known: str
    beside: str


def _film_of(job: ConversionJob) -> _Film:
    return _Film(job.film_kind, job.recipe.film, job.recipe.beside_film)


def _measured_before(film: _Film) -> Calibration | None:
    if not film.known:
        return None
    model = read_film(film.known, film.kind)
    return lambda _base: Measured(model)


_FEWEST_FILES, _MOST_SEEN = 3, 6
"""So many files are a set that can agree, and so many of it, spread over it, are looked at for that."""
_AHEAD = 32
"""Jobs handed to the workers before the first is done."""


def _no_calibration(_kind: FilmKind) -> Calibration | None:
    return None


@dataclass(frozen=True, slots=True, eq=False)
class FrameLook:
    """What one frame gets of its roll."""

    base: FilmBase | None
    model: FilmModel
    exposure: PrintExposure | None
    """With all of the haze taken away; None where each picture finds its own."""
    corners: QuadPx | None
    """The picture on the film, given or found, mosaic pixels."""

    def given_to(self, job: ConversionJob) -> ConversionJob:
        """Give the job with this look, as far as its recipe wants it."""
        # Exposures that are merged have a scale of their own, so the roll's counts do not fit them.
        own = job.recipe.own_base or bool(job.further_raws)
        exposure = self.exposure if job.recipe.auto_exposure and not own else None
        if exposure is not None:
            exposure = replace(exposure, haze=job.recipe.black_point * exposure.haze)
        return replace(
            job,
            base=None if own else self.base,
            model=self.model,
            exposure=exposure,
            corners=job.cut_by or self.corners,
            find_frame=False,
        )


def look_at_roll(
    jobs: Sequence[ConversionJob],
    pool: Executor,
    *,
    calibration: Callable[[FilmKind], Calibration | None] = _no_calibration,
    uses_chart: bool = True,
    on_done: Callable[[], None] = lambda: None,
) -> list[FrameLook]:
    """Look at all frames and find film base, model and exposures; each kind of film is a roll of its own, and so are
    frames whose recipe says another film.

    A frame that cannot be looked at does not stop the others: what is wrong with it comes out when it is converted.

    Parameters
    ----------
    jobs : sequence of ConversionJob
        In the film's order.
    pool : Executor
    calibration : callable, optional
        Gives for a kind of film the function that measures its model, where there is a card or chart for it.
    uses_chart : bool
        Measure the model on charts that are found among the frames as well.
    on_done : callable
        Called after each picture that was looked at.

    Raises
    ------
    PictureError, ConversionError, ProfileError
        If no frame can be looked at, or a card or chart cannot be used.
    """
    looks: dict[int, FrameLook] = {}
    for film in dict.fromkeys(_film_of(job) for job in jobs):
        of_film = [(place, job) for place, job in enumerate(jobs) if _film_of(job) == film]
        film_kind = film.kind
        surveys = [
            SurveyJob(job.raw_path, film_kind, job.cut_by, job.find_frame, job.format_id, job.shared_frame, job.flat)
            for _, job in of_film
        ]
        with death_told("the roll was looked at"):
            found = survey_roll(
                surveys,
                pool,
                calibrate=calibration(film_kind) or _measured_before(film),
                beside=read_film(film.beside, film_kind) if film.beside else None,
                uses_chart=uses_chart,
                on_done=on_done,
            )
        told = zip(
            found.frames,
            found.bases or itertools.repeat(None),
            found.exposures or itertools.repeat(None),
            strict=False,
        )
        for number, (place, job) in enumerate(of_film):
            if number in found.left_out:
                looks[place] = FrameLook(None, found.model, None, job.cut_by)
                continue
            frame, base, exposure = next(told)
            looks[place] = FrameLook(base, found.model, exposure, frame.corners)
    return [looks[place] for place in range(len(jobs))]


def share_frame(
    jobs: Sequence[ConversionJob],
    pool: Executor,
    *,
    for_look: bool = False,
    on_done: Callable[[], None] = lambda: None,
) -> list[ConversionJob]:
    """Let the jobs whose frames are to be found agree on format and scale first: that is surer, and quicker.

    Parameters
    ----------
    jobs : sequence of ConversionJob
        In the film's order; each kind of film is a set of its own.
    pool : Executor
    for_look : bool
        The frames are wanted for the roll's look too, so that pictures which are kept whole ask as well.
    on_done : callable
        Called after each picture that was looked at.
    """
    agreed: dict[tuple[FilmKind, str | None], SharedFrame | None] = {}
    asking = [
        job
        for job in jobs
        if job.find_frame and job.cut_by is None and (for_look or job.recipe.border is not Border.WHOLE)
    ]
    for kind, format_id in dict.fromkeys((job.film_kind, job.format_id) for job in asking):
        paths = [job.raw_path for job in asking if (job.film_kind, job.format_id) == (kind, format_id)]
        if len(paths) < _FEWEST_FILES:
            continue
        some = paths[:: -(-len(paths) // _MOST_SEEN)]
        seen = []
        with death_told("the files were looked at"):
            for one in pool.map(see_frame, some, itertools.repeat(kind), itertools.repeat(format_id)):
                seen.append(one)
                on_done()
        agreed[kind, format_id] = frame_of_set(seen)
    return [replace(job, shared_frame=agreed.get((job.film_kind, job.format_id))) for job in jobs]


def share_look(
    jobs: Sequence[ConversionJob],
    pool: Executor,
    *,
    calibration: Callable[[FilmKind], Calibration | None] = _no_calibration,
    uses_chart: bool = True,
    on_done: Callable[[], None] = lambda: None,
) -> list[ConversionJob]:
    """Give all jobs the film base, the model and the exposures of their roll; parameters as in `look_at_roll`."""
    looks = look_at_roll(jobs, pool, calibration=calibration, uses_chart=uses_chart, on_done=on_done)
    return [look.given_to(job) for look, job in zip(looks, jobs, strict=True)]


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
            yield _outcome(futures.popleft(), jobs[place])
        except BrokenProcessPool:
            yield from _one_by_one(jobs[place:])
            return


def _one_by_one(jobs: Sequence[ConversionJob]) -> Iterator[ConversionResult | TethercapError]:
    with SturdyPool(stand_back) as pool:
        for job in jobs:
            try:
                yield _outcome(pool.submit(convert_file, job), job)
            except BrokenProcessPool:
                yield ConversionError(
                    f"The process that converted {job.raw_path.name} died.",
                    safe="The RAW is untouched.",
                    todo="Check the file with tethercap inspect, and that there is memory enough.",
                )


def _outcome(future: "Future[ConversionResult]", job: ConversionJob) -> ConversionResult | TethercapError:
    try:
        return future.result()
    except TethercapError as error:
        return error
    except MemoryError:
        return ConversionError(
            f"There is not enough memory to convert {job.raw_path.name}.",
            safe="The RAW is untouched.",
            todo="End other programs, or convert fewer at once (--jobs 1).",
        )
