"""A small picture that follows a recipe at once: densities are measured once, only the print is made anew."""

from dataclasses import dataclass

import cv2
import numpy as np

from tethercap.convert.cells import measure_cells
from tethercap.convert.develop import finish_density
from tethercap.convert.exposure import PrintExposure
from tethercap.convert.film_base import FilmBase
from tethercap.convert.film_model import FilmModel
from tethercap.convert.flat_field import FlatField
from tethercap.convert.pipeline import grey_model, make_tables
from tethercap.convert.recipe import Recipe
from tethercap.film.kinds import FilmKind
from tethercap.pictures import F32Array, RawPicture, U8Array


@dataclass(frozen=True, slots=True, eq=False)
class Preview:
    """One frame in small, ready to be printed with any recipe."""

    raw: RawPicture
    counts: F32Array
    """Counts over black, shape (rows, columns, 3), unevenness of the rig taken out."""
    film_kind: FilmKind

    def draw(self, recipe: Recipe, base: FilmBase, model: FilmModel, exposure: PrintExposure) -> U8Array:
        """Print it.

        Parameters
        ----------
        recipe : Recipe
            Exposure, contrast, balance, saturation and space are followed; the picture is not cut or turned.
        base, model, exposure
            As in the frame's plan, `pipeline.ConversionPlan`.

        Returns
        -------
        ndarray
            Shape (rows, columns, 3), uint8, blue-green-red, encoded as the recipe's space says.
        """
        kind = self.film_kind
        used = grey_model(model, recipe) if kind is FilmKind.BW_NEGATIVE else model
        tables = make_tables(self.raw, base, used, exposure, recipe, kind, with_flat=True)
        over_base = np.maximum(self.counts, np.float32(0.5)) / np.array(base.counts_rgb, np.float32)
        pixels = over_base if kind is FilmKind.SLIDE else np.float32(-1.0) * np.log10(over_base)
        printed = finish_density(np.ascontiguousarray(pixels), tables)
        return np.ascontiguousarray(cv2.convertScaleAbs(printed, alpha=255.0 / 65535.0)[..., ::-1]).astype(np.uint8)


def make_preview(
    raw: RawPicture, film_kind: FilmKind, flat: FlatField | None = None, long_side_px: int = 1500
) -> Preview:
    """Measure a frame for previews, at most `long_side_px` pixels along its longer side."""
    cell_px = max(-(-max(raw.mosaic.shape) // long_side_px // 4) * 4, 4)
    cells = measure_cells(raw, flat, cell_px)
    return Preview(raw, cells.counts, film_kind)
