"""What the frames of a roll share: one film base, one neutral. Made of small surveys, one for each frame."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from types import MappingProxyType

import numpy as np

from tethercap.convert.calibrate import Cards, ChartFit, Measured, chart_misfit, fit_chart
from tethercap.convert.cells import Cells, inside, measure_cells, shows_film
from tethercap.convert.chart_frames import CHART_ON_ROLL, chart_densities, chart_exposure
from tethercap.convert.charts import CHART_EDITIONS, GREY_PATCHES
from tethercap.convert.exposure import PrintExposure, find_exposure, scene_light, settle_exposures
from tethercap.convert.film_base import FilmBase, camera_exposure, clearest_base, combine_bases, find_base, measure_base
from tethercap.convert.film_model import GREEN, FilmModel
from tethercap.convert.flat_field import FlatField
from tethercap.convert.grey_charts import grey_model_by_charts
from tethercap.convert.neutral import cast_of_brights, estimate_neutral
from tethercap.convert.pipeline import bare_light
from tethercap.convert.slide_cast import slide_of_frames
from tethercap.convert.usual_film import UsualFilm
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx
from tethercap.pictures import F32Array, F64Array, RawPicture

Chart = F64Array
"""Density over base of a colour chart's patches, shape (24, 3)."""
_MOST_FRAMES = 72
"""Frames that the neutral is told from; more say nothing new, and the roll may be long."""
_DRIFT_DENSITY = 0.04
"""Furthest a frame's own base may lie from the roll's and still be followed."""
_DRIFT_FRAMES = 5
_CLEARER, _BARE = 0.02, 0.2
"""Density by which film in pictures without a frame is clearer than what was taken for rebate, a line around a chart
say; and from which on it is bare light."""
_AGREEING_PART = 5
"""One in so many frames has to show the same base for it to be the roll's."""
_SAME_SIZE = 0.03
"""By how much the sides of found frames may differ on one roll, as a share: the rig stays as it is."""
_FEWEST_TO_AGREE, _FRAMES_FOR_ONE = 4, 4
"""Rolls of so many frames are held to agree on their size, which one in so many frames has to have."""
_MOST_CHART_MISFIT = 4.0
"""CIE L*a*b* that a chart nobody pointed at may be off its colours; real ones are off by one or two."""
_MOST_FURTHER_MISFIT = 8.0
"""The same of a further picture of a chart, by the film as the first tells it, which may be off for its exposure."""
_OTHER_LIGHT = 0.15
"""Log10 by which the greys of such a chart may be tinted where the roll's frames are neutral: daylight and lamps are
further apart."""
_MOST_CHARTS = 6
"""Pictures of the chart that the film is measured on."""
_LEAST_LIGHT = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class FrameSurvey:
    """One frame in small."""

    base: FilmBase | None
    """As measured on this frame alone."""
    counts: F32Array
    """Counts over black of the cells, shape (rows, columns, 3), float32; NaN outside the picture and where clipped."""
    corners: QuadPx | None
    """The picture on the film, mosaic pixels."""
    camera_exposure: float | None = None
    """Time · ISO / f-number² it was copied with; None where the file does not say."""

    def density(self, base: FilmBase) -> F64Array:
        """Density over a base, shape (rows, columns, 3)."""
        return np.asarray(-np.log10(np.maximum(self.counts, 0.5) / np.array(base.counts_rgb)))


def survey_frame(
    raw: RawPicture, film_kind: FilmKind, corners: QuadPx | None, flat: FlatField | None = None
) -> FrameSurvey:
    """Measure one frame of a roll.

    Parameters
    ----------
    raw : RawPicture
    film_kind : FilmKind
    corners : QuadPx or None
        The picture on the film, mosaic pixels.
    flat : FlatField, optional
    """
    cells = measure_cells(raw, flat)
    # Where no rebate shows at all, what is clearest on the roll tells more than nothing does.
    base = find_base(raw, cells, corners, film_kind, flat) or measure_base(raw, cells, None, film_kind, flat)
    return FrameSurvey(base, _picture_counts(raw, cells, corners), corners, camera_exposure(raw.shot))


def _picture_counts(raw: RawPicture, cells: Cells, corners: QuadPx | None) -> F32Array:
    kept = ~cells.clipped
    if corners is not None:
        kept &= inside(cells, corners, -cells.cell_px)
    else:
        # A holder around a frame that was not found would outshine all of it on the print.
        kept &= shows_film(cells, raw.white)
    counts = np.where(kept[..., None], cells.counts, np.float32(np.nan))
    return counts[::2, ::2] if counts.size > 3 * 40_000 else counts


def frames_that_agree(found: Sequence[QuadPx | None]) -> list[bool]:
    """Say which of a roll's found frames are as large as most are; others are no frames, but what was in the picture.

    Parameters
    ----------
    found : sequence of QuadPx or None
        Corners of each frame in its picture, all from one rig; None where no frame was found.

    Returns
    -------
    list of bool
        As many; False too where there is no frame. Of a roll of a few frames all are believed.
    """
    if len(found) < _FEWEST_TO_AGREE:
        return [quad is not None for quad in found]
    sides = np.log([_sides(quad) if quad is not None else (np.nan, np.nan) for quad in found])
    alike = np.abs(sides[:, None] - sides).max(axis=2) < _SAME_SIZE
    support = alike.sum(axis=1)
    if support.max() < max(2, len(found) / _FRAMES_FOR_ONE):
        return [False] * len(found)
    return [bool(near) for near in alike[int(np.argmax(support))]]


def _sides(quad: QuadPx) -> tuple[float, float]:
    """Mean length of a frame's long and of its short sides, px."""
    points = quad.as_array()
    first, second, third, fourth = np.hypot(*(np.roll(points, -1, axis=0) - points).T)
    short, long = sorted((float(first + third) / 2, float(second + fourth) / 2))
    return long, short


def bases_along_roll(surveys: Sequence[FrameSurvey]) -> list[FilmBase] | None:
    """Give each frame its film base: the roll's, drift along the roll followed where the frames measured it.

    Returns
    -------
    list of FilmBase or None
        As many as frames, each at its frame's camera exposure; None where no frame showed clear film.
    """
    measured = [survey.base for survey in surveys if survey.base is not None]
    beside = [base for base in measured if base.how == "rebate"]
    if not measured:
        return None
    of_roll = clearest_base(beside, max(2, len(beside) // _AGREEING_PART)) if beside else None
    if of_roll is None or _is_no_rebate(of_roll, measured):
        # No frame was found on the film: the clearest part of the whole roll is the nearest to clear film there is.
        others = [base for base in measured if base.how != "rebate"]
        clearest = clearest_base(others, 1)
        return [clearest.at_exposure(survey.camera_exposure) for survey in surveys]
    own = [_own_or(survey.base, of_roll) for survey in surveys]
    reach = _DRIFT_FRAMES // 2
    around = [combine_bases(own[max(k - reach, 0) : k + reach + 1]) for k in range(len(own))]
    return [
        base.brighter(_level(survey.base, of_roll)).at_exposure(survey.camera_exposure)
        for base, survey in zip(around, surveys, strict=True)
    ]


def _is_no_rebate(of_roll: FilmBase, measured: Sequence[FilmBase]) -> bool:
    """Say whether more of a roll's pictures have film in them that is clearer than what was taken for its rebate."""
    over = [
        np.log10(np.array(base.counts_rgb) / np.array(of_roll.at_exposure(base.camera_exposure).counts_rgb))
        for base in measured
    ]
    agreeing = sum(
        base.how == "rebate" and np.abs(one).max() < _DRIFT_DENSITY for base, one in zip(measured, over, strict=True)
    )
    clearer = sum(
        base.how != "rebate" and one.min() > _CLEARER and one.max() < _BARE
        for base, one in zip(measured, over, strict=True)
    )
    return bool(clearer > agreeing)


def _level(base: FilmBase | None, of_roll: FilmBase) -> float:
    """Exposure at which a frame was copied over the roll's, log10, where its rebate is all that says so."""
    level = 0.0 if base is None else base.copied_brighter(of_roll)
    return level if abs(level) >= _DRIFT_DENSITY else 0.0


def _own_or(base: FilmBase | None, of_roll: FilmBase) -> FilmBase:
    if base is None or base.how != "rebate":
        return of_roll
    roll_here = of_roll.at_exposure(base.camera_exposure)
    away = np.abs(np.log10(np.array(base.counts_rgb) / np.array(roll_here.counts_rgb))).max()
    return base if away < _DRIFT_DENSITY else of_roll


def charts_of_roll(
    surveys: Sequence[FrameSurvey], bases: Sequence[FilmBase], film_kind: FilmKind, *, has_chart: bool = False
) -> list[Chart | None]:
    """Look for a colour chart in each frame.

    Parameters
    ----------
    surveys, bases : sequence
        One of each for every frame.
    film_kind : FilmKind
    has_chart : bool
        A chart is known to be on the roll, so that there may be more of it.

    Returns
    -------
    list
        As many as frames; None where no chart is seen.
    """
    densities = [survey.density(base) for survey, base in zip(surveys, bases, strict=True)]
    charts = [chart_densities(density, film_kind) for density in densities]
    if not has_chart and not any(chart is not None for chart in charts):
        return charts
    # Who photographs a chart does so at several exposures: it is worth a closer look at the others.
    return [
        chart_densities(density, film_kind, is_likely=True) if chart is None else chart
        for chart, density in zip(charts, densities, strict=True)
    ]


def exposures_of_roll(
    surveys: Sequence[FrameSurvey],
    bases: Sequence[FilmBase],
    charts: Sequence[Chart | None],
    model: FilmModel,
    by_card: Mapping[int, PrintExposure] = MappingProxyType({}),
) -> list[PrintExposure]:
    """Find the print exposure of each frame, by a card or colour chart where one is in it, the roll steadying all.

    Parameters
    ----------
    surveys, bases, charts : sequence
        One of each for every frame.
    model : FilmModel
        The roll's.
    by_card : mapping, optional
        Number of a frame that shows a grey card -> what the card tells.
    """
    frames = enumerate(zip(surveys, bases, charts, strict=True))
    own = [by_card.get(number) or own_exposure(survey, base, chart, model) for number, (survey, base, chart) in frames]
    return settle_exposures(own, model)


def own_exposure(survey: FrameSurvey, base: FilmBase, chart: Chart | None, model: FilmModel) -> PrintExposure:
    """Find the print exposure that a frame tells by itself; parameters as in `exposures_of_roll`."""
    by_chart = None if chart is None else chart_exposure(chart, model)
    if by_chart is not None:
        return by_chart
    density = survey.density(base)
    seen = density[np.isfinite(density[..., 0])]
    return find_exposure(seen, model) if len(seen) else PrintExposure(1.0, doubt_stops=4.0)


def neutral_of_roll(surveys: Sequence[FrameSurvey], bases: Sequence[FilmBase], usual: UsualFilm) -> FilmModel:
    """Tell the roll's neutral from all its frames.

    Parameters
    ----------
    surveys, bases : sequence
        One of each for every frame.
    usual : UsualFilm
        What is usual for the film on its rig.
    """
    if usual.film_kind is not FilmKind.COLOUR_NEGATIVE or not surveys:
        return usual.model()
    step = -(-len(surveys) // _MOST_FRAMES)
    chosen = list(zip(surveys, bases, strict=True))[::step]
    return estimate_neutral([survey.density(base) for survey, base in chosen], usual)


def slide_of_roll(surveys: Sequence[FrameSurvey], flat: FlatField | None, usual: UsualFilm) -> FilmModel:
    """Say how a roll of slides is to be read, by its rig and all its frames; by the rig alone without the bare light.

    Parameters
    ----------
    surveys : sequence of FrameSurvey
    flat : FlatField or None
        The bare light.
    usual : UsualFilm
        What is usual for slides on the rig.
    """
    if flat is None:
        return usual.model()
    light = bare_light(flat, flat.shot)
    chosen = surveys[:: -(-len(surveys) // _MOST_FRAMES)]
    return slide_of_frames([survey.density(light.at_exposure(survey.camera_exposure)) for survey in chosen], usual)


def model_by_chart(charts: Iterable[Chart | None], measured: Measured, frames: Sequence[F64Array] = ()) -> FilmModel:
    """Measure the film on the colour chart in some of the roll's frames, all of them together.

    Parameters
    ----------
    charts : iterable
        Those of some frames, None where a frame shows none.
    measured : Measured
        What is known without them: by the frames' neutral, by cards, or by a chart that somebody named.
    frames : sequence of ndarray
        Density over base of frames' cells, shape (rows, columns, 3), whose light the chart is held against.

    Returns
    -------
    FilmModel
        That of `measured` where there is no chart, or none that the film could have made in the light of the frames.
    """
    rough, usual = measured.model, measured.usual
    if rough.film_kind is FilmKind.BW_NEGATIVE:
        return grey_model_by_charts(charts, measured)
    seen = sorted((chart for chart in charts if chart is not None), key=lambda chart: float(chart[:, GREEN].mean()))
    if not seen or usual is None:
        return rough
    first = measured.chart
    if first is None:
        believed = _first_believed(seen, measured, usual)
        if believed is None:
            return rough
        first, best = believed
        # The chart's greys are grey by what the frames tell, or what is bright in the frames by what the chart tells:
        # one of them is enough, since frames tell an odd film wrongly, and have nothing grey in them now and then.
        if min(_cast_of_greys(first, rough), cast_of_brights(frames, best.model)) > _OTHER_LIGHT:
            return replace(
                rough, note="A colour chart on the roll was lit otherwise than most frames, and was not used."
            )
        rough = replace(best.model, source=CHART_ON_ROLL)
    further = [chart for chart in seen if chart is not first and _is_seen_well(chart, rough)]
    if not further:
        return rough
    further = further[:: -(-len(further) // (_MOST_CHARTS - 1))]
    together = _best_fit(first, further, usual, measured.cards)
    if together.misfit > _MOST_CHART_MISFIT:
        return rough
    return replace(together.model, source=rough.source, note=rough.note)


def _first_believed(seen: Sequence[Chart], measured: Measured, usual: UsualFilm) -> tuple[Chart, ChartFit] | None:
    """Of several charts, darkest first, that which is exposed in the middle, where the film is known best; if it is one
    of those that are seen well.
    """
    middle = seen[len(seen) // 2]
    for chart in sorted(seen[:: -(-len(seen) // _MOST_CHARTS)], key=partial(_apart, middle)):
        fitted = _best_fit(chart, (), usual, measured.cards)
        if fitted.misfit <= _MOST_CHART_MISFIT:
            return chart, fitted
    return None


def _best_fit(first: Chart, further: Sequence[Chart], usual: UsualFilm, cards: Cards | None) -> ChartFit:
    fits = (fit_chart(first, one, GREY_PATCHES, usual, further=further, cards=cards) for one in CHART_EDITIONS)
    return min(fits, key=lambda one: one.misfit)


def _apart(one: Chart, other: Chart) -> float:
    return abs(float(other[:, GREEN].mean() - one[:, GREEN].mean()))


def _is_seen_well(chart: Chart, model: FilmModel) -> bool:
    """Say whether it is a chart in the light of that which the model was measured on, and lies where it was seen."""
    if chart_exposure(chart, model) is None or _cast_of_greys(chart, model) > _OTHER_LIGHT:
        return False
    return min(chart_misfit(chart, edition, model) for edition in CHART_EDITIONS) < _MOST_FURTHER_MISFIT


def _cast_of_greys(chart: Chart, model: FilmModel) -> float:
    """How far the chart's greys are from grey, log10 of the light of red or blue over green's."""
    greys = np.maximum(scene_light(chart[GREY_PATCHES], model), _LEAST_LIGHT)
    return float(np.abs(np.median(np.log10(greys / greys[:, [GREEN]]), axis=0)).max())
