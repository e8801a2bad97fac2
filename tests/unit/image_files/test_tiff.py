import hashlib
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import ImageCms

from tests.unit.image_files.tiffs import write_tiff
from tethercap.errors import StorageError, UnreadablePictureError
from tethercap.geometry import SizePx
from tethercap.image_files.icc import icc_profile
from tethercap.image_files.metadata import read, xmp_packet
from tethercap.image_files.tiff import Compression, PutRows, TiffOptions, fill_positive, map_tiff, read_tiff
from tethercap.pictures import ColourSpace, U16Array


@pytest.fixture
def pixels() -> U16Array:
    return np.random.default_rng(3).integers(0, 65536, (70, 50, 3)).astype(np.uint16)


@pytest.mark.parametrize("compression", list(Compression))
def test_pixels_come_back_whatever_the_packing(pixels: U16Array, compression: Compression, tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    write_tiff(path, pixels, TiffOptions(compression=compression))
    np.testing.assert_array_equal(read_tiff(path), pixels)


@pytest.mark.parametrize("compression", list(Compression))
def test_the_same_picture_gives_the_same_bytes(pixels: U16Array, compression: Compression, tmp_path: Path) -> None:
    options = TiffOptions(compression=compression, properties={"Exif.Image.Artist": "Invented Person"})
    for name in ("a.tif", "b.tif"):
        write_tiff(tmp_path / name, pixels, options)
    assert (tmp_path / "a.tif").read_bytes() == (tmp_path / "b.tif").read_bytes()


def test_profile_and_metadata_lie_inside(pixels: U16Array, tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    packet = xmp_packet({"Xmp.dc.title": "Roll 7, frame 12"})
    options = TiffOptions(colour_space=ColourSpace.DISPLAY_P3, xmp=packet, properties={"Exif.Image.Artist": "Jörg"})
    write_tiff(path, pixels, options)
    with tifffile.TiffFile(path) as opened:
        page = opened.pages.first
        assert page.tags["InterColorProfile"].value == icc_profile(ColourSpace.DISPLAY_P3)
        assert page.dtype == np.uint16
    found = read(path)
    assert found["Xmp.dc.title"] == "Roll 7, frame 12"
    assert found["Exif.Image.Artist"] == "Jörg"
    assert ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(_as_file(path))).strip() == "Display P3"


def _as_file(path: Path) -> str:
    profile = path.with_suffix(".icc")
    with tifffile.TiffFile(path) as opened:
        profile.write_bytes(opened.pages.first.tags["InterColorProfile"].value)
    return str(profile)


@pytest.mark.parametrize("compression", [Compression.NONE, Compression.DEFLATE])
def test_rows_may_come_in_any_order(pixels: U16Array, compression: Compression, tmp_path: Path) -> None:
    def fill(put: PutRows) -> None:
        for first in (30, 60, 0):
            put(first, pixels[first : first + 30])

    options = TiffOptions(compression=compression, properties={"Exif.Photo.FNumber": "28/10"})
    sha256 = fill_positive(tmp_path / "a.tif", SizePx(50, 70), options, fill, with_sha256=True)
    assert sha256 == hashlib.sha256((tmp_path / "a.tif").read_bytes()).hexdigest()
    np.testing.assert_array_equal(read_tiff(tmp_path / "a.tif"), pixels)


def test_a_picture_of_more_than_4_gb_is_written(tmp_path: Path) -> None:
    """Nearly all of it is a hole in the file, which takes no room on the disk."""
    side = 27_000
    row = np.full((1, side, 3), 7, np.uint16)
    options = TiffOptions(properties={"Exif.Photo.FNumber": "28/10"})
    fill_positive(tmp_path / "a.tif", SizePx(side, side), options, lambda put: put(side - 1, row))
    mapped = map_tiff(tmp_path / "a.tif")
    assert mapped.shape == (side, side, 3)
    assert (mapped[-1] == 7).all()
    assert not mapped[-2].any()


def test_a_failure_leaves_the_old_file_and_nothing_else(pixels: U16Array, tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    write_tiff(path, pixels, TiffOptions())
    before = path.read_bytes()

    def fail(_put: PutRows) -> None:
        raise OSError(28, "No space left on device")

    with pytest.raises(StorageError, match="No space left"):
        fill_positive(path, SizePx(50, 70), TiffOptions(), fail)
    assert path.read_bytes() == before
    assert [entry.name for entry in tmp_path.iterdir()] == ["a.tif"]


def test_a_disk_that_refuses_is_told_by_the_name_that_is_meant(
    pixels: U16Array, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A disk that became read-only does not let the half-written file go either."""

    def refuse(*_: object, **__: object) -> None:
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr(tifffile, "memmap", refuse)
    monkeypatch.setattr(Path, "unlink", refuse)
    with pytest.raises(StorageError, match=r"/a\.tif could not be written: Read-only"):
        write_tiff(tmp_path / ".a.tif.123.part", pixels, TiffOptions())


def test_other_files_are_refused(tmp_path: Path) -> None:
    (tmp_path / "a.tif").write_bytes(b"no picture")
    with pytest.raises(UnreadablePictureError):
        read_tiff(tmp_path / "a.tif")
    tifffile.imwrite(tmp_path / "b.tif", np.zeros((4, 4, 3), np.uint8))
    with pytest.raises(UnreadablePictureError, match="16 bits"):
        read_tiff(tmp_path / "b.tif")
