"""Measurements and choices for one picture, as a plan that can be read."""

import dataclasses
import functools
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tethercap.convert import spaces
from tethercap.convert.bows import bows_before
from tethercap.convert.cells import Cells, inside, measure_cells
from tethercap.convert.crop import Layout, lay_out
from tethercap.convert.develop import FLAT_ROOM, DevelopTables
from tethercap.convert.exposure import (
    PrintExposure,
    find_exposure,
    find_slide_exposure,
    scene_light,
    settle_exposures,
    usual_gain_stops,
)
from tethercap.convert.film_base import FilmBase, camera_exposure, estimate_base, find_base
from tethercap.convert.film_model import IDENTITY, LEAST_TRANSMITTANCE, NO_BOWS, FilmModel, Triple
from tethercap.convert.flat_field import FlatField
from tethercap.convert.neutral import estimate_neutral
from tethercap.convert.printing import (
    DARKEST,
    LUT_SIZE,
    STEPS_PER_LIGHT,
    PrintTables,
    density_at,
    density_index,
    encode_light,
    light_steps,
)
from tethercap.convert.recipe import Recipe
from tethercap.convert.slide_cast import slide_of_frames
from tethercap.convert.tone import print_tone
from tethercap.convert.usual_film import UsualFilm, usual_film
from tethercap.errors import ConversionError
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx
from tethercap.pictures import ColourSpace, F32Array, F64Array, RawPicture, ShotData, U16Array

HALF_SIZE = "half size"
"""What the step "demosaic" says where colours were not interpolated."""
Step = tuple[str, dict[str, object]]
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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RollLook:
    """What frames of one roll share; None where each frame finds its own."""

    base: FilmBase | None = None
    model: FilmModel | None = None
    flat: FlatField | None = None
    exposure: PrintExposure | None = None
    frame_long_mm: float = 36.0
    """Longer side of the frame on the film, mm."""


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
        found = look.model or own_neutral(usual_film(film_kind, raw, base, look.flat), density, base)
        model = _printed_model(found, recipe, film_kind)
        exposure = look.exposure or _exposure_for(base, density, model, recipe, film_kind)
    layout = lay_out(raw.size, corners, recipe, look.frame_long_mm)
    tables = make_tables(raw, base, model, exposure, recipe, film_kind, with_flat=look.flat is not None)
    steps = _steps(raw, recipe, base, model, exposure, layout, corners, look)
    warnings += (model.note,) if model.note else ()
    return ConversionPlan(layout, tables, base, exposure, model, steps, warnings, recipe.space, recipe.half_size)


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


def own_neutral(usual: UsualFilm, density: F64Array, base: FilmBase) -> FilmModel:
    """Model of a frame that stands alone: its neutral as far as one frame can tell it."""
    if usual.film_kind is FilmKind.COLOUR_NEGATIVE:
        return estimate_neutral([density], usual)
    return slide_of_frames([density], usual) if base.how == BARE_LIGHT else usual.model()


def _base_for(
    raw: RawPicture, cells: Cells, corners: QuadPx | None, film_kind: FilmKind, look: RollLook
) -> tuple[FilmBase, tuple[str, ...]]:
    if look.base is not None:
        return look.base.for_shot(raw.shot), ()
    if film_kind is FilmKind.SLIDE and look.flat is not None:
        return bare_light(look.flat, raw.shot, raw.scale), ()
    measured = find_base(raw, cells, corners, film_kind, look.flat)
    if measured is not None:
        return measured, ()
    estimate = estimate_base(raw, cells, film_kind, TYPICAL_BASE_DENSITY[film_kind])
    if film_kind is FilmKind.SLIDE:
        return estimate, ()
    return estimate, ("No clear film was found beside the picture; the base is estimated from the picture itself.",)


def bare_light(flat: FlatField, shot: ShotData, scale: float = 1.0) -> FilmBase:
    """What a slide's densities are measured over: the light itself, at the shot's exposure where the files say it.

    Parameters
    ----------
    flat : FlatField
    shot : ShotData
    scale : float
        As in `RawPicture`.
    """
    red, green, blue = (float(count) for count in scale * flat.light_counts)
    light = FilmBase((red, green, blue), camera_exposure=camera_exposure(flat.shot), how=BARE_LIGHT)
    return light.for_shot(shot)


def grey_model(model: FilmModel, recipe: Recipe) -> FilmModel:
    """Model that reads one grey from the three channels, as a recipe weighs them."""
    weights = np.array(recipe.channel_weights) / sum(recipe.channel_weights)
    row = (float(weights[0]), float(weights[1]), float(weights[2]))
    return dataclasses.replace(model, density_matrix=(row, row, row), density_bows=NO_BOWS, light_matrix=IDENTITY)


def _exposure_for(
    base: FilmBase, density: F64Array, model: FilmModel, recipe: Recipe, film_kind: FilmKind
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
    printing = make_print_tables(model, exposure, recipe, film_kind)
    counts = np.empty((2, 2, LUT_SIZE), np.uint16 if with_flat else np.float32)
    for place, channel in np.ndenumerate(raw.pattern):
        transmittance = (np.arange(LUT_SIZE) - raw.black[place]) / base.counts_rgb[channel]
        density = -np.log10(np.maximum(transmittance, LEAST_TRANSMITTANCE))
        counts[place] = density_index(density + FLAT_ROOM) if with_flat else model.equalised(density, int(channel))
    equalise = _equalise_tables(model) if with_flat else None
    straight = model.density_bows == NO_BOWS
    bows = None if straight else bows_before(np.array(model.density_matrix), np.array(model.density_bows))
    return DevelopTables(counts, equalise, bows, printing)


@functools.lru_cache(maxsize=2)
def _equalise_tables(model: FilmModel) -> F32Array:
    """Density index to density on the green scale, shape (3, 65536): the same for all frames of a roll."""
    grid = density_at(np.arange(LUT_SIZE))
    tables = np.stack([model.equalised(grid, channel) for channel in range(3)]).astype(np.float32)
    tables.flags.writeable = False
    return tables


def make_print_tables(model: FilmModel, exposure: PrintExposure, recipe: Recipe, film_kind: FilmKind) -> PrintTables:
    """Work out the tables of one picture's print alone."""
    gain = exposure.gain * 2.0**recipe.exposure_stops / (1.0 - exposure.haze)
    return PrintTables(
        np.array(model.density_matrix, np.float32),
        light_steps(gain * model.exposure(density_at(np.arange(LUT_SIZE)))),
        _print_matrix(np.array(model.light_matrix), exposure, recipe, grey=film_kind is FilmKind.BW_NEGATIVE),
        _encode_table(recipe.space, recipe.contrast),
    )


def _print_matrix(scene_to_light: F64Array, exposure: PrintExposure, recipe: Recipe, *, grey: bool) -> np.ndarray:
    """Light at the print's exposure to print light in the wanted space, haze taken off, shape (3, 4)."""
    luminance = np.tile(_LUMINANCE, (3, 1))
    saturate = luminance + recipe.saturation * (np.eye(3) - luminance)
    balance = np.ones(3) if grey else 2.0 ** np.array(recipe.balance_stops)
    matrix = spaces.srgb_to(recipe.space) @ saturate @ (balance[:, None] * scene_to_light)
    offset = np.full((3, 1), -exposure.haze / (1.0 - exposure.haze) - DARKEST)
    return np.hstack([matrix, offset * STEPS_PER_LIGHT]).astype(np.float32)


@functools.lru_cache(maxsize=4)
def _encode_table(space: ColourSpace, contrast: float) -> U16Array:
    """Print light to encoded value, shape (65536,): the same for all pictures of a recipe."""
    encoded = spaces.SPACES[space].curve.encode(print_tone(encode_light(), contrast))
    table = np.asarray(np.rint(np.clip(encoded, 0.0, 1.0) * 65535), dtype=np.uint16)
    table.flags.writeable = False
    return table


def _steps(
    raw: RawPicture,
    recipe: Recipe,
    base: FilmBase,
    model: FilmModel,
    exposure: PrintExposure,
    layout: Layout,
    corners: QuadPx | None,
    look: RollLook,
) -> tuple[Step, ...]:
    """All that was measured and chosen, so that the same picture can be made of it again (`batch.again`)."""
    light = {} if look.flat is None else {"light": look.flat.fingerprint}
    cut = {} if corners is None else {"corners_px": corners.as_array().tolist()}
    grey = {"channel_weights": list(recipe.channel_weights)} if model.film_kind is FilmKind.BW_NEGATIVE else {}
    end = {"densest": model.densest} if model.densest else {}
    black = [float(level) for level in raw.black.ravel()]
    return (
        ("black-and-white-level", {"black": black, "white": raw.white}),
        ("flat-field", {"applied": look.flat is not None, **light}),
        ("density-over-base", {"base_counts_rgb": list(base.counts_rgb), "how": base.how}),
        (
            "equalise",
            {
                "gamma": list(model.gamma),
                "speed": list(model.speed),
                "toe": model.toe,
                "toe_ratio": list(model.toe_ratio),
                "bend": list(model.bend),
                "stray": model.stray,
                "model": model.source,
                **end,
            },
        ),
        ("demosaic", {"filters": HALF_SIZE if recipe.half_size else "directional, in density"}),
        (
            "density-matrix",
            {
                "rows": [list(row) for row in model.density_matrix],
                "bows": [list(row) for row in model.density_bows],
                **grey,
            },
        ),
        ("light-matrix", {"rows": [list(row) for row in model.light_matrix]}),
        ("print-exposure", {"gain": exposure.gain, "haze": exposure.haze, "stops": recipe.exposure_stops}),
        (
            "print-tone",
            {
                "contrast": recipe.contrast,
                "saturation": recipe.saturation,
                "balance_stops": list(recipe.balance_stops),
            },
        ),
        (
            "square-and-crop",
            {
                "border": recipe.border.value,
                "turn": recipe.turn.value,
                "mirrored": recipe.mirrored,
                "trim_mm": list(recipe.trim_mm),
                "frame_long_mm": look.frame_long_mm,
                "squared": layout.to_source is not None,
                **cut,
            },
        ),
        ("encode", {"space": recipe.space.value}),
    )
