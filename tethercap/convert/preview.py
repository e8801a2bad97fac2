"""A small picture that follows a recipe at once: densities are measured once, only the print is made anew."""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from tethercap.convert.crop import Layout
from tethercap.convert.demosaic import PLACES
from tethercap.convert.develop import layers_of
from tethercap.convert.exposure import PrintExposure
from tethercap.convert.film_base import FilmBase
from tethercap.convert.film_model import FilmModel
from tethercap.convert.flat_field import FlatField
from tethercap.convert.pipeline import grey_model, make_print_tables, make_tables
from tethercap.convert.printing import LUT_SIZE, print_layers
from tethercap.convert.recipe import Recipe
from tethercap.film.kinds import FilmKind
from tethercap.pictures import F32Array, RawPicture, U8Array, U16Array

_NEGATIVE_EXPONENT, _SLIDE_EXPONENT = -0.7, 0.42
"""Encoded values of a print go about with this power of the film's light (slope 0.6 of a negative, 1/2.4 of the
encoding): averaged so, a few pixels of the RAW give what the positive gives in small, on edges and in grain as well."""
_LEAST_COUNTS = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Preview:
    """One frame in small, ready to be printed with any recipe."""

    raw: RawPicture
    film: F32Array
    """Shape (rows, columns, 3): density against one count over black."""
    film_kind: FilmKind
    cell_px: int
    """Pixels of the RAW that one pixel is the mean of, either way."""

    def develop(self, recipe: Recipe, base: FilmBase, model: FilmModel) -> "Developed":
        """Do all that stays the same while exposure, contrast, balance, saturation or space of a recipe are turned.

        Parameters
        ----------
        recipe : Recipe
        base, model
            As in the frame's plan, `pipeline.ConversionPlan`.
        """
        kind = self.film_kind
        used = grey_model(model, recipe) if kind is FilmKind.BW_NEGATIVE else model
        tables = make_tables(self.raw, base, used, PrintExposure(1.0), recipe, kind, with_flat=True)
        clear = np.array(base.counts_rgb, np.float32)
        return Developed(layers_of(self.film + np.log10(clear), tables), used, kind)


@dataclass(frozen=True, slots=True, eq=False)
class Developed:
    """A frame in small of which only the print is still to be made."""

    layers: U16Array
    """Shape (rows, columns, 3), as `printing.print_layers` takes them."""
    model: FilmModel
    film_kind: FilmKind

    def squared(self, layout: Layout) -> "Developed":
        """Cut out the frame as laid out on this small picture; not turned."""
        if layout.to_source is None:
            return self
        size, mapping = (layout.size.width_px, layout.size.height_px), np.array(layout.to_source)
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        warped = cv2.warpPerspective(self.layers, mapping, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
        return replace(self, layers=np.asarray(warped, np.uint16))

    def draw(self, recipe: Recipe, exposure: PrintExposure) -> U8Array:
        """Print it.

        Parameters
        ----------
        recipe : Recipe
            Exposure, contrast, balance, saturation and space are followed.
        exposure : PrintExposure
            As in the frame's plan.

        Returns
        -------
        ndarray
            Shape (rows, columns, 3), uint8, blue-green-red, encoded as the recipe's space says.
        """
        tables = make_print_tables(self.model, exposure, recipe, self.film_kind).for_screen()
        return np.asarray(cv2.LUT(print_layers(self.layers, tables), tables.encode), np.uint8)


def make_preview(
    raw: RawPicture, film_kind: FilmKind, long_side_px: int = 1500, flat: FlatField | None = None
) -> Preview:
    """Measure a frame for previews, at most `long_side_px` pixels along its longer side; the flat field taken out."""
    cell_px = max(-(-max(raw.mosaic.shape) // long_side_px // 4) * 4, 4)
    rows, columns = (side // cell_px for side in raw.mosaic.shape)
    exponent = _NEGATIVE_EXPONENT if film_kind.is_negative else _SLIDE_EXPONENT
    sums, seen = np.zeros((rows, columns, 3), np.float32), np.zeros(3, np.float32)
    for row, column in PLACES:
        colour = int(raw.pattern[row, column])
        over_black = np.maximum(np.arange(LUT_SIZE) - raw.black[row, column], _LEAST_COUNTS)
        plane = np.ascontiguousarray(raw.mosaic[row : rows * cell_px : 2, column : columns * cell_px : 2])
        powers = cv2.LUT(plane, (over_black**exponent).astype(np.float32))
        sums[..., colour] += cv2.resize(powers, (columns, rows), interpolation=cv2.INTER_AREA)
        seen[colour] += 1
    means = sums / seen
    # The logarithm is taken here, once, and not with every turn of a recipe.
    film = -np.log10(means) / exponent
    if flat is not None:
        flat.refuse_other(raw)
        film = film - flat.in_small(columns, rows, cell_px)
    return Preview(raw, film.astype(np.float32), film_kind, cell_px)
