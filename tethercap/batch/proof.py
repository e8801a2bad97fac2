"""A proof of a shot at half size, made as soon as its file is there: to be looked at, not kept.

It is made with the look that the frames before it give their roll, so that it is like the positive that comes later.
"""

from collections.abc import Sequence
from concurrent.futures import Executor, Future
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from pathlib import Path

from tethercap.batch.job import ConversionJob
from tethercap.batch.sturdy import SturdyPool
from tethercap.batch.together import FrameLook
from tethercap.batch.work import frame_long_mm
from tethercap.convert.calibrate import Measured
from tethercap.convert.chart_frames import CHART_ON_ROLL
from tethercap.convert.exposure import PrintExposure, settle_exposures
from tethercap.convert.film_base import FilmBase
from tethercap.convert.film_model import FilmModel
from tethercap.convert.pipeline import RollLook, plan_conversion
from tethercap.convert.render import render_for_screen
from tethercap.convert.roll_look import (
    Chart,
    FrameSurvey,
    bases_along_roll,
    charts_of_roll,
    model_by_chart,
    neutral_of_roll,
    own_exposure,
    survey_frame,
)
from tethercap.convert.usual_film import UsualFilm, usual_film
from tethercap.errors import UnreadablePictureError
from tethercap.geometry import QuadPx, SizePx
from tethercap.image_files.jpeg import encode_jpeg
from tethercap.image_files.raw import open_raw
from tethercap.pictures import RawPicture

_ENOUGH_FOR_LOOK, _MOST_IN_LOOK = 3, 12
"""Frames that tell a look which others are shown with; with fewer, what a frame shows itself has to count as well.
And the most of them, the last ones."""
_QUALITY = 88
"""Of the JPEG: to be looked at once."""
_SAME_SHAPE = 0.02
"""Live view whose sides are in this proportion to the RAW's, or nearer, shows what the RAW shows."""


@dataclass(frozen=True, slots=True)
class SeenFrame:
    """The frame as live view showed it when the shutter was released."""

    corners: QuadPx
    view: SizePx
    """Of the live picture."""

    def corners_in(self, mosaic: SizePx) -> QuadPx | None:
        """Where the frame lies in the RAW, mosaic pixels; None where live view shows another part of it."""
        factor = mosaic.width_px / self.view.width_px
        stretch = mosaic.height_px / self.view.height_px / factor
        return self.corners.scaled(factor) if abs(stretch - 1.0) < _SAME_SHAPE else None


@dataclass(frozen=True, slots=True, eq=False)
class PresentLook:
    """What is known of a roll's look so far."""

    base: FilmBase
    model: FilmModel
    exposures: tuple[PrintExposure, ...] = ()
    """What frames of it tell of their own, each by itself; none of a slide's."""


@dataclass(frozen=True, slots=True, eq=False)
class ProvenFrame:
    """What a frame told when it was proven."""

    survey: FrameSurvey
    chart: Chart | None
    """Colour chart in it; only sought where enough is known of the film."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ProofJob:
    """A shot to prove."""

    names: tuple[Path, ...]
    """Names that its RAW has one after the other, while it is being made safe."""
    conversion: ConversionJob
    """How its positive is made, at half size."""
    seen: SeenFrame | None = None
    look: PresentLook | None = None
    """What frames before it told; None where there were too few."""
    before: tuple[ProvenFrame, ...] = ()
    """Those few, which tell it together with this one."""


@dataclass(frozen=True, slots=True, eq=False)
class Proof:
    """A proof, and what its frame tells of the roll."""

    jpeg: bytes
    """sRGB, half as large as the RAW."""
    frame: ProvenFrame
    usual: UsualFilm


def make_proof(job: ProofJob) -> Proof:
    """Make a proof.

    Raises
    ------
    PictureError
        If the RAW cannot be read.
    ConversionError
    """
    wanted = job.conversion
    with ExitStack() as opened:
        raw = _open_first(job.names, opened)
        corners = wanted.cut_by or (job.seen.corners_in(raw.size) if job.seen is not None else None)
        survey = survey_frame(raw, wanted.film_kind, corners)
        usual = usual_film(wanted.film_kind, raw, job.look.base if job.look is not None else survey.base)
        present = job.look or _look_with(job.before, survey, usual)
        frame_look, chart = _look_of(survey, present, usual, raw)
        given = frame_look.given_to(wanted)
        look = RollLook(
            base=given.base,
            model=given.model,
            exposure=given.exposure,
            frame_long_mm=frame_long_mm(wanted.format_id),
        )
        plan = plan_conversion(raw, wanted.recipe, corners=given.cut_by, film_kind=wanted.film_kind, look=look)
        picture = render_for_screen(plan, raw, None)
    return Proof(encode_jpeg(picture, quality=_QUALITY), ProvenFrame(survey, chart), usual)


def _open_first(names: Sequence[Path], opened: ExitStack) -> RawPicture:
    *passing, last = names
    for name in passing:
        with suppress(UnreadablePictureError):
            return opened.enter_context(open_raw(name))
    return opened.enter_context(open_raw(last))


def _look_of(
    survey: FrameSurvey, look: PresentLook | None, usual: UsualFilm, raw: RawPicture
) -> tuple[FrameLook, Chart | None]:
    """Give a frame its look, and the chart that is in it."""
    if look is None:
        return FrameLook(None, usual.model(), None, survey.corners), None
    base = look.base.for_shot(raw.shot)
    if not look.model.film_kind.is_negative:
        return FrameLook(base, look.model, None, survey.corners), None
    (chart,) = charts_of_roll([survey], [base], look.model.film_kind)
    own = own_exposure(survey, base, chart, look.model)
    *_, exposure = settle_exposures([*look.exposures, own], look.model)
    return FrameLook(base, look.model, exposure, survey.corners), chart


def _look_with(before: Sequence[ProvenFrame], survey: FrameSurvey, usual: UsualFilm) -> PresentLook | None:
    """Tell a look by few frames and by the one that is to be shown with it; None where none showed clear film."""
    surveys = [*(frame.survey for frame in before), survey]
    bases = bases_along_roll(surveys)
    if bases is None:
        return None
    model = neutral_of_roll(surveys, bases, usual)
    return PresentLook(bases[-1], model, _exposures_of(before, bases[:-1], model))


def _exposures_of(
    frames: Sequence[ProvenFrame], bases: Sequence[FilmBase], model: FilmModel
) -> tuple[PrintExposure, ...]:
    if not model.film_kind.is_negative:
        return ()
    known = zip(frames, bases, strict=True)
    return tuple(own_exposure(frame.survey, base, frame.chart, model) for frame, base in known)


def tell_look(frames: Sequence[ProvenFrame], usual: UsualFilm, measured: FilmModel | None = None) -> PresentLook | None:
    """Tell all that frames share with those that come.

    Parameters
    ----------
    frames : sequence of ProvenFrame
        In the film's order.
    usual : UsualFilm
    measured : FilmModel, optional
        What was measured already on the charts that are among them.

    Returns
    -------
    PresentLook or None
        None where no frame showed clear film.
    """
    surveys = [frame.survey for frame in frames]
    bases = bases_along_roll(surveys)
    if bases is None:
        return None
    model = measured or neutral_of_roll(surveys, bases, usual)
    if measured is None and model.film_kind.is_negative:
        densities = [survey.density(base) for survey, base in zip(surveys, bases, strict=True)]
        model = model_by_chart((frame.chart for frame in frames), Measured(model, usual), densities)
    return PresentLook(bases[-1], model, _exposures_of(frames, bases, model))


class Prover:
    """Has a process make proofs, and keeps in mind what the frames tell of their roll.

    Parameters
    ----------
    pool : SturdyPool or Executor
    """

    def __init__(self, pool: SturdyPool | Executor) -> None:
        self._pool = pool
        self._frames: tuple[ProvenFrame, ...] = ()
        """The last ones, and those before them that show a chart."""
        self._look: PresentLook | None = None
        self._untold = 0
        """Frames since the look was told."""

    def prove(self, names: tuple[Path, ...], conversion: ConversionJob, seen: SeenFrame | None) -> "Future[Proof]":
        """Hand a shot over; parameters as in `ProofJob`."""
        before = self._frames[1 - _ENOUGH_FOR_LOOK :] if self._look is None else ()
        job = ProofJob(names=names, conversion=conversion, seen=seen, look=self._look, before=before)
        proof = self._pool.submit(make_proof, job)
        proof.add_done_callback(self._learn)
        return proof

    # The two below run in the pool's own thread, one after the other.

    def _learn(self, done: "Future[Proof]") -> None:
        if done.cancelled() or done.exception() is not None:
            return
        proof = done.result()
        shows_chart = proof.frame.chart is not None
        former = [frame for frame in self._frames[: 1 - _MOST_IN_LOOK] if frame.chart is not None]
        self._frames = (*former, *self._frames[1 - _MOST_IN_LOOK :], proof.frame)
        self._untold += 1
        # A chart tells more than any number of frames, and is measured once.
        if shows_chart or self._untold == _ENOUGH_FOR_LOOK:
            self._untold = 0
            known = self._look.model if self._look is not None else None
            measured = known if known is not None and known.source == CHART_ON_ROLL and not shows_chart else None
            with suppress(RuntimeError):  # the pool is being closed: nobody needs the look any more
                told = self._pool.submit(tell_look, self._frames, proof.usual, measured)
                told.add_done_callback(self._settle)

    def _settle(self, done: "Future[PresentLook | None]") -> None:
        if not done.cancelled() and done.exception() is None:
            self._look = done.result()
