"""Spaces and curves against the standards' figures and colour-science."""

import warnings

import numpy as np
import pytest

from tethercap.convert.spaces import SPACES, rgb_to_xyz, srgb_to
from tethercap.pictures import ColourSpace

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

THEIR_NAMES = {
    ColourSpace.SRGB: "sRGB",
    ColourSpace.DISPLAY_P3: "Display P3",
    ColourSpace.ADOBE_RGB_COMPATIBLE: "Adobe RGB (1998)",
    ColourSpace.PROPHOTO_TYPE: "ROMM RGB",
}


def test_srgb_matrix_is_that_of_the_standard() -> None:
    # IEC 61966-2-1, four decimals.
    standard = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    np.testing.assert_allclose(rgb_to_xyz(ColourSpace.SRGB), standard, atol=6e-5)


@pytest.mark.parametrize(("linear", "encoded"), [(0.01, 0.0998528), (0.18, 0.461356130), (0.5, 0.735356983)])
def test_srgb_curve_has_the_published_values(linear: float, encoded: float) -> None:
    # IEC 61966-2-1 as colour-science computes it.
    curve = SPACES[ColourSpace.SRGB].curve
    assert curve.encode(linear) == pytest.approx(encoded, abs=1e-6)
    assert curve.decode(encoded) == pytest.approx(linear, abs=1e-6)


@pytest.mark.parametrize("space", list(ColourSpace))
def test_encoding_and_decoding_are_inverse(space: ColourSpace) -> None:
    linear = np.linspace(0.0, 1.0, 1001)
    curve = SPACES[space].curve
    np.testing.assert_allclose(curve.decode(curve.encode(linear)), linear, atol=2e-5)


@pytest.mark.parametrize(("space", "name"), list(THEIR_NAMES.items()))
def test_spaces_are_those_of_the_reference_library(space: ColourSpace, name: str) -> None:
    theirs = colour.RGB_COLOURSPACES[name]
    np.testing.assert_allclose(np.array(SPACES[space].primaries_xy), theirs.primaries, atol=1e-4)
    linear = np.array([0.002, 0.05, 0.3, 0.9])
    np.testing.assert_allclose(SPACES[space].curve.encode(linear), theirs.cctf_encoding(linear), atol=3e-4)


@pytest.mark.parametrize("space", list(ColourSpace))
def test_grey_stays_grey_in_every_space(space: ColourSpace) -> None:
    np.testing.assert_allclose(srgb_to(space).sum(axis=1), 1.0, atol=1e-3)
