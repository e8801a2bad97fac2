"""The pixels of a planned picture, band by band."""

import dataclasses
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from tethercap.convert.crop import resample_rows, source_rows
from tethercap.convert.develop import Tray, band_rows, even_sides
from tethercap.convert.film_base import FilmBase
from tethercap.convert.flat_field import FlatField
from tethercap.convert.pipeline import ConversionPlan, RollLook, Step, plan_conversion
from tethercap.convert.printing import Mat
from tethercap.convert.recipe import Recipe
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx, SizePx
from tethercap.pictures import Positive, RawPicture, U8Array, U16Array

RunBands = Callable[[Callable[[tuple[int, int]], None], Iterable[tuple[int, int]]], None]
PutRows = Callable[[int, U16Array], None]
FEWEST_SQUARED_ROWS = 192
"""Rows squared at once, at least: a tilted frame needs some rows of the RAW beside them, which are developed twice."""


@dataclass(frozen=True, slots=True, eq=False)
class Conversion:
    """A finished positive and how it came about."""

    positive: Positive
    steps: tuple[Step, ...]
    """Name and parameters of every step, in order."""
    base_used: FilmBase
    warnings: tuple[str, ...]


def one_after_another(work: Callable[[tuple[int, int]], None], bands: Iterable[tuple[int, int]]) -> None:
    """Work the bands in order; a caller with threads to spare passes a function that spreads them."""
    for band in bands:
        work(band)


def convert(
    raw: RawPicture,
    recipe: Recipe,
    *,
    base: FilmBase | None,
    corners: QuadPx | None,
    film_kind: FilmKind,
    look: RollLook | None = None,
    run_bands: RunBands = one_after_another,
) -> Conversion:
    """Convert one RAW of film into a positive.

    Parameters
    ----------
    raw : RawPicture
    recipe : Recipe
    base : FilmBase or None
        Clear film as measured on the roll; None measures it here.
    corners : QuadPx or None
        The picture on the film, mosaic pixels, pixel centres at integers; None keeps everything.
    film_kind : FilmKind
    look : RollLook, optional
        What the roll's frames share.
    run_bands : callable, optional
        Runs a function over bands; see `one_after_another`.

    Raises
    ------
    ConversionError
        If the picture cannot be converted (nothing on it, saturated all over).
    """
    shared = dataclasses.replace(look or RollLook(), base=base if base is not None else (look and look.base) or None)
    plan = plan_conversion(raw, recipe, corners=corners, film_kind=film_kind, look=shared)
    size = plan.layout.turned_size
    pixels = np.empty((size.height_px, size.width_px, 3), np.uint16)
    render(plan, raw, shared.flat, partial(_copy_rows, pixels), run_bands)
    return Conversion(Positive(pixels, plan.colour_space), plan.steps, plan.base, plan.warnings)


def render(
    plan: ConversionPlan,
    raw: RawPicture,
    flat: FlatField | None,
    put: PutRows,
    run_bands: RunBands = one_after_another,
) -> None:
    """Make the pixels of a plan.

    Parameters
    ----------
    plan : ConversionPlan
    raw : RawPicture
    flat : FlatField or None
        The one the plan was made with.
    put : callable
        Takes a first row and rows of the finished picture, shape (n, width, 3), uint16; called once for each band, from
        whatever thread works it.
    run_bands : callable, optional
    """
    _render(plan, raw, flat, put, run_bands)


def render_for_screen(
    plan: ConversionPlan, raw: RawPicture, flat: FlatField | None, run_bands: RunBands = one_after_another
) -> U8Array:
    """Make the picture of a plan to be looked at once: squared by linear interpolation, which is quicker.

    Parameters
    ----------
    plan, raw, flat, run_bands
        As in `render`.

    Returns
    -------
    ndarray
        Shape (height, width, 3), uint8, blue-green-red, encoded as the recipe's space says.
    """
    size, printing = plan.layout.turned_size, plan.tables.printing.for_screen()
    pixels = np.empty((size.height_px, size.width_px, 3), np.uint8)
    shown = dataclasses.replace(plan, tables=dataclasses.replace(plan.tables, printing=printing))
    _render(shown, raw, flat, partial(_copy_rows, pixels), run_bands)
    return pixels


def _render(
    plan: ConversionPlan, raw: RawPicture, flat: FlatField | None, put: Callable[[int, Any], None], run_bands: RunBands
) -> None:
    layout = plan.layout
    if layout.quarters % 2:
        # A quarter turn makes columns of rows: the picture has to be whole first.
        whole = np.empty((layout.size.height_px, layout.size.width_px, 3), plan.tables.printing.encode.dtype)
        upright = dataclasses.replace(plan, layout=dataclasses.replace(layout, quarters=0, mirrored=False))
        _render(upright, raw, flat, partial(_copy_rows, whole), run_bands)
        put(0, layout.turned(whole))
        return
    # As many as bands are worked at once: each is taken by one of them and laid back.
    desks: list[_Desk] = []

    def work(band: tuple[int, int]) -> None:
        first, last = band
        try:
            desk = desks.pop()
        except IndexError:
            desk = _Desk(plan, raw, flat)
        rows = layout.turned(desk.make_rows(first, last))
        put(layout.size.height_px - last if layout.quarters else first, rows)
        desks.append(desk)

    height = layout.size.height_px
    chunk = _rows_at_once(plan, raw)
    run_bands(work, [(first, min(first + chunk, height)) for first in range(0, height, chunk)])


def _rows_at_once(plan: ConversionPlan, raw: RawPicture) -> int:
    """Rows of a band: what is developed for it is a whole number of tiles."""
    layout = plan.layout
    if layout.to_source is None:
        return band_rows(raw.mosaic.shape[1])
    scale = 2 if plan.half_size else 1
    middle = layout.size.height_px // 2
    source = SizePx(*(side // scale for side in reversed(even_sides(raw))))
    top, bottom = source_rows(layout, middle, middle + FEWEST_SQUARED_ROWS, source)
    # Places are rounded to even rows, so that one band may need a few more than another.
    beside = bottom - top - FEWEST_SQUARED_ROWS + 4
    tile = band_rows(raw.mosaic.shape[1]) // scale
    return -(-(FEWEST_SQUARED_ROWS + beside) // tile) * tile - beside


class _Desk:
    """Where bands of one picture are made, one after the other, in memory that is taken once."""

    def __init__(self, plan: ConversionPlan, raw: RawPicture, flat: FlatField | None) -> None:
        self._plan, self._raw = plan, raw
        self._tray = Tray(raw, plan.tables, flat, half_size=plan.half_size)
        self._pixels = np.empty((0, 0, 3), plan.tables.printing.encode.dtype)

    def make_rows(self, first: int, last: int) -> Any:
        """Rows first <= row < last, squared, not yet turned, of 8 or 16 bits; to be used before the next are made."""
        plan, per_row = self._plan, 2 if self._plan.half_size else 1
        height, width = (side // per_row for side in even_sides(self._raw))
        top, bottom = source_rows(plan.layout, first, last, SizePx(width, height))
        if len(self._pixels) < bottom - top:
            self._pixels = np.empty((bottom - top, width, 3), self._pixels.dtype)
        pixels = self._pixels[: bottom - top]
        self._tray.develop(top * per_row, bottom * per_row, pixels)
        return pixels if plan.layout.to_source is None else resample_rows(plan.layout, pixels, top, first, last)


def _copy_rows(pixels: Mat, first: int, rows: Mat) -> None:
    pixels[first : first + len(rows)] = rows
