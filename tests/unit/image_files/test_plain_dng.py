"""A DNG that needs no unpacking comes out as LibRaw itself unpacks it, and any other is left to LibRaw."""

import os
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rawpy
import tifffile

from tests.unit.image_files.dng_writer import write_dng, write_grey_dng, write_six_by_six_dng
from tethercap.errors import UnreadablePictureError
from tethercap.image_files import raw as raw_module
from tethercap.image_files.plain_dng import open_plain_dng
from tethercap.image_files.raw import read_raw


@pytest.fixture
def mosaic() -> np.ndarray:
    return np.random.default_rng(3).integers(600, 15000, (96, 130)).astype(np.uint16)


def _is_plain(path: Path) -> bool:
    with open_plain_dng(path) as plain:
        return plain is not None


def _assert_as_libraw(path: Path) -> None:
    ours = read_raw(path)
    with rawpy.imread(str(path)) as raw:
        np.testing.assert_array_equal(ours.mosaic, raw.raw_image_visible)
        theirs = raw_module._picture(raw, path)
    for name in ("pattern", "black", "white", "camera_to_xyz", "daylight_multipliers", "d65_multipliers"):
        np.testing.assert_array_equal(getattr(ours, name), getattr(theirs, name), err_msg=name)
    assert (ours.orientation, ours.shot) == (theirs.orientation, theirs.shot)


@pytest.mark.parametrize(
    "options",
    [
        {},
        {"pattern": (1, 0, 2, 1), "black": (250, 256, 258, 260)},
        {"pattern": (2, 1, 1, 0), "orientation": 6},
        {"neutral": (0.31, 1.0, 0.77), "orientation": 3},
    ],
)
def test_levels_colours_and_counts_are_libraws(mosaic: np.ndarray, options: dict[str, Any], tmp_path: Path) -> None:
    path = write_dng(tmp_path / "a.dng", mosaic, **options)
    assert _is_plain(path)
    _assert_as_libraw(path)


def test_tags_behind_the_pixels_are_read_too(mosaic: np.ndarray, tmp_path: Path) -> None:
    path = write_dng(tmp_path / "a.dng", mosaic)
    with tifffile.TiffFile(path, mode="r+b") as tiff:
        tag = tiff.pages.first.tags["ColorMatrix1"]
        place = path.stat().st_size
        moved = path.read_bytes()[tag.valueoffset : tag.valueoffset + 72]
        tiff.filehandle.seek(tag.offset + 8)
        tiff.filehandle.write(np.uint32(place).tobytes())
        # What stands at the old place would be another matrix.
        tiff.filehandle.seek(tag.valueoffset)
        tiff.filehandle.write(np.array([1, 3] * 9, np.int32).tobytes())
    with path.open("ab") as file:
        file.write(moved)
    assert _is_plain(path)
    _assert_as_libraw(path)
    assert read_raw(path).camera_to_xyz is not None


def _rewritten(path: Path, mosaic: np.ndarray, *, further: tuple[Any, ...] = (), **layout: Any) -> Path:
    """The same DNG with another layout or more tags."""
    with tifffile.TiffFile(path) as tiff:
        tags = [
            (tag.code, tag.dtype, tag.count, tag.value, True)
            for tag in tiff.pages.first.tags
            if tag.code >= 33421 or tag.name == "Orientation"
        ]
    tifffile.imwrite(path, mosaic, photometric=32803, extratags=[*tags, *further], metadata=None, **layout)
    return path


@pytest.mark.parametrize(
    "change",
    [
        {"rowsperstrip": 32},
        {"byteorder": ">"},
        {"further": ((50829, "H", 4, (4, 6, 92, 126), True),)},
        {"further": ((50712, "H", 16384, tuple(range(16384)), True),)},
        {"further": ((50829, "H", 4, (0, 8, 96, 130), True), (50830, "H", 4, (0, 0, 96, 8), True))},
    ],
    ids=["strips", "other byte order", "margins", "counts to be translated", "covered photosites"],
)
def test_what_is_not_plain_is_left_to_libraw(mosaic: np.ndarray, change: dict[str, Any], tmp_path: Path) -> None:
    path = _rewritten(write_dng(tmp_path / "a.dng", mosaic), mosaic, **change)
    assert not _is_plain(path)
    _assert_as_libraw(path)


def test_another_sensor_is_left_to_libraw(tmp_path: Path) -> None:
    counts = np.full((96, 132, 3), 3000.0)
    assert not _is_plain(write_six_by_six_dng(tmp_path / "six.dng", counts))
    assert not _is_plain(write_grey_dng(tmp_path / "grey.dng", counts[..., 0]))


def test_no_part_of_a_file_that_is_cut_short_is_handed_out(mosaic: np.ndarray, tmp_path: Path) -> None:
    path = write_dng(tmp_path / "a.dng", mosaic)
    path.write_bytes(path.read_bytes()[:-2])
    with pytest.raises(UnreadablePictureError):
        read_raw(path)


def test_a_disk_that_takes_no_passing_file_keeps_no_raw_from_being_read(
    mosaic: np.ndarray, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_room(_name: str) -> int:
        raise OSError("no room")

    path = write_dng(tmp_path / "a.dng", mosaic)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "gone"))
    monkeypatch.setattr(os, "memfd_create", no_room, raising=False)
    assert not _is_plain(path)
    np.testing.assert_array_equal(read_raw(path).mosaic, mosaic)


def test_nothing_is_left_behind(mosaic: np.ndarray, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write_dng(tmp_path / "a.dng", mosaic)
    passing = tmp_path / "passing"
    passing.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(passing))
    read_raw(path)
    assert not list(passing.iterdir())
