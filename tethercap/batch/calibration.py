"""Film models measured on the roll itself: grey cards or a colour chart among its frames."""

import contextlib
import dataclasses
import itertools
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tethercap.batch.find_frame import find_frame
from tethercap.convert.calibrate import (
    CARD_REFLECTANCE,
    Cards,
    ChartFit,
    Measured,
    fit_cards,
    fit_chart,
    fit_slide_chart,
    whole_stops,
)
from tethercap.convert.cells import Cells, measure_cells, shows_film, usual_cell_px
from tethercap.convert.chart_frames import chart_exposure, charts_in, fields_in_lattice
from tethercap.convert.charts import (
    CHART_EDITIONS,
    GREY_PATCHES,
    Patch,
    card_patch,
    chart_linear_srgb,
    chart_patches,
    patch_densities,
    unevenness,
)
from tethercap.convert.film_base import FilmBase, camera_exposure, estimate_base, find_base
from tethercap.convert.film_model import FilmModel
from tethercap.convert.flat_field import FlatField
from tethercap.convert.grey_charts import grey_model_by_chart
from tethercap.convert.known_rig import usual_beside
from tethercap.convert.pipeline import TYPICAL_BASE_DENSITY, bare_light, frame_density
from tethercap.convert.usual_film import UsualFilm, usual_film
from tethercap.errors import ConversionError, ProfileError
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx
from tethercap.image_files.raw import read_raw
from tethercap.pictures import F64Array, RawPicture

_MOST_SLIDE_MISFIT, _MOST_SLIDE_SURPRISE = 2.0, 550.0
"""CIE L*a*b* that a slide's chart may be off its own colours, and how surprising it may be that rig and film show them
so, squares of standard deviations. One that shows a film's look is off by two and more, and to come that near asks for
a rig that is none: on drawn rigs it surprises by 600 at least, a target by less than 450 on nine of ten."""
_MOST_MISFIT = 7.0
"""The same for a negative's chart, whose colours the film never renders quite."""
_NO_CHART = 12.0
"""The same from which on what was measured is no such chart, or lies elsewhere, and would spoil the roll."""
_SEEN_WELL = 3.0
"""The same of a negative's chart that need not be looked for any further; one whose place is wrong is off by ten."""
_MOST_UNEVEN_CARD = 0.15
"""Green density by which a card may differ across itself: drawn ones under glare and grain differ by 0.01, one that is
lit a third of a stop unevenly by 0.06, the middle of five open photographs by 0.28 and more."""
_ON_CHART = "colour chart on the roll"
_CELL_PX = 8


@dataclass(frozen=True, slots=True)
class Target:
    """A picture of a card or a chart, and what is known about where it lies."""

    raw_path: Path
    patches: tuple[QuadPx, ...] = ()
    """Corners of each patch, mosaic pixels; empty where nobody said."""
    outline: QuadPx | None = None
    """Corners of a chart's patches together."""
    stops: float | None = None
    """Exposure of a card over normal, where it is known."""


def calibrate_on_cards(
    targets: Sequence[Target],
    film_kind: FilmKind,
    base: FilmBase | None,
    flat: FlatField | None,
    beside: FilmModel | None = None,
) -> Measured:
    """Measure the neutral on grey cards.

    Parameters
    ----------
    targets : sequence of Target
        Pictures of the card; at different exposures they tell the slopes as well.
    film_kind : FilmKind
    base : FilmBase or None
        The roll's; None measures it on each picture.
    flat : FlatField or None
    beside : FilmModel, optional
        Another film, as measured on the same rig.

    Raises
    ------
    PictureError, ConversionError
        If a picture cannot be read or used.
    """
    rows, stops, uneven, usual = [], [], [], usual_film(film_kind)
    for target in targets:
        raw = read_raw(target.raw_path)
        cells = measure_cells(raw, flat, min(_CELL_PX, usual_cell_px(raw)))
        corners = find_frame(raw, film_kind)
        width_px, height_px = raw.size
        said = target.patches or ((target.outline,) if target.outline is not None else ())
        patches = [Patch(quad) for quad in said] or [card_patch(width_px, height_px, corners)]
        here = base_of(raw, cells, corners, film_kind, base, flat)
        usual = usual_film(film_kind, raw, here, flat)
        usual = usual_beside(usual, beside) if beside is not None else usual
        rows.append(np.median(patch_densities(cells, patches, here, f"the card in {target.raw_path.name}"), axis=0))
        stops.append(target.stops)
        if max(unevenness(cells, patch) for patch in patches) > _MOST_UNEVEN_CARD:
            uneven.append(target.raw_path.name)
    density = np.array(rows)
    known = [stop for stop in stops if stop is not None]
    exposures = whole_stops(density, usual)
    if len(known) == len(stops) and len(known) > 1:
        exposures = np.log10(CARD_REFLECTANCE) + np.array(known) * np.log10(2.0)
    cards = Cards(density, exposures)
    source = f"grey card, {len(rows)} exposures"
    model = dataclasses.replace(fit_cards(cards, usual), source=source, note=_no_card(uneven))
    return Measured(model, usual, cards=cards, card_files=tuple(str(target.raw_path.resolve()) for target in targets))


def _no_card(names: Sequence[str]) -> str:
    """What is said of pictures that are not even where their card is taken to lie; nothing where there are none."""
    if not names:
        return ""
    return f"No even grey card lies where one was measured in {', '.join(names)}: give its corners in a JSON file."


def calibrate_on_chart(target: Target, film_kind: FilmKind, base: FilmBase | None, flat: FlatField | None) -> Measured:
    """Measure curves and matrices on a colour chart.

    Raises
    ------
    PictureError, ConversionError
        If the picture cannot be read, or the chart is not found in it.
    """
    raw = read_raw(target.raw_path)
    cells = measure_cells(raw, flat, min(_CELL_PX, usual_cell_px(raw)))
    corners = find_frame(raw, film_kind)
    here = base_of(raw, cells, corners, film_kind, base, flat)
    usual = usual_film(film_kind, raw, here, flat)
    if target.patches and len(target.patches) != len(chart_linear_srgb()):
        raise ConversionError(f"The chart has 24 patches; {target.raw_path} is given {len(target.patches)}.")
    said = [Patch(quad) for quad in target.patches] or (chart_patches(target.outline) if target.outline else [])
    if said:
        seen = iter([patch_densities(cells, said, here, f"the chart in {target.raw_path.name}")])
    else:
        seen = _charts_seen(raw, cells, corners, here, film_kind)
    first = next(seen, None)
    if first is None:
        raise ConversionError(
            f"No colour chart was found in {target.raw_path}.",
            todo="Give the corners of its patches in a JSON file.",
        )
    charts = itertools.chain([first], seen)
    if film_kind is FilmKind.BW_NEGATIVE:
        density = next((chart for chart in charts if chart_exposure(chart, usual.model()) is not None), first)
        model = dataclasses.replace(grey_model_by_chart(density, usual), source=_ON_CHART)
        return Measured(model, usual, chart=density)
    density, best = _best_explained(charts, film_kind, usual)
    model = _believed(best, usual.model(), target.raw_path)
    return Measured(model, usual, chart=density if model.source == _ON_CHART else None)


def _best_explained(charts: Iterable[F64Array], film_kind: FilmKind, usual: UsualFilm) -> tuple[F64Array, ChartFit]:
    """The first of the charts that is seen well, or that which is off its colours least, and its film."""
    is_slide = film_kind is FilmKind.SLIDE
    fit_one, enough = (fit_slide_chart, _MOST_SLIDE_MISFIT) if is_slide else (fit_chart, _SEEN_WELL)
    fits: list[tuple[F64Array, ChartFit]] = []
    for density in charts:
        fits += [(density, fit_one(density, edition, GREY_PATCHES, usual)) for edition in CHART_EDITIONS]
        if min(fits, key=_misfit)[1].misfit < enough:
            break
    return min(fits, key=_misfit)


def _believed(found: ChartFit, usual: FilmModel, path: Path) -> FilmModel:
    """The chart's model, or what is usual where the chart cannot be taken at its word; it is said then."""
    is_surprising = found.misfit > _MOST_SLIDE_MISFIT or found.surprise > _MOST_SLIDE_SURPRISE
    if found.model.film_kind is FilmKind.SLIDE and is_surprising:
        # A chart that was photographed shows what the slide made of it, and that look is to be kept.
        note = (
            f"The chart in {path.name} does not have its own colours on the slide: it was not used, and the slide "
            "keeps its film's look. Use a target made for slides (--it8)."
        )
        return dataclasses.replace(usual, note=note)
    if found.misfit > _MOST_MISFIT:
        is_used = found.misfit < _NO_CHART
        note = (
            f"The chart in {path.name} is off its own colours by {found.misfit:.0f} (CIE L*a*b*)"
            f"{'' if is_used else ' and was not used'}: check that it has the classic 24 patches, and where they lie."
        )
        if not is_used:
            return dataclasses.replace(usual, note=note)
        return dataclasses.replace(found.model, source=_ON_CHART, note=note)
    return dataclasses.replace(found.model, source=_ON_CHART)


def base_of(
    raw: RawPicture,
    cells: Cells,
    corners: QuadPx | None,
    film_kind: FilmKind,
    base: FilmBase | None,
    flat: FlatField | None,
) -> FilmBase:
    """Film base of one picture: the roll's at its exposure, else as the picture itself tells it."""
    if base is None and film_kind is FilmKind.SLIDE and flat is not None:
        return bare_light(flat, raw.shot)
    if base is not None and camera_exposure(raw.shot) is not None:
        return base.for_shot(raw.shot)
    measured = find_base(raw, cells, corners, film_kind, flat)
    if base is None:
        return measured or estimate_base(raw, cells, film_kind, TYPICAL_BASE_DENSITY[film_kind])
    # The picture does not say its exposure: only its rebate tells how bright it was copied.
    return base if measured is None else base.brighter(measured.copied_brighter(base))


def _misfit(found: tuple[F64Array, ChartFit]) -> float:
    return found[1].misfit


def _charts_seen(
    raw: RawPicture, cells: Cells, corners: QuadPx | None, base: FilmBase, film_kind: FilmKind
) -> Iterator[F64Array]:
    """Density of the patches of what looks like a chart: in the frame first, since a black holder outshines all of it;
    then anywhere, since what was taken for the frame may be a part of the chart.
    """
    for within in (corners, None) if corners is not None else (None,):
        density = frame_density(cells, base, within)
        density[~shows_film(cells, raw.white)] = np.nan
        for quad in charts_in(density, film_kind, fields_in_lattice(density)):
            with contextlib.suppress(ConversionError):
                yield patch_densities(cells, chart_patches(quad.scaled(float(cells.cell_px))), base)


def read_targets(paths: Sequence[Path]) -> list[Target]:
    """Understand what is given as cards or chart: pictures, or JSON files that say where the patches lie.

    A JSON file maps picture to corners: four points (a card's patch, or the outline of a chart's 24 patches), a list of
    such quadrilaterals (each patch), or an object with "corners_px", "patches_px" and "stops". Points are [x, y]
    in mosaic pixels, clockwise; file names are relative to the JSON file.

    Raises
    ------
    ProfileError
        If a JSON file cannot be understood.
    """
    targets: list[Target] = []
    for path in paths:
        if path.suffix.lower() != ".json":
            targets.append(Target(path))
            continue
        try:
            said = json.loads(path.read_text(encoding="utf-8"))
            entries = _entries(said)
            if not entries:
                raise ValueError("it names no picture")
            targets += [_target(path.parent / name, value) for name, value in entries]
        except (OSError, ValueError, TypeError, KeyError, AttributeError) as error:
            raise ProfileError(f"{path} does not say where patches lie: {error}.") from error
    return targets


def _entries(said: object) -> list[tuple[str, object]]:
    if isinstance(said, list):
        return [entry for item in said for entry in _entries(item)]
    if not isinstance(said, Mapping):
        raise ValueError("an object of picture names is needed")
    for key in ("file", "picture", "raw", "path"):
        if key in said:
            return [(str(said[key]), said)]
    if "files" in said:
        return _entries(said["files"])
    return [(str(name), value) for name, value in said.items()]


def _target(path: Path, value: object) -> Target:
    if not isinstance(value, Mapping):
        quads = _quads(value)
        return _single(path, quads[0], None) if len(quads) == 1 else Target(path, quads)
    stops = float(value["stops"]) if value.get("stops") is not None else None
    for key in ("patches_px", "patches"):
        if key in value:
            return Target(path, _quads(value[key]), None, stops)
    for key in ("corners_px", "corners", "quad_px"):
        if key in value:
            quads = _quads(value[key])
            return _single(path, quads[0], stops) if len(quads) == 1 else Target(path, quads, None, stops)
    return Target(path, stops=stops)


def _single(path: Path, quad: QuadPx, stops: float | None) -> Target:
    # One quadrilateral is a card's patch and a chart's outline alike; each reader takes what it needs.
    return Target(path, (), quad, stops)


def _quads(value: object) -> tuple[QuadPx, ...]:
    if isinstance(value, Mapping):
        value = list(value.values())
    if not isinstance(value, list) or not value:
        raise ValueError("corners are needed")
    items = [item.get("corners_px", item.get("corners")) if isinstance(item, Mapping) else item for item in value]
    if np.asarray(items, dtype=np.float64).shape == (4, 2):
        items = [items]
    quads = tuple(QuadPx.from_array(item) for item in items)
    if not all(np.isfinite(quad.as_array()).all() for quad in quads):
        raise ValueError("corners have to be numbers")
    return quads
