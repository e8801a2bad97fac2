"""What colour charts on a black-and-white roll tell of its film: their grey row is on it, at one exposure or several.

Nothing is made of the other patches, since what is bright to the film need not be to the eye; they only say that
something is a chart.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from tethercap.convert.calibrate import Cards, Measured, fit_grey_charts
from tethercap.convert.chart_frames import CHART_ON_ROLL, chart_exposure
from tethercap.convert.charts import CHART_EDITIONS, GREY_PATCHES
from tethercap.convert.exposure import LUMINANCE
from tethercap.convert.film_model import FilmModel
from tethercap.convert.usual_film import UsualFilm
from tethercap.pictures import F64Array

_MOST_MISFIT = 1.5
"""CIE L* that the greys of a chart nobody pointed at may be off in the mean; real ones are off by less than one."""
_MOST_CHARTS = 6
"""Pictures of the chart that the film is measured on."""


def grey_model_by_charts(charts: Iterable[F64Array | None], measured: Measured) -> FilmModel:
    """Measure black-and-white film on the charts in some of a roll's frames, all of them together.

    Parameters
    ----------
    charts : iterable
        Density over base of the patches, shape (24, 3), of some frames; None where a frame shows none.
    measured : Measured
        What is known without them: what is usual, by cards, or by a chart that somebody named.

    Returns
    -------
    FilmModel
        That of `measured` where there is no chart that the film could have made.
    """
    usual, named = measured.usual, measured.chart
    seen = [chart for chart in charts if chart is not None]
    if not seen or usual is None:
        return measured.model
    seen.sort(key=lambda chart: float(chart.mean()))
    found, known = seen[:: -(-len(seen) // _MOST_CHARTS)], [] if named is None else [named]
    while found:
        model, misfits = _fitted([*found, *known], usual, measured.cards)
        worst = int(np.argmax(misfits[: len(found)]))
        if misfits[worst] <= _MOST_MISFIT and chart_exposure(found[worst], model) is not None:
            return replace(model, source=CHART_ON_ROLL if named is None else measured.model.source)
        del found[worst]
    return measured.model


def grey_model_by_chart(chart: F64Array, usual: UsualFilm) -> FilmModel:
    """Measure black-and-white film on one chart that somebody pointed at, density over base, shape (24, 3)."""
    return _fitted([chart], usual, None)[0]


def _fitted(charts: Sequence[F64Array], usual: UsualFilm, cards: Cards | None) -> tuple[FilmModel, F64Array]:
    """The film by the edition of the chart that fits best, and how far each chart's greys are off, CIE L*."""
    greys = [chart[GREY_PATCHES] for chart in charts]
    fits = [fit_grey_charts(greys, edition[GREY_PATCHES] @ LUMINANCE, usual, cards) for edition in CHART_EDITIONS]
    return min(fits, key=lambda one: float(one[1].sum()))
