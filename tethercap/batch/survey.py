"""First pass over a roll: every frame looked at in small, then what the frames share is settled."""

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from pathlib import Path

from tethercap.batch.find_frame import SharedFrame, find_frame
from tethercap.convert.calibrate import Measured
from tethercap.convert.exposure import PrintExposure
from tethercap.convert.film_base import FilmBase, combine_bases
from tethercap.convert.film_model import FilmModel
from tethercap.convert.flat_field import FlatField
from tethercap.convert.known_rig import usual_beside
from tethercap.convert.roll_look import (
    FrameSurvey,
    bases_along_roll,
    charts_of_roll,
    exposures_of_roll,
    frames_that_agree,
    model_by_chart,
    neutral_of_roll,
    slide_of_roll,
    survey_frame,
)
from tethercap.convert.usual_film import usual_film
from tethercap.errors import ConversionError, PictureError, TethercapError
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx
from tethercap.image_files.raw import open_raw, read_raw


@dataclass(frozen=True, slots=True, eq=False)
class SurveyJob:
    """One RAW to look at."""

    raw_path: Path
    film_kind: FilmKind
    corners: QuadPx | None = None
    find_frame: bool = True
    format_id: str | None = None
    shared_frame: SharedFrame | None = None
    flat: FlatField | None = None


@dataclass(frozen=True, slots=True, eq=False)
class RollSurvey:
    """What the frames of a roll share."""

    frames: tuple[FrameSurvey, ...]
    """Of those that could be looked at, in the film's order."""
    bases: tuple[FilmBase, ...] | None
    """One for each of them; None where no frame showed clear film."""
    model: FilmModel
    exposures: tuple[PrintExposure, ...] | None
    """One for each of them on a negative; None where each picture finds its own."""
    left_out: frozenset[int] = frozenset()
    """Places, among all that were asked for, of those that could not be looked at."""


def survey_file(job: SurveyJob) -> FrameSurvey:
    """Look at one RAW.

    Raises
    ------
    PictureError
        If it cannot be read.
    """
    with open_raw(job.raw_path) as raw:
        corners = job.corners
        if corners is None and job.find_frame:
            corners = find_frame(raw, job.film_kind, job.format_id, job.shared_frame)
        return survey_frame(raw, job.film_kind, corners, job.flat)


def _survey_or_trouble(job: SurveyJob) -> FrameSurvey | TethercapError:
    try:
        return survey_file(job)
    except (PictureError, ConversionError) as error:
        return error


def _with_frames_that_agree(
    jobs: Sequence[SurveyJob], seen: Sequence[FrameSurvey | TethercapError], pool: Executor
) -> list[FrameSurvey | TethercapError]:
    """Look again, as a whole, at pictures where something was taken for a frame that is none beside the others."""
    places = [place for place, each in enumerate(seen) if isinstance(each, FrameSurvey)]
    frames = [each.corners for each in seen if isinstance(each, FrameSurvey)]
    again = [
        place
        for place, quad, agrees in zip(places, frames, frames_that_agree(frames), strict=True)
        if quad is not None and not agrees and jobs[place].corners is None
    ]
    settled = list(seen)
    whole = [replace(jobs[place], find_frame=False) for place in again]
    for place, survey_or_trouble in zip(again, pool.map(_survey_or_trouble, whole), strict=True):
        settled[place] = survey_or_trouble
    return settled


def _has_told_nothing(measured: Measured) -> bool:
    """Say whether a chart that was named was of no use, so that the frames are all there is."""
    is_negative = measured.model.film_kind.is_negative
    return is_negative and measured.usual is not None and measured.chart is None and measured.cards is None


def survey_roll(
    jobs: Sequence[SurveyJob],
    pool: Executor,
    *,
    calibrate: Callable[[FilmBase | None], Measured] | None = None,
    beside: FilmModel | None = None,
    uses_chart: bool = True,
    on_done: Callable[[], None] = lambda: None,
) -> RollSurvey:
    """Look at all frames of a roll and settle base and neutral; a frame that cannot be looked at is left out.

    Parameters
    ----------
    jobs : sequence of SurveyJob
        In the film's order, at least one.
    pool : Executor
    calibrate : callable, optional
        Takes the roll's base and measures its model on cards or a chart. None tells the neutral from the frames.
    beside : FilmModel, optional
        Another film, as measured on the same rig.
    uses_chart : bool
        Measure the model of a negative on the colour charts that are among the frames as well.
    on_done : callable
        Called after each frame.

    Raises
    ------
    PictureError, ConversionError
        If no frame can be looked at, or the card or chart cannot be used.
    """
    seen = []
    for survey_or_trouble in pool.map(_survey_or_trouble, jobs):
        seen.append(survey_or_trouble)
        on_done()
    seen = _with_frames_that_agree(jobs, seen, pool)
    surveys = [each for each in seen if isinstance(each, FrameSurvey)]
    left_out = frozenset(place for place, each in enumerate(seen) if isinstance(each, TethercapError))
    if isinstance(seen[0], TethercapError) and not surveys:
        raise seen[0]
    bases = bases_along_roll(surveys)
    first = next(job for place, job in enumerate(jobs) if place not in left_out)
    if calibrate is not None:
        measured = calibrate(combine_bases(bases) if bases else None)
        if bases is not None and _has_told_nothing(measured):
            of_frames = neutral_of_roll(surveys, bases, measured.usual or usual_film(first.film_kind))
            measured = replace(measured, model=replace(of_frames, note=measured.model.note))
    else:
        usual = usual_film(first.film_kind, read_raw(first.raw_path), bases[0] if bases else None, first.flat)
        usual = usual_beside(usual, beside) if beside is not None else usual
        measured = Measured(usual.model() if bases is None else neutral_of_roll(surveys, bases, usual), usual)
    model = measured.model
    if model.film_kind is FilmKind.SLIDE and measured.chart is None and measured.usual is not None:
        model = replace(slide_of_roll(surveys, first.flat, measured.usual), note=model.note)
    if bases is None or not model.film_kind.is_negative:
        return RollSurvey(tuple(surveys), None if bases is None else tuple(bases), model, None, left_out)
    charts = charts_of_roll(surveys, bases, model.film_kind, has_chart=measured.chart is not None)
    if uses_chart:
        densities = [survey.density(base) for survey, base in zip(surveys, bases, strict=True)]
        model = model_by_chart(charts, measured, densities)
    told = measured.cards.exposures(model) if measured.cards is not None else []
    cards = dict(zip(measured.card_files, told, strict=True))
    looked_at = [str(job.raw_path.resolve()) for place, job in enumerate(jobs) if place not in left_out]
    by_card = {number: cards[name] for number, name in enumerate(looked_at) if name in cards}
    exposures = exposures_of_roll(surveys, bases, charts, model, by_card)
    return RollSurvey(tuple(surveys), tuple(bases), model, tuple(exposures), left_out)
