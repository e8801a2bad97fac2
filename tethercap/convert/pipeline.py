"""The whole chain for one picture: measurements and choices first, as a plan that can be read; then the pixels."""

import dataclasses
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from tethercap.convert import spaces
from tethercap.convert.bows import bows_before
from tethercap.convert.cells import Cells, inside, measure_cells
from tethercap.convert.crop import Layout, lay_out, resample_rows, source_rows
from tethercap.convert.develop import BAND_ROWS, FLAT_ROOM, DevelopTables, Tray, even_sides
from tethercap.convert.exposure import (
    PrintExposure,
    find_exposure,
    find_slide_exposure,
    scene_light,
    settle_exposures,
    usual_gain_stops,
)
from tethercap.convert.film_base import FilmBase, camera_exposure, estimate_base, measure_base
from tethercap.convert.film_model import IDENTITY, LEAST_TRANSMITTANCE, NO_BOWS, FilmModel, Triple
from tethercap.convert.flat_field import FlatField
from tethercap.convert.neutral import estimate_neutral
from tethercap.convert.printing import (
    DARKEST,
    LUT_SIZE,
    STEPS_PER_LIGHT,
    Mat,
    PrintTables,
    density_at,
    density_index,
    encode_light,
    light_steps,
)
from tethercap.convert.recipe import Recipe
from tethercap.convert.tone import print_tone
from tethercap.convert.usual_film import UsualFilm, usual_film
from tethercap.errors import ConversionError
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx, SizePx
from tethercap.pictures import ColourSpace, F64Array, Positive, RawPicture, ShotData, U8Array, U16Array

Step = tuple[str, dict[str, object]]
RunBands = Callable[[Callable[[tuple[int, int]], None], Iterable[tuple[int, int]]], None]
PutRows = Callable[[int, U16Array], None]
FEWEST_SQUARED_ROWS = 192
"""Rows squared at once, at least: a tilted frame needs some rows of the RAW beside them, which are developed twice."""
_LUMINANCE = (0.2126, 0.7152, 0.0722)
BARE_LIGHT = "bare light"
"""How a slide's densities are measured where the light was photographed: over the light itself."""
TYPICAL_BASE_DENSITY: Mapping[FilmKind, Triple] = {
    FilmKind.COLOUR_NEGATIVE: (0.25, 0.65, 0.95),
    FilmKind.BW_NEGATIVE: (0.28, 0.28, 0.28),
    FilmKind.SLIDE: (0.12, 0.12, 0.12),
}
"""From memory, as in profiles/film_kinds; used only where no base can be measured."""


@dataclass(frozen=True, slots=True, eq=False)
class ConversionPlan:
    """Everything that was measured and chosen for one picture."""

    layout: Layout
    tables: DevelopTables
    base: FilmBase
    exposure: PrintExposure
    model: FilmModel
    steps: tuple[Step, ...]
    warnings: tuple[str, ...]
    colour_space: ColourSpace
    half_size: bool


@dataclass(frozen=True, slots=True, eq=False)
class Conversion:
    """A finished positive and how it came about."""

    positive: Positive
    steps: tuple[Step, ...]
    """Name and parameters of every step, in order."""
    base_used: FilmBase
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RollLook:
    """What frames of one roll share; None where each frame finds its own."""

    base: FilmBase | None = None
    model: FilmModel | None = None
    flat: FlatField | None = None
    exposure: PrintExposure | None = None
    frame_long_mm: float = 36.0
    """Longer side of the frame on the film, mm."""


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


def plan_conversion(
    raw: RawPicture, recipe: Recipe, *, corners: QuadPx | None, film_kind: FilmKind, look: RollLook
) -> ConversionPlan:
    """Measure and choose everything for one picture, touching none of its pixels yet; parameters as in `convert`."""
    warnings: tuple[str, ...] = ()
    if look.base is not None and look.model is not None and look.exposure is not None:
        # The roll has told all there is to know, so that nothing is measured on this frame.
        base, model, exposure = (
            look.base.for_shot(raw.shot),
            _printed_model(look.model, recipe, film_kind),
            look.exposure,
        )
        _refuse_frame_outside(raw, corners)
    else:
        cells = measure_cells(raw, look.flat)
        base, warnings = _base_for(raw, cells, corners, film_kind, look)
        density = frame_density(cells, base, corners)
        found = look.model or own_neutral(usual_film(film_kind, raw, base, look.flat), density)
        model = _printed_model(found, recipe, film_kind)
        exposure = look.exposure or _exposure_for(raw, base, density, model, recipe, film_kind)
    layout = lay_out(raw.size, corners, recipe, look.frame_long_mm)
    tables = make_tables(raw, base, model, exposure, recipe, film_kind, with_flat=look.flat is not None)
    steps = _steps(raw, recipe, base, model, exposure, layout, look.flat)
    warnings += (model.note,) if model.note else ()
    return ConversionPlan(layout, tables, base, exposure, model, steps, warnings, recipe.space, recipe.half_size)


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
        return BAND_ROWS
    scale = 2 if plan.half_size else 1
    middle = layout.size.height_px // 2
    source = SizePx(*(side // scale for side in reversed(even_sides(raw))))
    top, bottom = source_rows(layout, middle, middle + FEWEST_SQUARED_ROWS, source)
    # Places are rounded to even rows, so that one band may need a few more than another.
    beside = bottom - top - FEWEST_SQUARED_ROWS + 4
    tile = BAND_ROWS // scale
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


def frame_density(cells: Cells, base: FilmBase, corners: QuadPx | None) -> F64Array:
    """Densities over base of the cells inside the picture, shape (rows, columns, 3); NaN where a cell is outside it.

    Raises
    ------
    ConversionError
        If the picture holds no cell.
    """
    counts = cells.counts
    chosen = inside(cells, corners, -cells.cell_px) if corners is not None else np.ones(counts.shape[:2], np.bool_)
    if not chosen.any():
        raise _frame_outside()
    density = -np.log10(np.maximum(counts.astype(np.float64), 0.5) / np.array(base.counts_rgb))
    return np.where(chosen[..., None], density, np.nan)


def _refuse_frame_outside(raw: RawPicture, corners: QuadPx | None) -> None:
    if corners is None:
        return
    points = corners.as_array()
    if (points.max(axis=0) <= 0).any() or (points.min(axis=0) >= (raw.size.width_px, raw.size.height_px)).any():
        raise _frame_outside()


def _frame_outside() -> ConversionError:
    return ConversionError("The found frame lies outside the picture.", todo="Look at the RAW with tethercap inspect.")


def _printed_model(model: FilmModel, recipe: Recipe, film_kind: FilmKind) -> FilmModel:
    return grey_model(model, recipe) if film_kind is FilmKind.BW_NEGATIVE else model


def own_neutral(usual: UsualFilm, density: F64Array) -> FilmModel:
    """Model of a frame that stands alone: its neutral as far as one frame can tell it."""
    return estimate_neutral([density], usual) if usual.film_kind is FilmKind.COLOUR_NEGATIVE else usual.model()


def _base_for(
    raw: RawPicture, cells: Cells, corners: QuadPx | None, film_kind: FilmKind, look: RollLook
) -> tuple[FilmBase, tuple[str, ...]]:
    if look.base is not None:
        return look.base.for_shot(raw.shot), ()
    if film_kind is FilmKind.SLIDE and look.flat is not None:
        return bare_light(look.flat, raw.shot), ()
    measured = measure_base(raw, cells, corners, film_kind)
    if measured is not None:
        return measured, ()
    estimate = estimate_base(raw, cells, film_kind, TYPICAL_BASE_DENSITY[film_kind])
    if film_kind is FilmKind.SLIDE:
        return estimate, ()
    return estimate, ("No clear film was found beside the picture; the base is estimated from the picture itself.",)


def bare_light(flat: FlatField, shot: ShotData) -> FilmBase:
    """What a slide's densities are measured over: the light itself, at the shot's exposure where the files say it."""
    red, green, blue = (float(count) for count in flat.light_counts)
    light = FilmBase((red, green, blue), camera_exposure=camera_exposure(flat.shot), how=BARE_LIGHT)
    return light.for_shot(shot)


def grey_model(model: FilmModel, recipe: Recipe) -> FilmModel:
    """Model that reads one grey from the three channels, as a recipe weighs them."""
    weights = np.array(recipe.channel_weights) / sum(recipe.channel_weights)
    row = (float(weights[0]), float(weights[1]), float(weights[2]))
    return dataclasses.replace(model, density_matrix=(row, row, row), density_bows=NO_BOWS, light_matrix=IDENTITY)


def _exposure_for(
    raw: RawPicture, base: FilmBase, density: F64Array, model: FilmModel, recipe: Recipe, film_kind: FilmKind
) -> PrintExposure:
    density = density[np.isfinite(density[..., 0])]
    if film_kind is FilmKind.SLIDE:
        if base.how == BARE_LIGHT:
            # With the light known a slide is shown as it lies on a light table: its brightness is the photographer's.
            return PrintExposure(1.0)
        return find_slide_exposure(scene_light(density, model))
    if not recipe.auto_exposure:
        return PrintExposure(2.0 ** usual_gain_stops(model))
    return settle_exposures([find_exposure(density, model, black_point=recipe.black_point)], model)[0]


def make_tables(
    raw: RawPicture,
    base: FilmBase,
    model: FilmModel,
    exposure: PrintExposure,
    recipe: Recipe,
    film_kind: FilmKind,
    *,
    with_flat: bool,
) -> DevelopTables:
    """Work out all tables of one picture."""
    grid = density_at(np.arange(LUT_SIZE))
    equalise = np.stack([model.equalised(grid, channel) for channel in range(3)]).astype(np.float32)
    printing = make_print_tables(model, exposure, recipe, film_kind)
    counts = np.empty((2, 2, LUT_SIZE), np.uint16 if with_flat else np.float32)
    for place, channel in np.ndenumerate(raw.pattern):
        transmittance = (np.arange(LUT_SIZE) - raw.black[place]) / base.counts_rgb[channel]
        density = -np.log10(np.maximum(transmittance, LEAST_TRANSMITTANCE))
        counts[place] = density_index(density + FLAT_ROOM) if with_flat else model.equalised(density, int(channel))
    straight = model.density_bows == NO_BOWS
    bows = None if straight else bows_before(np.array(model.density_matrix), np.array(model.density_bows))
    return DevelopTables(counts, equalise if with_flat else None, bows, printing)


def make_print_tables(model: FilmModel, exposure: PrintExposure, recipe: Recipe, film_kind: FilmKind) -> PrintTables:
    """Work out the tables of one picture's print alone."""
    gain = exposure.gain * 2.0**recipe.exposure_stops / (1.0 - exposure.haze)
    return PrintTables(
        np.array(model.density_matrix, np.float32),
        light_steps(gain * model.exposure(density_at(np.arange(LUT_SIZE)))),
        _print_matrix(np.array(model.light_matrix), exposure, recipe, grey=film_kind is FilmKind.BW_NEGATIVE),
        _encode_table(recipe),
    )


def _print_matrix(scene_to_light: F64Array, exposure: PrintExposure, recipe: Recipe, *, grey: bool) -> np.ndarray:
    """Light at the print's exposure to print light in the wanted space, haze taken off, shape (3, 4)."""
    luminance = np.tile(_LUMINANCE, (3, 1))
    saturate = luminance + recipe.saturation * (np.eye(3) - luminance)
    balance = np.ones(3) if grey else 2.0 ** np.array(recipe.balance_stops)
    matrix = spaces.srgb_to(recipe.space) @ saturate @ (balance[:, None] * scene_to_light)
    offset = np.full((3, 1), -exposure.haze / (1.0 - exposure.haze) - DARKEST)
    return np.hstack([matrix, offset * STEPS_PER_LIGHT]).astype(np.float32)


def _encode_table(recipe: Recipe) -> U16Array:
    toned = print_tone(encode_light(), recipe.contrast)
    encoded = spaces.SPACES[recipe.space].curve.encode(toned)
    return np.asarray(np.rint(np.clip(encoded, 0.0, 1.0) * 65535), dtype=np.uint16)


def _steps(
    raw: RawPicture,
    recipe: Recipe,
    base: FilmBase,
    model: FilmModel,
    exposure: PrintExposure,
    layout: Layout,
    flat: FlatField | None,
) -> tuple[Step, ...]:
    black = [float(level) for level in raw.black.ravel()]
    return (
        ("black-and-white-level", {"black": black, "white": raw.white}),
        ("flat-field", {"applied": flat is not None}),
        ("density-over-base", {"base_counts_rgb": list(base.counts_rgb), "how": base.how}),
        (
            "equalise",
            {
                "gamma": list(model.gamma),
                "speed": list(model.speed),
                "toe": model.toe,
                "toe_ratio": list(model.toe_ratio),
                "bend": list(model.bend),
                "model": model.source,
            },
        ),
        ("demosaic", {"filters": "half size" if recipe.half_size else "directional, in density"}),
        (
            "density-matrix",
            {
                "rows": [list(row) for row in model.density_matrix],
                "bows": [list(row) for row in model.density_bows],
            },
        ),
        ("light-matrix", {"rows": [list(row) for row in model.light_matrix]}),
        ("print-exposure", {"gain": exposure.gain, "haze": exposure.haze, "stops": recipe.exposure_stops}),
        ("print-tone", {"contrast": recipe.contrast, "saturation": recipe.saturation}),
        (
            "square-and-crop",
            {"border": recipe.border.value, "turn": recipe.turn.value, "squared": layout.to_source is not None},
        ),
        ("encode", {"space": recipe.space.value}),
    )


__all__ = [
    "Conversion",
    "ConversionPlan",
    "RollLook",
    "convert",
    "frame_density",
    "grey_model",
    "make_print_tables",
    "make_tables",
    "one_after_another",
    "own_neutral",
    "plan_conversion",
    "render",
    "render_for_screen",
]
