"""Frames of a roll that show a colour chart: what it is says how bright they are to be printed, and what film it is."""

from collections.abc import Generator

import cv2
import numpy as np

from tethercap.convert.charts import CHART_COLUMNS, CHART_EDITIONS, CHART_ROWS, Patch, chart_patches, find_chart
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
_LEAST_LIKENESS = 0.85
"""Mean correlation of densities and logarithms of light from which on fields are a chart's, and not a turned one's."""
_MIRRORED = np.array([1, 0, 3, 2])
"""Corners in the order in which they lie on film that was copied the wrong way up."""
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
    fields = fields_in_lattice(density)
    catches_the_eye = len(fields) >= _FEWEST_IN_LATTICE
    if not catches_the_eye and not is_likely:
        return None
    tries = len(_ROUGH_POSITIVES) if catches_the_eye else 1
    quad = next(charts_in(density, film_kind, fields, tries=tries), None)
    if quad is None:
        return None
    found = [_median_inside(density, patch) for patch in chart_patches(quad)]
    return np.array(found) if np.all(np.isfinite(found)) else None


def charts_in(
    density: F64Array, film_kind: FilmKind, fields: F64Array, *, tries: int = len(_ROUGH_POSITIVES)
) -> Generator[QuadPx, None, None]:
    """Look for the 24-patch chart in a frame, in one rough positive after the other.

    Parameters
    ----------
    density, film_kind
        As in `chart_densities`.
    fields : ndarray
        Its `fields_in_lattice`.
    tries : int
        Rough positives that are looked at, at most; each takes a tenth of a second.

    Yields
    ------
    QuadPx
        Corners of the patches' area, the dark skin patch's first, in cells; nothing where no chart is seen. What is
        seen in one may be none, or may lie otherwise, than what is seen in the next.
    """
    by_lattice = _chart_of_lattice(density, film_kind, fields)
    if by_lattice is not None:
        yield by_lattice
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


def _chart_of_lattice(density: F64Array, film_kind: FilmKind, fields: F64Array) -> QuadPx | None:
    """Corners of a chart whose flat fields lie in a lattice, in cells: of patches that touch, or that are small.

    The lattice says where the patches are; which is the first is what makes their densities go best with the chart's.
    """
    if len(fields) < _FEWEST_IN_LATTICE:
        return None
    # Neighbours in a row, then what is left of neighbours in a column.
    steps = (fields[:, None] - fields).reshape(-1, 2)
    lengths = np.hypot(*steps.T)
    pitch = np.median(np.where(lengths > 0, lengths, np.inf).reshape(len(fields), -1).min(axis=1))
    near = steps[np.abs(lengths / pitch - 1.0) < _AT_PITCH]
    across = near[near[:, 0] > np.abs(near[:, 1])]
    down = near[near[:, 1] > np.abs(near[:, 0])]
    if not len(across) or not len(down):
        return None
    to_picture = np.column_stack([np.median(across, axis=0), np.median(down, axis=0)])
    origin = fields[np.argmin(np.hypot(*(fields - fields.mean(axis=0)).T))]
    for _ in range(2):
        numbers = np.rint(np.linalg.solve(to_picture, (fields - origin).T)).T
        fitted, _, rank, _ = np.linalg.lstsq(np.column_stack([numbers, np.ones(len(fields))]), fields, rcond=None)
        if rank < len(fitted):
            return None
        to_picture, origin = fitted[:2].T, fitted[2]
    wanted = np.log10(np.maximum(CHART_EDITIONS[0], _DARKEST)) * (1.0 if film_kind.is_negative else -1.0)
    best: tuple[float, QuadPx | None] = (_LEAST_LIKENESS, None)
    for outline in _outlines(numbers):
        quad = QuadPx.from_array(outline @ to_picture.T + origin)
        seen = np.array([_median_inside(density, patch) for patch in chart_patches(quad)])
        if np.all(np.isfinite(seen)) and np.all(seen.std(axis=0) > 0.0):
            likeness = float(np.mean([np.corrcoef(seen[:, k], wanted[:, k])[0, 1] for k in range(3)]))
            best = max(best, (likeness, quad), key=lambda one: one[0])
    return best[1]


def _outlines(numbers: F64Array) -> Generator[F64Array, None, None]:
    """Every way that a chart's patches may lie on the places of a lattice that are taken, film the wrong way up too.

    Parameters
    ----------
    numbers : ndarray
        Shape (n, 2), column and row of each place.

    Yields
    ------
    ndarray
        Shape (4, 2), corners in columns and rows, the first patch's first.
    """
    first, last = numbers.min(axis=0), numbers.max(axis=0)
    for size, turns in (((CHART_COLUMNS, CHART_ROWS), (0, 2)), ((CHART_ROWS, CHART_COLUMNS), (1, 3))):
        room = np.array(size) - (last - first + 1)
        for right in range(int(room[0]) + 1):
            for below in range(int(room[1]) + 1):
                corner = first - (right, below) - 0.5
                box = corner + np.array([(0, 0), (1, 0), (1, 1), (0, 1)]) * size
                yield from (np.roll(lying, -turn, axis=0) for turn in turns for lying in (box, box[_MIRRORED]))


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
