"""Colour charts and grey cards in a picture of film: where the patches are, and what density they have."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from tethercap.convert import spaces
from tethercap.convert.cells import Cells
from tethercap.convert.film_base import FilmBase
from tethercap.errors import ConversionError
from tethercap.geometry import QuadPx
from tethercap.pictures import ColourSpace, F64Array, U8Array

CHART_COLUMNS, CHART_ROWS = 6, 4
GREY_PATCHES = np.arange(18, 24)
"""The chart's last row, white to black."""
_PATCH_SHARE = 0.5
"""Middle share of a patch, along each side, that is measured."""

CHART_LAB_D50 = np.array(
    [
        (37.54, 14.37, 14.92), (64.66, 19.27, 17.50), (49.32, -3.82, -22.54), (43.46, -12.74, 22.72),
        (54.94, 9.61, -24.79), (70.48, -32.26, -0.37), (62.73, 35.83, 56.50), (39.43, 10.75, -45.17),
        (50.57, 48.64, 16.67), (30.10, 22.54, -20.87), (71.77, -24.13, 58.19), (71.51, 18.24, 67.37),
        (28.37, 15.42, -49.80), (54.38, -39.72, 32.27), (42.43, 51.05, 28.62), (81.80, 2.67, 80.41),
        (50.63, 51.28, -14.12), (49.57, -29.71, -28.32), (95.19, -1.03, 2.93), (81.29, -0.57, 0.44),
        (66.89, -0.75, -0.06), (50.76, -0.13, 0.14), (35.63, -0.46, -0.48), (20.64, 0.07, -0.46),
    ]
)  # fmt: skip
"""CIE L*a*b* (D50) of the classic chart's 24 patches made after November 2014, as colour-science lists them."""


@dataclass(frozen=True, slots=True)
class Patch:
    """One patch of known colour or grey."""

    corners: QuadPx
    """Mosaic pixels."""

    def middle(self) -> QuadPx:
        """The part that is measured."""
        points = self.corners.as_array()
        centre = points.mean(axis=0)
        return QuadPx.from_array(centre + _PATCH_SHARE * (points - centre))


def chart_patches(corners: QuadPx) -> list[Patch]:
    """Divide the area of a chart's patches into its 24 fields, rows after each other.

    Parameters
    ----------
    corners : QuadPx
        Outer corners of the first, sixth, last and nineteenth patch; for a chart that lies on its head they begin
        where its first patch is.
    """
    unit = np.array([[0, 0], [CHART_COLUMNS, 0], [CHART_COLUMNS, CHART_ROWS], [0, CHART_ROWS]], np.float32)
    mapping = cv2.getPerspectiveTransform(unit, corners.as_array().astype(np.float32))
    patches = []
    for row in range(CHART_ROWS):
        for column in range(CHART_COLUMNS):
            field = np.array([[column, row], [column + 1, row], [column + 1, row + 1], [column, row + 1]], np.float64)
            placed = np.column_stack([field, np.ones(4)]) @ np.asarray(mapping).T
            patches.append(Patch(QuadPx.from_array(placed[:, :2] / placed[:, 2:])))
    return patches


def find_chart(positive_bgr: U8Array) -> QuadPx | None:
    """Look for a 24-patch chart in a rough positive.

    Parameters
    ----------
    positive_bgr : ndarray
        Shape (height, width, 3), uint8; colours need only be roughly right.

    Returns
    -------
    QuadPx or None
        Corners of the patches' area, the dark skin patch's first, px of that picture; None where no chart is seen.
    """
    detector = cv2.mcc.CCheckerDetector.create()
    detector.setColorChartType(cv2.mcc.MCC24)
    if not detector.process(positive_bgr):
        return None
    corners = np.asarray(detector.getBestColorChecker().getBox(), np.float64).reshape(4, 2)
    return QuadPx.from_array(corners)


def patch_densities(cells: Cells, patches: Sequence[Patch], base: FilmBase) -> F64Array:
    """Median density over base of each patch.

    Returns
    -------
    ndarray
        Shape (n, 3).

    Raises
    ------
    ConversionError
        If a patch is too small in the picture, lies outside it or is clipped.
    """
    rows, columns = cells.roughness.shape
    densities = []
    for number, patch in enumerate(patches, start=1):
        # Cell centres, as `cells.inside` places them.
        points = (patch.middle().as_array() - (cells.cell_px - 1) / 2) / cells.cell_px
        mask = np.zeros((rows, columns), np.uint8)
        cv2.fillConvexPoly(mask, np.rint(points * 16).astype(np.int32), 1, shift=4)
        counts = cells.counts[(mask > 0) & ~cells.clipped].astype(np.float64)
        if len(counts) < 4:
            raise ConversionError(
                f"Patch {number} of the chart is too small, clipped or outside the picture.",
                todo="Give the corners of the patches, or photograph the chart larger.",
            )
        densities.append(-np.log10(np.maximum(np.median(counts, axis=0), 0.5) / np.array(base.counts_rgb)))
    return np.array(densities)


def card_patch(width_px: int, height_px: int, corners: QuadPx | None) -> Patch:
    """The middle of a frame that shows a grey card: a third of it along each side.

    Parameters
    ----------
    width_px, height_px : int
        Of the mosaic.
    corners : QuadPx or None
        The picture on the film; None takes the whole mosaic.
    """
    whole = [[0, 0], [width_px - 1, 0], [width_px - 1, height_px - 1], [0, height_px - 1]]
    points = corners.as_array() if corners is not None else np.array(whole, np.float64)
    centre = points.mean(axis=0)
    return Patch(QuadPx.from_array(centre + (points - centre) * (0.33 / _PATCH_SHARE)))


def chart_linear_srgb() -> F64Array:
    """Linear sRGB of the 24 patches, white = 1, shape (24, 3)."""
    light = CHART_LAB_D50
    y = (light[:, 0] + 16.0) / 116.0
    roots = np.stack([y + light[:, 1] / 500.0, y, y - light[:, 2] / 200.0], axis=1)
    ratio = np.where(roots > 6 / 29, roots**3, 3 * (6 / 29) ** 2 * (roots - 4 / 29))
    to_srgb = np.linalg.inv(spaces.rgb_to_pcs(ColourSpace.SRGB))
    return np.asarray((ratio * spaces.PCS_WHITE_XYZ) @ to_srgb.T)
