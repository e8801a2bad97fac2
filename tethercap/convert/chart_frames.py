"""Frames of a roll that show a colour chart: what it is says how bright they are to be printed, and what film it is."""

import cv2
import numpy as np

from tethercap.convert.charts import CHART_EDITIONS, Patch, chart_patches, find_chart
from tethercap.convert.exposure import LUMINANCE, PrintExposure, scene_light
from tethercap.convert.film_model import FilmModel
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
_ALIKE, _AT_PITCH = 1.7, 0.2
"""How many times larger than the smallest the fields of a chart are seen; and how much their distances differ."""
_LOOKED_AT_PX = 400
"""Longer side of the rough positive that the chart is looked for in."""
_MOST_MISFIT_STOPS = 0.5
"""Mean distance of the patches' brightness from what they are; what only looks like a chart is off by more."""
_DARKEST = 0.02
_DOUBT_STOPS = 0.05


def chart_densities(density: F64Array, model: FilmModel, *, is_likely: bool = False) -> F64Array | None:
    """Find the 24-patch chart in a frame and measure it.

    Parameters
    ----------
    density : ndarray
        Shape (rows, columns, 3), density over base of the frame's cells; NaN outside the picture.
    model : FilmModel
        The roll's; it need be right only roughly.
    is_likely : bool
        Look also where no flat fields catch the eye, as those of a small or a noisy chart may not.

    Returns
    -------
    ndarray or None
        Shape (24, 3), median density of each patch; None where no chart is seen.
    """
    if not is_likely and fields_in_lattice(density) < _FEWEST_IN_LATTICE:
        return None
    quad = look_for_chart(density, model)
    if quad is None:
        return None
    found = [_median_inside(density, patch) for patch in chart_patches(quad)]
    return np.array(found) if np.all(np.isfinite(found)) else None


def look_for_chart(density: F64Array, model: FilmModel) -> QuadPx | None:
    """Look for the 24-patch chart in a frame; parameters as in `chart_densities`.

    Returns
    -------
    QuadPx or None
        Corners of the patches' area, the dark skin patch's first, in cells; None where no chart is seen.
    """
    rough = _rough_positive(np.nan_to_num(scene_light(density, model)))
    quad = find_chart(rough)
    return None if quad is None else quad.scaled(density.shape[1] / rough.shape[1])


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


def fields_in_lattice(density: F64Array) -> int:
    """Count flat fields of about one size that have two neighbours as far away as fields have theirs.

    A chart has two dozen of them.

    Parameters
    ----------
    density : ndarray
        Shape (rows, columns, 3); NaN outside the picture.
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
        return 0
    first = int(reach.argmax())
    places = middles[1:][order[first : first + reach[first]]]
    distances = np.hypot(*np.moveaxis(places[:, None] - places, 2, 0))
    np.fill_diagonal(distances, np.inf)
    pitch = np.median(distances.min(axis=1))
    return int(((np.abs(distances / pitch - 1.0) < _AT_PITCH).sum(axis=1) >= 2).sum())


def _rough_positive(light: F64Array) -> U8Array:
    white = max(float(np.percentile(light.max(axis=2), 99.5)), 1e-9)
    encoded = np.clip(light / white, 0.0, 1.0) ** (1 / 2.2)
    factor = max(_LOOKED_AT_PX / max(light.shape[:2]), 1.0)
    small = np.rint(255 * encoded[..., ::-1]).astype(np.uint8)
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
