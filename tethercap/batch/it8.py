"""A slide's colours measured on a target of ISO 12641 that was copied with the same rig."""

import codecs
import json
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from tethercap.batch.calibration import base_of
from tethercap.convert.calibrate import fit_slide_chart
from tethercap.convert.cells import measure_cells
from tethercap.convert.charts import Patch, patch_densities
from tethercap.convert.film_base import FilmBase
from tethercap.convert.film_model import FilmModel
from tethercap.convert.flat_field import FlatField
from tethercap.convert.it8 import (
    greys_among,
    linear_srgb_of,
    outline_of,
    parse_cgats,
    patch_places,
    target_colours,
)
from tethercap.convert.usual_film import usual_film
from tethercap.errors import ConversionError, ProfileError
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx
from tethercap.image_files.raw import read_raw
from tethercap.pictures import F64Array

_CELL_PX = 8
_UTF_16_MARKS = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
_FEWEST_PATCHES = 24
_DARKEST_Y = 0.0015
"""Patches below this are as much glare as dye."""
_DOUBTFUL_MISFIT, _MOST_MISFIT = 2.0, 6.0
"""CIE L*a*b* that a target may be off its own colours before that is said, and before it is taken for no such target:
drawn ones are off by 0.5 at most, and by 15 where their corners lie a patch off."""


@dataclass(frozen=True, slots=True)
class SlideTarget:
    """A picture of a target, where its patches lie and what colours they have."""

    raw_path: Path
    places: dict[str, Patch]
    colours: dict[str, F64Array]
    """Name -> CIE XYZ under D50."""


def read_slide_target(said: Path, values: Path) -> SlideTarget:
    """Read what is given as a target.

    Parameters
    ----------
    said : Path
        JSON with "file" and either "corners_px", the outer corners of A1, A22, L22 and if known L1 in mosaic pixels,
        or "patches_px", name -> four corners.
    values : Path
        The CGATS.17 text that came with the target.

    Raises
    ------
    ProfileError
        If one of them cannot be understood.
    """
    try:
        data = json.loads(said.read_text(encoding="utf-8"))
        raw_path = said.parent / str(data["file"])
        if "patches_px" in data:
            places = {str(name): Patch(QuadPx.from_array(quad)) for name, quad in data["patches_px"].items()}
        else:
            places = patch_places(outline_of(np.asarray(data["corners_px"], np.float64)))
    except (OSError, ValueError, TypeError, KeyError, AttributeError) as error:
        raise ProfileError(
            f"{said} does not say where the target's patches lie: {error!r}.",
            todo='Write {"file": "target.dng", "corners_px": [[x, y], [x, y], [x, y]]}: A1, A22, L22.',
        ) from error
    try:
        content = values.read_bytes()
    except OSError as error:
        raise ProfileError(f"{values} cannot be read: {error.strerror or error}.") from error
    text = content.decode("utf-16" if content.startswith(_UTF_16_MARKS) else "latin-1", "replace")
    return SlideTarget(raw_path, places, target_colours(parse_cgats(text, str(values)), str(values)))


def calibrate_on_target(target: SlideTarget, flat: FlatField | None, base: FilmBase | None = None) -> FilmModel:
    """Measure the matrix from camera to colours on a slide target.

    Raises
    ------
    PictureError
        If the picture cannot be read.
    ConversionError
        If too few of its patches are usable, or they are nothing like their colours.
    """
    raw = read_raw(target.raw_path)
    cells = measure_cells(raw, flat, _CELL_PX)
    here = base_of(raw, cells, None, FilmKind.SLIDE, base, flat)
    names = [name for name in target.places if name in target.colours and target.colours[name][1] >= _DARKEST_Y]
    if len(names) < _FEWEST_PATCHES:
        raise ConversionError(
            f"Only {len(names)} patches of the target have both a place and a colour; {_FEWEST_PATCHES} are needed."
        )
    xyz = np.array([target.colours[name] for name in names])
    density = patch_densities(cells, [target.places[name] for name in names], here)
    greys = greys_among(names, xyz)
    fitted = fit_slide_chart(density, linear_srgb_of(xyz), greys, usual_film(FilmKind.SLIDE, raw, here, flat))
    off = f"The slide target in {target.raw_path.name} is off its own colours by {fitted.misfit:.0f} (CIE L*a*b*)"
    if fitted.misfit > _MOST_MISFIT:
        raise ConversionError(
            f"{off}: it is not used.",
            safe="No picture was made.",
            todo="Check that the corners are those of A1, A22, L22 and that the values belong to this very target.",
        )
    is_doubtful = fitted.misfit > _DOUBTFUL_MISFIT
    note = f"{off}: check that the values are this very target's, and that it is clean." if is_doubtful else ""
    return replace(fitted.model, source=f"slide target of ISO 12641, {len(names)} patches", note=note)
