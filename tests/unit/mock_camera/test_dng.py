from __future__ import annotations

import io
from datetime import UTC, datetime

import cv2
import exiv2
import numpy as np
import pytest
import rawpy
import tifffile
from numpy.typing import NDArray

from mock_camera import dng, sensor
from mock_camera.sensor import Exposure

INFO = dng.ShotInfo(
    Exposure(1 / 60, 5.6, 200), datetime(2024, 5, 6, 7, 8, 9, 250000, tzinfo=UTC), "Testbench", "Mock One", "S-42"
)  # fmt: skip


def random_mosaic() -> NDArray[np.uint16]:
    return np.random.default_rng(1).integers(sensor.BLACK, sensor.WHITE, (96, 128), dtype=np.uint16)


@pytest.fixture(scope="module")
def file() -> bytes:
    preview = cv2.imencode(".jpg", np.full((60, 90, 3), (20, 120, 220), np.uint8))[1].tobytes()
    return dng.write_dng(random_mosaic(), preview, (90, 60), INFO)


def test_libraw_reads_the_same_values_and_levels(file: bytes) -> None:
    with rawpy.imread(io.BytesIO(file)) as raw:
        assert np.array_equal(raw.raw_image.copy(), random_mosaic())
        assert raw.black_level_per_channel == [sensor.BLACK] * 4
        assert raw.white_level == sensor.WHITE
        assert raw.color_desc == b"RGBG"
        assert raw.raw_pattern.tolist() == [[0, 1], [3, 2]]
        gains = np.array(raw.camera_whitebalance[:3])
        assert 1.0 / gains == pytest.approx(sensor.NEUTRAL, rel=1e-4)


def test_libraws_matrix_undoes_the_sensors_colours(file: bytes) -> None:
    # LibRaw derives camera-to-linear-RGB from ColorMatrix1, rows normalised to keep white.
    with rawpy.imread(io.BytesIO(file)) as raw:
        assert raw.color_matrix[:, :3] == pytest.approx(sensor.UNMIXING, abs=2e-3)


def test_a_colour_comes_back_through_libraw() -> None:
    colour = np.array([0.40, 0.15, 0.05])
    camera = sensor.NEUTRAL * (sensor.MIXING @ colour) * (sensor.WHITE - sensor.BLACK) + sensor.BLACK
    mosaic = np.empty((96, 128), np.uint16)
    for row, column, channel in ((0, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 2)):
        mosaic[row::2, column::2] = round(camera[channel])
    preview = cv2.imencode(".jpg", np.zeros((60, 90, 3), np.uint8))[1].tobytes()
    file = dng.write_dng(mosaic, preview, (90, 60), INFO)
    with rawpy.imread(io.BytesIO(file)) as raw:
        picture = raw.postprocess(use_camera_wb=True, no_auto_bright=True, gamma=(1, 1), output_bps=16)
    assert picture[40:60, 40:80].mean(axis=(0, 1)) / 65535 == pytest.approx(colour, rel=0.01)


def test_the_preview_is_the_jpeg_that_was_given(file: bytes) -> None:
    with rawpy.imread(io.BytesIO(file)) as raw:
        thumb = raw.extract_thumb()
    picture = cv2.imdecode(np.frombuffer(thumb.data, np.uint8), cv2.IMREAD_COLOR)
    assert picture is not None
    assert picture.shape == (60, 90, 3)
    assert picture.mean(axis=(0, 1)) == pytest.approx([20, 120, 220], abs=4)


def test_exif_as_exiv2_reads_it(file: bytes) -> None:
    image = exiv2.ImageFactory.open(file)
    image.readMetadata()
    data = image.exifData()
    expected = {
        "Exif.Photo.ExposureTime": "1/60",
        "Exif.Photo.FNumber": "28/5",
        "Exif.Photo.ISOSpeedRatings": "200",
        "Exif.Photo.DateTimeOriginal": "2024:05:06 07:08:09",
        "Exif.Photo.SubSecTimeOriginal": "250",
        "Exif.Photo.OffsetTimeOriginal": "+00:00",
        "Exif.Photo.BodySerialNumber": "S-42",
        "Exif.Image.Make": "Testbench",
        "Exif.Image.Model": "Mock One",
    }
    assert {key: data[key].toString() for key in expected} == expected
    assert float(data["Exif.Photo.ApertureValue"].toFloat()) == pytest.approx(2 * np.log2(5.6), abs=0.01)


def test_exif_as_tifffile_reads_it(file: bytes) -> None:
    with tifffile.TiffFile(io.BytesIO(file)) as tiff:
        exif = tiff.pages[0].tags["ExifTag"].value
    assert exif["ExposureTime"] == (1, 60)
    assert exif["FileSource"] == b"\x03"


def test_the_jpeg_carries_the_same_exif() -> None:
    plain = cv2.imencode(".jpg", np.full((60, 90, 3), 90, np.uint8))[1].tobytes()
    image = exiv2.ImageFactory.open(dng.add_exif_to_jpeg(plain, INFO))
    image.readMetadata()
    data = image.exifData()
    assert data["Exif.Photo.ExposureTime"].toString() == "1/60"
    assert data["Exif.Photo.LensModel"].toString() == INFO.lens
    assert data["Exif.Image.DateTime"].toString() == "2024:05:06 07:08:09"


def test_long_times_are_written_in_seconds() -> None:
    entries = {
        entry[0]: entry[3]
        for entry in dng.exif_entries(dng.ShotInfo(Exposure(2.5, 8, 100), INFO.taken_at, "a", "b", "c"))
    }
    assert entries[33434] == (5).to_bytes(4, "little") + (2).to_bytes(4, "little")
