"""Frames of a roll that show a colour chart: what it is says how bright they are to be printed, and what film it is."""

from collections.abc import Generator

import cv2
import numpy as np

from tethercap.convert.charts import CHART_EDITIONS, Patch, chart_patches, find_chart
from tethercap.convert.exposure import LUMINANCE, PrintExposure, scene_light
from tethercap.convert.film_model import FilmModel
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx
from tethercap.pictures import F64Array, U8Array

CHART_ON_ROLL = "colour chart found on the roll"
"""Source of a film model that was measured on charts which nobody pointed at."""
_FLAT = 0.05
"""Most that two neighbouring cells of a patch differ, density."""
_FEWEST_CELLS, _LEAST_SHARE = 6, 1 / 1500
"""Least cells, and least share of all cells, that a patch covers."""
_FEWEST_IN_LATTICE = 11
"""Flat fields in a lattice from which on it is worth looking for a chart, which takes a tenth of a second."""
_FEWEST_CUT_OFF = 3
"""Of these fields, so many on either side of a line are no chance."""
_ALIKE, _AT_PITCH = 1.7, 0.2
"""How many times larger than the smallest the fields of a chart are seen; and how much their distances differ."""
_ROUGH_POSITIVES = ((0.1, 99.9, 400), (2.0, 99.5, 560), (2.0, 99.5, 300))
"""Rough positives that the chart is looked for in, one after the other: percentiles of density that are made black and
white, and longer side, px. What is seen of a chart hangs on them, where it is noisy or unevenly lit."""
_MOST_MISFIT_STOPS = 0.5
"""Mean distance of the patches' brightness from what they are; what only looks like a chart is off by more."""
_DARKEST = 0.02
"""Reflectance below which a patch tells no brightness: stray light outweighs it."""
_DOUBT_STOPS = 0.05
"""Doubt of an exposure that a chart tells."""


def chart_densities(density: F64Array, film_kind: FilmKind, *, is_likely: bool = False) -> F64Array | None:
    """Find the 24-patch chart in a frame and measure it.

    Parameters
    ----------
    density : ndarray
        Shape (rows, columns, 3), density over base of the frame's cells; NaN outside the picture.
    film_kind : FilmKind
    is_likely : bool
        Look also where no flat fields catch the eye, as those of a small or a noisy chart may not.

    Returns
    -------
    ndarray or None
        Shape (24, 3), median density of each patch; None where no chart is seen.
    """
    catches_the_eye = len(fields_in_lattice(density)) >= _FEWEST_IN_LATTICE
    if not catches_the_eye and not is_likely:
        return None
    quad = next(charts_in(density, film_kind, tries=len(_ROUGH_POSITIVES) if catches_the_eye else 1), None)
    if quad is None:
        return None
    found = [_median_inside(density, patch) for patch in chart_patches(quad)]
    return np.array(found) if np.all(np.isfinite(found)) else None


def charts_in(
    density: F64Array, film_kind: FilmKind, *, tries: int = len(_ROUGH_POSITIVES)
) -> Generator[QuadPx, None, None]:
    """Look for the 24-patch chart in a frame, in one rough positive after the other.

    Parameters
    ----------
    density, film_kind
        As in `chart_densities`.
    tries : int
        Rough positives that are looked at, at most; each takes a tenth of a second.

    Yields
    ------
    QuadPx
        Corners of the patches' area, the dark skin patch's first, in cells; nothing where no chart is seen. What is
        seen in one may be none, or may lie otherwise, than what is seen in the next.
    """
    as_negative = density if film_kind.is_negative else -density
    for darkest_percent, brightest_percent, long_side_px in _ROUGH_POSITIVES[:tries]:
        rough = _rough_positive(as_negative, (darkest_percent, brightest_percent), long_side_px)
        quad = None if rough is None else find_chart(rough)
        if rough is not None and quad is not None:
            yield quad.scaled(density.shape[1] / rough.shape[1])


def chart_exposure(patches: F64Array, model: FilmModel) -> PrintExposure | None:
    """Find how bright a frame is to be printed from the chart in it.

    Parameters
    ----------
    patches : ndarray
        From `chart_densities`.
    model : FilmModel
        The roll's.

    Returns
    -------
    PrintExposure or None
        None where the patches are not as bright beside each other as those of a chart.
    """
    return _exposure_of(np.maximum(scene_light(patches, model) @ LUMINANCE, 1e-9))


def fields_in_lattice(density: F64Array) -> F64Array:
    """Find flat fields of about one size that have two neighbours as far away as fields have theirs.

    A chart has two dozen of them.

    Parameters
    ----------
    density : ndarray
        Shape (rows, columns, 3); NaN outside the picture.

    Returns
    -------
    ndarray
        Shape (n, 2), middle of each, x and y in cells.
    """
    flat = np.all(np.isfinite(density), axis=2)
    known = np.nan_to_num(density)
    across, down = (np.abs(np.diff(known, axis=axis)).max(axis=2) < _FLAT for axis in (1, 0))
    flat[:, 1:] &= across
    flat[1:] &= down
    _, _, stats, middles = cv2.connectedComponentsWithStats(flat.astype(np.uint8), connectivity=4)
    sizes = stats[1:, cv2.CC_STAT_AREA]
    order = np.argsort(sizes)
    order = order[sizes[order] >= max(_FEWEST_CELLS, _LEAST_SHARE * flat.size)]
    sizes = sizes[order]
    reach = np.searchsorted(sizes, sizes * _ALIKE, side="right") - np.arange(len(sizes))
    if not len(sizes) or reach.max() < _FEWEST_IN_LATTICE:
        return np.empty((0, 2))
    first = int(reach.argmax())
    places = middles[1:][order[first : first + reach[first]]]
    distances = np.hypot(*np.moveaxis(places[:, None] - places, 2, 0))
    np.fill_diagonal(distances, np.inf)
    pitch = np.median(distances.min(axis=1))
    return np.asarray(places[(np.abs(distances / pitch - 1.0) < _AT_PITCH).sum(axis=1) >= 2])


def cuts_chart(density: F64Array, quad: QuadPx) -> bool:
    """Say whether something that was taken for a frame is but a part of a chart, which goes on around it.

    The fields of a chart may well lie as a frame does, with a line as clear as rebate on each side.

    Parameters
    ----------
    density : ndarray
        Shape (rows, columns, 3), density of all cells of a picture, over whatever.
    quad : QuadPx
        In cells.
    """
    fields = fields_in_lattice(density)
    if len(fields) < _FEWEST_IN_LATTICE:
        return False
    outline = quad.as_array().astype(np.float32)
    within = sum(cv2.pointPolygonTest(outline, (float(x), float(y)), False) > 0 for x, y in fields)
    return min(within, len(fields) - within) >= _FEWEST_CUT_OFF


def _rough_positive(density: F64Array, percents: tuple[float, float], long_side_px: int) -> U8Array | None:
    """Each colour of a negative spread over the same range, which takes no film as known; None where nothing is seen.

    Density goes with the logarithm of light, as what the eye sees does, nearly.
    """
    seen = np.all(np.isfinite(density), axis=2)
    if not seen.any():
        return None
    darkest, brightest = np.percentile(density[seen], percents, axis=0)
    shares = np.clip((density - darkest) / np.maximum(brightest - darkest, _FLAT), 0.0, 1.0)
    factor = max(long_side_px / max(density.shape[:2]), 1.0)
    small = np.rint(255 * np.nan_to_num(shares[..., ::-1])).astype(np.uint8)
    return np.asarray(cv2.resize(small, None, fx=factor, fy=factor, interpolation=cv2.INTER_CUBIC), dtype=np.uint8)


def _median_inside(density: F64Array, patch: Patch) -> F64Array:
    """Median of a patch, shape (3,); NaN where no cell of it is inside the picture."""
    mask = np.zeros(density.shape[:2], np.uint8)
    cv2.fillConvexPoly(mask, np.rint(16 * (patch.middle().as_array() - 0.5)).astype(np.int32), 1, shift=4)
    inside = density[(mask > 0) & np.isfinite(density[..., 0])]
    return np.asarray(np.median(inside, axis=0)) if len(inside) else np.full(3, np.nan)


def _exposure_of(seen: F64Array) -> PrintExposure | None:
    answers = []
    for edition in CHART_EDITIONS:
        wanted = edition @ LUMINANCE
        stops = np.log2(wanted / seen)[wanted > _DARKEST]
        middle = float(np.median(stops))
        answers.append((float(np.mean(np.abs(stops - middle))), middle))
    misfit, gain_stops = min(answers)
    return PrintExposure(2.0**gain_stops, doubt_stops=_DOUBT_STOPS) if misfit < _MOST_MISFIT_STOPS else None
