import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms

from tethercap.errors import ConversionError, StorageError, UnreadablePictureError
from tethercap.image_files.icc import icc_profile
from tethercap.image_files.jpeg import (
    LONGEST_SIDE_PX,
    claimed_px,
    decode_jpeg,
    decode_live,
    decode_positive,
    encode_jpeg,
    write_jpeg,
)
from tethercap.image_files.metadata import read, xmp_packet
from tethercap.pictures import ColourSpace, LiveJpeg, U8Array


@pytest.fixture
def picture() -> U8Array:
    ramp = np.linspace(0, 255, 96).astype(np.uint8)
    return np.stack([np.tile(ramp, (64, 1)), np.full((64, 96), 90, np.uint8), np.full((64, 96), 200, np.uint8)], axis=2)


def test_what_is_written_comes_back(picture: U8Array) -> None:
    back = decode_jpeg(encode_jpeg(picture, quality=98))
    assert np.abs(back.astype(int) - picture).max() <= 4


@pytest.mark.parametrize("reduced", [2, 4, 8])
def test_reduced_pictures_are_the_small_ones(picture: U8Array, reduced: int) -> None:
    small = decode_jpeg(encode_jpeg(picture), reduced)
    assert small.shape == (64 // reduced, 96 // reduced, 3)
    assert small[..., 2].mean() == pytest.approx(200, abs=3)


@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 0.95])
def test_a_picture_cut_short_is_refused(picture: U8Array, share: float) -> None:
    whole = encode_jpeg(picture)
    with pytest.raises(UnreadablePictureError):
        decode_jpeg(whole[: int(len(whole) * share)])


def test_padding_behind_the_picture_is_allowed(picture: U8Array) -> None:
    assert decode_jpeg(encode_jpeg(picture) + bytes(512)).shape == picture.shape


def test_a_thumbnails_end_is_not_taken_for_the_pictures_own(picture: U8Array) -> None:
    whole = encode_jpeg(picture, xmp=b"<x/>\xff\xd9")
    with pytest.raises(UnreadablePictureError):
        decode_jpeg(whole[:-40])


def test_a_live_picture_keeps_its_time_and_number(picture: U8Array) -> None:
    frame = decode_live(LiveJpeg(encode_jpeg(picture), 12.5, 7))
    assert (frame.taken_at_s, frame.sequence, frame.size.width_px) == (12.5, 7, 96)


def test_profile_and_metadata_are_read_by_others(picture: U8Array, tmp_path: Path) -> None:
    path = tmp_path / "proof.jpg"
    write_jpeg(path, picture, colour_space=ColourSpace.DISPLAY_P3, xmp=xmp_packet({"Xmp.dc.title": "Roll 7"}))
    with Image.open(io.BytesIO(path.read_bytes())) as opened:
        assert opened.info["icc_profile"] == icc_profile(ColourSpace.DISPLAY_P3)
    assert read(path)["Xmp.dc.title"] == "Roll 7"
    assert [entry.name for entry in tmp_path.iterdir()] == ["proof.jpg"]


@pytest.mark.parametrize("space", list(ColourSpace))
def test_a_positive_of_any_space_is_shown_in_srgb(space: ColourSpace) -> None:
    """Reference: Little CMS, by way of Pillow, with the profile that is inside."""
    steps = np.linspace(70, 200, 8)
    blue, green, red = np.meshgrid(steps, steps, steps)
    flat = np.stack([blue, green, red], axis=-1).reshape(16, 32, 3).astype(np.uint8)
    jpeg = encode_jpeg(np.repeat(np.repeat(flat, 8, axis=0), 8, axis=1), quality=100, colour_space=space)
    ours = decode_positive(jpeg)[4::8, 4::8, ::-1].astype(int)
    opened = Image.open(io.BytesIO(jpeg))
    profile = ImageCms.ImageCmsProfile(io.BytesIO(opened.info["icc_profile"]))
    theirs = ImageCms.profileToProfile(opened, profile, ImageCms.createProfile("sRGB"))
    assert theirs is not None
    away = np.abs(ours - np.asarray(theirs)[4::8, 4::8])
    assert np.percentile(away, 95) <= 2
    assert away.max() <= 6


def test_a_folder_that_is_not_there_is_a_clear_error(picture: U8Array, tmp_path: Path) -> None:
    with pytest.raises(StorageError, match="could not be written"):
        write_jpeg(tmp_path / "gone" / "proof.jpg", picture)


@pytest.mark.parametrize("progressive", [False, True])
@pytest.mark.parametrize("claimed", [(65500, 65500), (30000, 3000), (9000, 7000)])
def test_a_size_that_cannot_be_is_refused_before_memory_is_taken(
    picture: U8Array, claimed: tuple[int, int], progressive: bool
) -> None:
    out = io.BytesIO()
    Image.fromarray(picture[:, :, ::-1]).save(out, "JPEG", progressive=progressive)
    jpeg = out.getvalue()
    at = max(jpeg.find(b"\xff\xc0"), jpeg.find(b"\xff\xc2"))
    height_px, width_px = (int.from_bytes(jpeg[at + n : at + n + 2], "big") for n in (5, 7))
    assert (height_px, width_px) == picture.shape[:2]
    assert claimed_px(jpeg) == height_px * width_px
    bomb = jpeg[: at + 5] + claimed[1].to_bytes(2, "big") + claimed[0].to_bytes(2, "big") + jpeg[at + 9 :]
    with pytest.raises(UnreadablePictureError, match="claims to have"):
        decode_live(LiveJpeg(bomb, 0.0, 0))


def test_the_flattest_picture_is_not_called_a_bomb() -> None:
    out = io.BytesIO()
    Image.new("L", (4000, 3000), 128).save(out, "JPEG", quality=1, progressive=True, optimize=True)
    assert decode_jpeg(out.getvalue()).shape == (3000, 4000, 3)
    assert claimed_px(b"\xff\xd8\xff\xd9") == 0


def test_what_a_jpeg_cannot_hold_is_refused() -> None:
    with pytest.raises(ConversionError, match="8 x 65501"):
        encode_jpeg(np.zeros((LONGEST_SIDE_PX + 1, 8, 3), np.uint8))
    assert encode_jpeg(np.zeros((LONGEST_SIDE_PX, 8, 3), np.uint8))


@pytest.mark.parametrize("key", ["Xmp.dc.description", "Exif.Image.ImageDescription"])
def test_metadata_longer_than_a_jpeg_can_hold_are_refused(key: str, picture: U8Array, tmp_path: Path) -> None:
    """ISO/IEC 10918-1, B.1.1.4: a segment has at most 65,535 bytes."""
    path = tmp_path / "a.jpg"

    def write(words: str) -> None:
        xmp = xmp_packet({key: words}) if key.startswith("Xmp.") else None
        write_jpeg(path, picture, xmp=xmp, properties={key: words})

    write("a" * 64_000)
    assert decode_jpeg(path.read_bytes()).shape == picture.shape
    with pytest.raises(ConversionError, match="Shorten captions"):
        write("a" * 65_530)
