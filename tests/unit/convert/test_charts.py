import warnings

import cv2
import numpy as np
import pytest

from tests.unit.convert.film_shots import BASE_COUNTS, density_of, raw_of
from tethercap.convert.cells import measure_cells
from tethercap.convert.charts import CHART_LAB_D50, chart_linear_srgb, chart_patches, find_chart, patch_densities
from tethercap.convert.film_base import FilmBase
from tethercap.convert.spaces import SPACES
from tethercap.errors import ConversionError
from tethercap.geometry import QuadPx
from tethercap.pictures import ColourSpace, F64Array

BASE = FilmBase((9000.0, 6000.0, 2600.0))


def test_the_patches_are_the_published_ones() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    chart = colour.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
    xyz = colour.xyY_to_XYZ(np.array(list(chart.data.values())))
    np.testing.assert_allclose(CHART_LAB_D50, colour.XYZ_to_Lab(xyz, chart.illuminant), atol=0.01)
    theirs = colour.XYZ_to_sRGB(
        xyz, chart.illuminant, chromatic_adaptation_transform="Bradford", apply_cctf_encoding=False
    )
    np.testing.assert_allclose(chart_linear_srgb(), theirs, atol=2e-3)


def drawn(angle_deg: float = 0.0, scale: float = 1.0) -> tuple[F64Array, QuadPx]:
    """A chart on a dark card, linear light, and the corners of its patches' area."""
    side, gap, rim = 80, 10, 40
    width, height = 6 * side + 7 * gap, 4 * side + 5 * gap
    card = np.full((height + 2 * rim, width + 2 * rim, 3), 0.25)
    card[rim:-rim, rim:-rim] = 0.03
    for number, colour in enumerate(chart_linear_srgb()):
        row, column = divmod(number, 6)
        y, x = rim + gap + row * (side + gap), rim + gap + column * (side + gap)
        card[y : y + side, x : x + side] = np.maximum(colour, 0.0)
    low, right, bottom = rim + gap / 2, rim + width - gap / 2, rim + height - gap / 2
    corners = np.array([[low, low], [right, low], [right, bottom], [low, bottom]])
    middle = (card.shape[1] / 2, card.shape[0] / 2)
    turn = cv2.getRotationMatrix2D(middle, angle_deg, scale)
    turned = cv2.warpAffine(card, turn, (card.shape[1], card.shape[0]), borderValue=(0.25, 0.25, 0.25))
    return np.asarray(turned), QuadPx.from_array(np.column_stack([corners, np.ones(4)]) @ turn.T)


def test_densities_of_patches_are_those_of_the_film() -> None:
    scene, corners = drawn()
    raw = raw_of(BASE_COUNTS * 10.0 ** -density_of(scene))
    density = patch_densities(measure_cells(raw, cell_px=8), chart_patches(corners), BASE)
    wanted = density_of(np.maximum(chart_linear_srgb(), 0.0))
    np.testing.assert_allclose(density, wanted, atol=0.01)


def test_a_patch_outside_the_picture_is_named() -> None:
    scene, corners = drawn()
    raw = raw_of(BASE_COUNTS * 10.0 ** -density_of(scene[:300]))
    with pytest.raises(ConversionError, match=r"Patch 1[3-9]|Patch 2"):
        patch_densities(measure_cells(raw, cell_px=8), chart_patches(corners), BASE)


@pytest.mark.parametrize("angle_deg", [0.0, 4.0])
def test_a_chart_is_found_in_a_rough_positive(angle_deg: float) -> None:
    scene, corners = drawn(angle_deg, 0.9)
    rough = np.clip(scene * np.array([1.1, 1.0, 0.85]) * 0.9, 0, 1)
    encoded = SPACES[ColourSpace.SRGB].curve.encode(rough)
    found = find_chart((encoded * 255).astype(np.uint8)[..., ::-1].copy())
    assert found is not None
    for patch, truth in zip(chart_patches(found), chart_patches(corners), strict=True):
        here, there = patch.corners.centre, truth.corners.centre
        assert np.hypot(here.x_px - there.x_px, here.y_px - there.y_px) < 12


def test_no_chart_is_found_where_none_is() -> None:
    noise = np.random.default_rng(1).integers(0, 255, (400, 600, 3)).astype(np.uint8)
    assert find_chart(cv2.GaussianBlur(noise, (31, 31), 8).astype(np.uint8)) is None
