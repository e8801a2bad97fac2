"""ICC profiles against LittleCMS (Pillow's ImageCms) and the published Bradford-adapted colorants."""

import hashlib
import io
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageCms

from tethercap.image_files.icc import icc_profile
from tethercap.pictures import ColourSpace


def colorants(profile: Any) -> np.ndarray:
    """XYZ of red, green, blue, one a row."""
    read = (profile.red_colorant, profile.green_colorant, profile.blue_colorant)
    return np.array([colorant[0] for colorant in read if colorant is not None])


def test_colorants_of_srgb_are_the_published_ones() -> None:
    # ICC PCS, Bradford-adapted sRGB as colour-science computes it.
    published = np.array([[0.43605, 0.38513, 0.14307], [0.22245, 0.71694, 0.06062], [0.01390, 0.09707, 0.71389]])
    profile = ImageCms.ImageCmsProfile(io.BytesIO(icc_profile(ColourSpace.SRGB))).profile
    np.testing.assert_allclose(colorants(profile).T, published, atol=2e-4)


@pytest.mark.parametrize("space", list(ColourSpace))
def test_an_independent_engine_reads_every_profile(space: ColourSpace) -> None:
    profile = ImageCms.ImageCmsProfile(io.BytesIO(icc_profile(space)))
    assert profile.profile.version == pytest.approx(4.4)
    assert profile.profile.xcolor_space.strip() == "RGB"


@pytest.mark.parametrize("space", list(ColourSpace))
def test_white_is_the_white_of_the_connection_space(space: ColourSpace) -> None:
    profile = ImageCms.ImageCmsProfile(io.BytesIO(icc_profile(space))).profile
    np.testing.assert_allclose(colorants(profile).sum(axis=0), [0.9642, 1.0, 0.8249], atol=2e-4)


def test_values_mean_what_lcms_own_srgb_means() -> None:
    ramp = np.random.default_rng(1).integers(0, 256, (40, 40, 3)).astype(np.uint8)
    ours = ImageCms.ImageCmsProfile(io.BytesIO(icc_profile(ColourSpace.SRGB)))
    transform = ImageCms.buildTransform(ours, ImageCms.createProfile("sRGB"), "RGB", "RGB")
    through = ImageCms.applyTransform(Image.fromarray(ramp), transform)
    assert through is not None
    assert np.abs(np.asarray(through).astype(int) - ramp).max() <= 1


def test_profile_id_is_the_md5_of_the_profile_without_it() -> None:
    profile = icc_profile(ColourSpace.DISPLAY_P3)
    blank = profile[:84] + bytes(16) + profile[100:]
    assert profile[84:100] == hashlib.md5(blank, usedforsecurity=False).digest()
    assert int.from_bytes(profile[:4], "big") == len(profile)
