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

_OLDER_CHART_LAB_D50 = np.array(
    [
        (38.45, 13.60, 14.53), (65.94, 17.88, 17.86), (50.06, -4.51, -22.28), (43.29, -13.23, 21.93),
        (55.32, 8.83, -24.62), (70.69, -33.03, -0.13), (62.65, 35.35, 57.84), (40.25, 9.76, -44.38),
        (51.60, 47.80, 16.88), (30.50, 21.06, -20.04), (72.46, -23.29, 56.99), (71.95, 19.48, 68.13),
        (28.88, 14.80, -50.15), (55.14, -37.81, 31.63), (42.28, 54.10, 28.67), (82.28, 4.03, 80.01),
        (51.92, 49.80, -13.85), (50.72, -28.10, -27.96), (96.53, -0.47, 2.38), (81.21, -0.66, 0.25),
        (66.48, -0.53, -0.04), (50.83, -0.63, -0.16), (35.85, -0.54, -0.51), (20.83, 0.03, -0.40),
    ]
)  # fmt: skip
"""The same of charts made before, mean of thirty (the average listed in colour-science)."""


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


def patch_densities(cells: Cells, patches: Sequence[Patch], base: FilmBase, of_what: str = "the chart") -> F64Array:
    """Median density over base of each patch; a patch that cannot be measured is said to be one `of_what`.

    Returns
    -------
    ndarray
        Shape (n, 3).

    Raises
    ------
    ConversionError
        If a patch is too small in the picture, lies outside it or is clipped.
    """
    densities = []
    for number, patch in enumerate(patches, start=1):
        counts = _counts_in(cells, patch)
        if len(counts) < 4:
            raise ConversionError(
                f"Patch {number} of {of_what} is too small, clipped or outside the picture.",
                todo="Give the corners of the patches, or photograph it larger.",
            )
        densities.append(-np.log10(np.maximum(np.median(counts, axis=0), 0.5) / np.array(base.counts_rgb)))
    return np.array(densities)


def unevenness(cells: Cells, patch: Patch) -> float:
    """Green density between the darkest and the lightest twentieth of a patch; NaN where no cell of it can be read."""
    counts = np.maximum(_counts_in(cells, patch)[:, 1], 0.5)
    return float(np.log10(np.percentile(counts, 95) / np.percentile(counts, 5))) if len(counts) else float("nan")


def _counts_in(cells: Cells, patch: Patch) -> F64Array:
    """Counts of the cells in the middle of a patch that are not clipped, shape (n, 3)."""
    # Cell centres, as `cells.inside` places them.
    points = (patch.middle().as_array() - (cells.cell_px - 1) / 2) / cells.cell_px
    mask = np.zeros(cells.roughness.shape, np.uint8)
    cv2.fillConvexPoly(mask, np.rint(points * 16).astype(np.int32), 1, shift=4)
    counts: F64Array = cells.counts[(mask > 0) & ~cells.clipped].astype(np.float64)
    return counts


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


def chart_linear_srgb(light: F64Array = CHART_LAB_D50) -> F64Array:
    """Linear sRGB of the 24 patches, white = 1, shape (24, 3).

    Parameters
    ----------
    light : ndarray
        Shape (24, 3), CIE L*a*b* (D50).
    """
    y = (light[:, 0] + 16.0) / 116.0
    roots = np.stack([y + light[:, 1] / 500.0, y, y - light[:, 2] / 200.0], axis=1)
    ratio = np.where(roots > 6 / 29, roots**3, 3 * (6 / 29) ** 2 * (roots - 4 / 29))
    to_srgb = np.linalg.inv(spaces.rgb_to_pcs(ColourSpace.SRGB))
    return np.asarray((ratio * spaces.PCS_WHITE_XYZ) @ to_srgb.T)


CHART_EDITIONS = (chart_linear_srgb(CHART_LAB_D50), chart_linear_srgb(_OLDER_CHART_LAB_D50))
"""The chart as it is made now, and as it was on rolls of older days."""
