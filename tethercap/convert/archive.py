"""Film as measured, for keeping: flat-fielded and squared, and nothing decided about colour or tone.

The numbers are camera counts or densities, one scale for all channels, and the file says which. Nothing is clipped that
the sensor did not clip, nothing is sharpened, dust stays (FADGI 2016, Photographic Negatives: keep the picture as
scanned, without clipping, as the archival master; no dust removal on masters).
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import partial

import numpy as np

from tethercap.convert.crop import Layout, resample_rows, source_rows
from tethercap.convert.demosaic import MARGIN_PX, demosaic
from tethercap.convert.film_base import FilmBase
from tethercap.convert.flat_field import FlatField
from tethercap.geometry import SizePx
from tethercap.pictures import F32Array, F64Array, RawPicture, U16Array

Rows = tuple[int, int]
DENSITY_ZERO, DENSITY_STEPS = 2000, 10_000
"""A density D is written as 2000 + 10000 D: from -0.2 to 6.35 in steps of 0.0001, finer than any grain."""
_DARKEST_COUNT = 0.5
"""Counts over black at or below which there is nothing but noise."""
_BAND_ROWS = 256
"""Rows made at once."""


class ArchiveKind(StrEnum):
    """What the numbers of an archive picture are."""

    LINEAR = "linear"
    """Light as the sensor counted it, 65535 = saturation."""
    DENSITY = "density"
    """Density over the film base, in each of the camera's channels."""


@dataclass(frozen=True, slots=True, eq=False)
class ArchivePlan:
    """Everything that is needed to make one archive picture."""

    kind: ArchiveKind
    layout: Layout
    """At full size."""
    base: FilmBase
    """Zero of densities; channels are in balance through it while colours are interpolated."""

    @property
    def facts(self) -> dict[str, object]:
        """What the numbers mean, plain data."""
        said: dict[str, object] = {
            "values": self.kind.value,
            "channels": "camera red, green, blue",
            "base_counts_rgb": [round(count, 3) for count in self.base.counts_rgb],
            "base": self.base.how if self.base.measured else "estimate",
        }
        if self.kind is ArchiveKind.DENSITY:
            return {**said, "zero": DENSITY_ZERO, "steps_per_density": DENSITY_STEPS, "zero_is": "film base"}
        return {**said, "zero": 0, "full_scale": 65535, "full_scale_is": "saturation of the sensor over its black"}

    @property
    def sentence(self) -> str:
        """What the numbers mean, for a person."""
        if self.kind is ArchiveKind.DENSITY:
            return (
                f"Film density over base in each camera channel: D = (value - {DENSITY_ZERO}) / {DENSITY_STEPS}. "
                "Flat-fielded, squared; no colour or tone applied."
            )
        return (
            "Linear light through the film in camera channels: 65535 = saturation of the sensor. "
            "Flat-fielded, squared; no colour or tone applied."
        )


def _in_order(work: Callable[[Rows], None], bands: Iterable[Rows]) -> None:
    for band in bands:
        work(band)


def render_archive(
    plan: ArchivePlan,
    raw: RawPicture,
    flat: FlatField | None,
    put: Callable[[int, U16Array], None],
    run_bands: Callable[[Callable[[Rows], None], Iterable[Rows]], None] = _in_order,
) -> None:
    """Make the pixels of an archive picture, resampled once at most.

    Parameters
    ----------
    plan : ArchivePlan
    raw : RawPicture
    flat : FlatField or None
    put : callable
        Takes a first row and rows of the finished picture, shape (n, width, 3), uint16.
    run_bands : callable, optional
        Runs a function over bands of rows, on any threads.
    """
    layout = plan.layout
    if layout.quarters % 2:
        whole = np.empty((layout.size.height_px, layout.size.width_px, 3), np.uint16)
        upright = replace(plan, layout=replace(layout, quarters=0, mirrored=False))
        render_archive(upright, raw, flat, partial(_copy_rows, whole), run_bands)
        put(0, layout.turned(whole))
        return
    tables = _tables(raw, plan.base)

    def work(band: Rows) -> None:
        first, last = band
        rows = layout.turned(_make_rows(plan, raw, flat, tables, first, last))
        put(layout.size.height_px - last if layout.quarters else first, rows)

    height = layout.size.height_px
    run_bands(work, [(first, min(first + _BAND_ROWS, height)) for first in range(0, height, _BAND_ROWS)])


def _copy_rows(pixels: U16Array, first: int, rows: U16Array) -> None:
    pixels[first : first + len(rows)] = rows


def _tables(raw: RawPicture, base: FilmBase) -> F32Array:
    """Raw counts to density over base per place in the mosaic's cell, shape (2, 2, 65536)."""
    counts = np.arange(65536, dtype=np.float64)
    tables = np.empty((2, 2, 65536), np.float32)
    for row in (0, 1):
        for column in (0, 1):
            over_black = np.maximum(counts - raw.black[row, column], _DARKEST_COUNT)
            tables[row, column] = -np.log10(over_black / base.counts_rgb[int(raw.pattern[row, column])])
    return tables


def _make_rows(
    plan: ArchivePlan, raw: RawPicture, flat: FlatField | None, tables: F32Array, first: int, last: int
) -> U16Array:
    height, width = (side // 2 * 2 for side in raw.mosaic.shape)
    top, bottom = source_rows(plan.layout, first, last, SizePx(width, height))
    above, below = max(top - MARGIN_PX, 0), min(bottom + MARGIN_PX, height)
    band = np.empty((below - above, width), np.float32)
    for row in (0, 1):
        for column in (0, 1):
            counts = raw.mosaic[above + row : below : 2, column:width:2]
            density = tables[row, column][counts]
            if flat is not None:
                density = density - flat.rows(above + row, below, int(raw.pattern[row, column]))
            band[row::2, column::2] = density
    # Interpolated as densities, where all channels of clear film are alike: the orange mask would break the filters.
    pixels = _encoded(plan, demosaic(band, raw.pattern)[top - above : bottom - above], _full_scale(raw))
    return pixels if plan.layout.to_source is None else resample_rows(plan.layout, pixels, top, first, last)


def _full_scale(raw: RawPicture) -> F64Array:
    """Counts over black at saturation for red, green, blue, shape (3,)."""
    return np.array([raw.white - raw.black[raw.pattern == colour].mean() for colour in range(3)])


def _encoded(plan: ArchivePlan, density: F32Array, full_scale: F64Array) -> U16Array:
    if plan.kind is ArchiveKind.DENSITY:
        values = density * np.float32(DENSITY_STEPS) + np.float32(DENSITY_ZERO)
    else:
        gain = 65535.0 * np.array(plan.base.counts_rgb) / full_scale
        values = np.power(np.float32(10.0), -density) * gain.astype(np.float32)
    return np.asarray(np.clip(np.rint(values), 0, 65535), np.uint16)
