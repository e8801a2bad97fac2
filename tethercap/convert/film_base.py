"""The clear film itself: what a colour of the camera sees through base and fog, which density is measured from."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tethercap.convert.cells import Cells, inside, measure_cells
from tethercap.convert.flat_field import FlatField
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx
from tethercap.pictures import F64Array, RawPicture, ShotData

NEAR_FRAME_MM, FAR_FROM_FRAME_MM = 0.25, 1.6
"""Rebate is looked for between these distances from the picture's edge; perforations begin about 0.7 mm from it on two
sides, which the brightness tells."""
_FRAME_MM = 36.0
"""Longer side of a 135 frame; on a larger format the two above grow with the frame."""
_SMOOTH = 0.12
"""Largest spread in a cell of clear film over its mean; grain and noise stay below, an edge does not."""
_CLUSTER_DENSITY = 0.03
"""How far cells of clear film may be from each other, in any colour."""
_FEWEST_CELLS = 12
"""So many cells have to agree for their colour to be measured."""
_LEAST_OVER_PICTURE, _CLEAR_PERCENTILE = 0.8, 98.0
"""Least of the light through clear film over that through the clearest parts of the picture."""
_OTHER_COLOUR_DENSITY = 0.03
"""Most that the colours of one film's base may differ between pictures that were only copied at other exposures."""
_OVER_MASKED, _NEAR_BARE = 0.75, 0.1
"""Share of the bare light from which on a cell cannot be film with an orange mask, whose clear base lets less through.
Where film has no mask, a cell shows the bare light if it is as bright within the second, as a share of it."""
_FINE_CELL_PX = 4
"""Side of the cells that a rebate is looked at with where it is too narrow for the usual ones."""


@dataclass(frozen=True, slots=True)
class FilmBase:
    """Clear film as the camera sees it."""

    counts_rgb: tuple[float, float, float]
    """Counts over black through clear film, for red, green, blue."""
    measured: bool = True
    """False where it is an estimate."""
    spread: float = 0.0
    """Standard deviation between the places it was measured on, density."""
    cells: int = 0
    """Places it was measured on."""
    camera_exposure: float | None = None
    """Time · ISO / f-number², which the counts are for; None where the file does not say."""
    how: str = "rebate"

    def for_shot(self, shot: ShotData) -> "FilmBase":
        """Give the base as a picture taken at another camera exposure would show it."""
        return self.at_exposure(camera_exposure(shot))

    def at_exposure(self, exposure: float | None) -> "FilmBase":
        """Give the base at another camera exposure, time · ISO / f-number²; the same where one of them is not known."""
        if exposure is None or self.camera_exposure is None:
            return self
        factor = exposure / self.camera_exposure
        red, green, blue = (count * factor for count in self.counts_rgb)
        return replace(self, counts_rgb=(red, green, blue), camera_exposure=exposure)

    def brighter(self, log_level: float) -> "FilmBase":
        """Give the base as a picture would show it that was copied brighter, log10."""
        red, green, blue = (count * 10.0**log_level for count in self.counts_rgb)
        return replace(self, counts_rgb=(red, green, blue))

    def copied_brighter(self, roll: "FilmBase") -> float:
        """How much brighter this picture was copied than a roll's base says, log10.

        Only the rebate itself tells that, and only where the files do not say their exposures: it is 0 elsewhere, and
        where the rebate is of another colour, for then it is not clear, or where the roll's frames show none.
        """
        if self.how != "rebate" or roll.how != "rebate" or self.camera_exposure is not None:
            return 0.0
        away = np.log10(np.array(self.counts_rgb) / np.array(roll.counts_rgb))
        return float(away.mean()) if np.ptp(away) < _OTHER_COLOUR_DENSITY else 0.0


def camera_exposure(shot: ShotData) -> float | None:
    """Time · ISO / f-number², or None where one of them is not known."""
    if not (shot.exposure_s and shot.iso and shot.f_number):
        return None
    return shot.exposure_s * shot.iso / shot.f_number**2


def measure_base(
    raw: RawPicture, cells: Cells, corners: QuadPx | None, film_kind: FilmKind, flat: FlatField | None = None
) -> FilmBase | None:
    """Measure the clear base of a negative.

    Parameters
    ----------
    raw : RawPicture
    cells : Cells
        Of the same RAW.
    corners : QuadPx or None
        The picture on the film, mosaic pixels. With it only the film beside the picture is looked at; without it
        the brightest film anywhere is taken, which is clear film only if some shows.
    film_kind : FilmKind
        A slide has no clear rebate; the answer is None then.
    flat : FlatField, optional
        What `cells` were measured with; it tells what colour bare light has.

    Returns
    -------
    FilmBase or None
        None where no clear film could be told from bare light and from the picture.
    """
    if not film_kind.is_negative:
        return None
    usable = (cells.roughness < _SMOOTH) & ~cells.clipped & (cells.counts.min(axis=2) > 0.002 * raw.white)
    usable &= ~_is_bare_light(raw, cells, film_kind, flat)
    if corners is not None:
        found = _brightest_cluster(cells.counts[usable & _rebate(cells, corners)])
    else:
        # A sliver of rebate along one side is little beside the whole picture, but not beside its rim.
        some = [_brightest_cluster(cells.counts[chosen]) for chosen in (usable, usable & _rim(usable))]
        found = max((each for each in some if each is not None), key=_log_level, default=None)
    if found is None:
        return None
    counts, spread, number = found
    if corners is not None and not _outshines(counts, cells, corners):
        return None
    red, green, blue = (float(count) for count in counts)
    how = "rebate" if corners is not None else "brightest film"
    return FilmBase((red, green, blue), True, spread, number, camera_exposure(raw.shot), how)


def find_base(
    raw: RawPicture, cells: Cells, corners: QuadPx | None, film_kind: FilmKind, flat: FlatField | None
) -> FilmBase | None:
    """Measure the clear base, with finer cells where the rebate that shows is narrow; parameters as in `measure_base`.

    Parameters
    ----------
    flat : FlatField or None
        What `cells` were measured with.
    """
    base = measure_base(raw, cells, corners, film_kind, flat)
    if base is not None or corners is None or not film_kind.is_negative:
        return base
    return measure_base(raw, measure_cells(raw, flat, _FINE_CELL_PX), corners, film_kind, flat)


def _rebate(cells: Cells, corners: QuadPx) -> np.ndarray:
    points = corners.as_array()
    px_per_mm = float(max(np.hypot(*(points[1] - points[0])), np.hypot(*(points[2] - points[1])))) / _FRAME_MM
    near = max(NEAR_FRAME_MM * px_per_mm, cells.cell_px / 2)
    within = inside(cells, corners, FAR_FROM_FRAME_MM * px_per_mm)
    # A cell that touches the picture is not rebate: the picture is grown by a cell more than `inside` asks for.
    return np.asarray(within & ~inside(cells, corners, near + cells.cell_px))


def _rim(usable: np.ndarray) -> np.ndarray:
    rim = np.ones_like(usable)
    rim[1:-1, 1:-1] = False
    return rim


def _log_level(cluster: tuple[F64Array, float, int]) -> float:
    return float(np.log10(cluster[0]).mean())


def _outshines(counts: F64Array, cells: Cells, corners: QuadPx) -> bool:
    """Say whether counts are as high as the picture's brightest: stray light on a holder is not, clear film is."""
    shown = cells.counts[inside(cells, corners, -cells.cell_px) & ~cells.clipped]
    if not len(shown):
        return True
    return bool(np.all(counts > _LEAST_OVER_PICTURE * np.percentile(shown, _CLEAR_PERCENTILE, axis=0)))


def _is_bare_light(raw: RawPicture, cells: Cells, film_kind: FilmKind, flat: FlatField | None) -> np.ndarray:
    """Cells that show the light without film: as bright as it, and as neutral where the film's mask is orange."""
    known = None if flat is None else _light_in(raw, flat)
    level = None if known is None else cells.counts.mean(axis=2) / known.mean()
    if film_kind is not FilmKind.COLOUR_NEGATIVE:
        if level is None:
            return np.zeros(cells.roughness.shape, np.bool_)
        return np.asarray(np.abs(level - 1.0) < _NEAR_BARE)
    neutral = raw.daylight_multipliers if flat is None else flat.light_counts[1] / flat.light_counts
    balanced = cells.counts * neutral.astype(np.float32)
    green = np.maximum(balanced[..., 1], 1.0)
    bright = green > 0.5 * np.percentile(green, 99) if level is None else level > _OVER_MASKED
    return np.asarray(bright & (balanced[..., 0] < 1.35 * green) & (balanced[..., 2] > 0.75 * green))


def _light_in(raw: RawPicture, flat: FlatField) -> F64Array | None:
    """Counts of the bare light at a picture's camera exposure; None where one of the two is not known."""
    here, there = camera_exposure(raw.shot), camera_exposure(flat.shot)
    return None if here is None or there is None else flat.light_counts * (raw.scale * here / there)


def _brightest_cluster(counts: np.ndarray) -> tuple[F64Array, float, int] | None:
    """Median of the brightest group of cells that agree in all three colours."""
    if len(counts) < _FEWEST_CELLS:
        return None
    density = -np.log10(np.maximum(counts.astype(np.float64), 1e-3))
    total = density.mean(axis=1)
    order = np.argsort(total)
    # The brightest cells may be flare at a perforation: the group must be the brightest that is well filled.
    for start in range(0, len(order) - _FEWEST_CELLS + 1, max(len(order) // 200, 1)):
        centre = density[order[start : start + _FEWEST_CELLS]].mean(axis=0)
        near = np.abs(density - centre).max(axis=1) < _CLUSTER_DENSITY
        if near.sum() >= max(_FEWEST_CELLS, 0.03 * len(density)):
            members = density[near]
            middle = np.median(members, axis=0)
            return 10.0**-middle, float(members.std(axis=0).max()), int(near.sum())
    return None


def combine_bases(bases: Sequence[FilmBase]) -> FilmBase:
    """Join the bases of a roll's frames into one: the median, those that stand apart left out.

    Raises
    ------
    ValueError
        If there is none.
    """
    if not bases:
        raise ValueError("no film base to combine")
    reference = next((base.camera_exposure for base in bases if base.camera_exposure), None)
    density = _densities_at(bases, reference)
    middle = np.median(density, axis=0)
    near = np.abs(density - middle).max(axis=1) < 2 * _CLUSTER_DENSITY
    kept = density[near] if near.any() else density
    red, green, blue = (float(count) for count in 10.0 ** -np.median(kept, axis=0))
    return FilmBase(
        (red, green, blue),
        all(base.measured for base in bases),
        float(kept.std(axis=0).max()),
        sum(base.cells for base in bases),
        reference,
        bases[0].how,
    )


def clearest_base(bases: Sequence[FilmBase], fewest: int) -> FilmBase:
    """Join what frames of a roll took for clear film: the brightest that some of them agree on.

    Film that was exposed is darker than clear film, whatever it shows, so that a wrong one is mostly the darker one.

    Parameters
    ----------
    bases : sequence of FilmBase
        At least one.
    fewest : int
        So many have to agree; where no so many do, the brightest is taken.
    """
    reference = next((base.camera_exposure for base in bases if base.camera_exposure), None)
    density = _densities_at(bases, reference)
    alike = np.abs(density[:, None] - density).max(axis=2) < 2 * _CLUSTER_DENSITY
    agreed = alike.sum(axis=1) >= fewest
    brightest = int(np.argmin(np.where(agreed | ~agreed.any(), density.mean(axis=1), np.inf)))
    return combine_bases([base for base, near in zip(bases, alike[brightest], strict=True) if near])


def _densities_at(bases: Sequence[FilmBase], exposure: float | None) -> F64Array:
    """Densities against one count, as pictures at one camera exposure would show them, shape (n, 3)."""
    return np.asarray(-np.log10([base.at_exposure(exposure).counts_rgb for base in bases]))


def estimate_base(
    raw: RawPicture, cells: Cells, film_kind: FilmKind, base_density_rgb: tuple[float, float, float]
) -> FilmBase:
    """Estimate the base where none could be measured.

    For a negative: the thinnest part of the picture, colour by colour. For a slide: the light itself, told from the
    brightest part of the picture and the typical base density of the film.
    """
    usable = cells.counts[~cells.clipped]
    if not len(usable):
        usable = cells.counts.reshape(-1, 3)
    brightest = np.maximum(np.percentile(usable, 99.7, axis=0), 1.0)
    if film_kind is FilmKind.SLIDE:
        # One level for all colours keeps the film's own colour.
        neutral = raw.daylight_multipliers
        level = float(np.max(brightest * neutral)) * 10.0 ** base_density_rgb[1]
        brightest = level / neutral
    red, green, blue = (float(count) for count in brightest)
    return FilmBase((red, green, blue), False, 0.0, 0, camera_exposure(raw.shot), "estimate")
