"""RAW pictures as files: a DNG with the sensor's mosaic, an embedded JPEG preview and the EXIF of the shot.

The DNG 1.4 tags used are the ones every reader needs: version, model, mosaic layout, black and white level, colour
matrix, neutral.  tifffile writes the TIFF; it has no way to write an EXIF directory, so that is packed here and
appended.
"""

from __future__ import annotations

import io
import math
import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction

import numpy as np
import tifffile
from numpy.typing import NDArray

from mock_camera import sensor
from mock_camera.sensor import Exposure

EXIF_IFD_TAG = 34665
_EXIF_PLACE_TAG = 40000
"""tifffile refuses the EXIF tag among its extra tags; this unused number holds its place, in the same order of tags."""
_ASCII, _SHORT, _LONG, _RATIONAL, _UNDEFINED, _SIGNED_RATIONAL = 2, 3, 4, 5, 7, 10


@dataclass(frozen=True)
class ShotInfo:
    """What a camera writes beside its picture; the makers' words are invented."""

    exposure: Exposure
    taken_at: datetime
    make: str
    model: str
    serial: str
    lens: str = "Demo Macro 90 mm"
    software: str = "simulated camera"


def write_dng(mosaic: NDArray[np.uint16], preview_jpeg: bytes, preview_size: tuple[int, int], info: ShotInfo) -> bytes:
    """Make a DNG.

    Parameters
    ----------
    mosaic : uint16 (h, w)
        Sensor values 0 to 16383, RGGB, black and white level as in `sensor`.
    preview_jpeg : bytes
        JPEG for the first directory.
    preview_size : tuple of int
        Its width and height.
    info : ShotInfo

    Returns
    -------
    bytes
        The whole file.
    """
    file = io.BytesIO()
    with tifffile.TiffWriter(file, byteorder="<") as writer:
        width, height = preview_size
        writer.write(
            _segments(preview_jpeg),
            shape=(height, width, 3),
            dtype=np.uint8,
            photometric="ycbcr",
            compression="jpeg",
            subsampling=(2, 2),
            rowsperstrip=height,
            subfiletype=1,
            subifds=1,
            metadata=None,
            software=info.software,
            datetime=info.taken_at,
            extratags=_camera_tags(info),
        )
        writer.write(
            mosaic,
            photometric=32803,
            subfiletype=0,
            metadata=None,
            software=False,
            rowsperstrip=mosaic.shape[0],
            extratags=_mosaic_tags(mosaic.shape),
        )
    return _append_exif(file, exif_entries(info))


def _segments(jpeg: bytes) -> Iterator[bytes]:
    yield jpeg


def _rationals(values: Sequence[float], denominator: int) -> tuple[int, ...]:
    return tuple(part for value in values for part in (round(value * denominator), denominator))


def _camera_tags(info: ShotInfo) -> list[tuple[int, int, int, object, bool]]:
    return [
        (271, _ASCII, 0, info.make, True),
        (272, _ASCII, 0, info.model, True),
        (274, _SHORT, 1, 1, True),
        (_EXIF_PLACE_TAG, _LONG, 1, 0, True),
        (50706, 1, 4, bytes((1, 4, 0, 0)), True),  # DNGVersion
        (50707, 1, 4, bytes((1, 1, 0, 0)), True),  # DNGBackwardVersion
        (50708, _ASCII, 0, f"{info.make} {info.model}", True),  # UniqueCameraModel
        (50721, _SIGNED_RATIONAL, 9, _rationals(sensor.COLOR_MATRIX.ravel().tolist(), 100000), True),  # ColorMatrix1
        (50728, _RATIONAL, 3, _rationals(sensor.NEUTRAL.tolist(), 100000), True),  # AsShotNeutral
        (50735, _ASCII, 0, info.serial, True),  # CameraSerialNumber
        (50778, _SHORT, 1, 21, True),  # CalibrationIlluminant1: D65
    ]


def _mosaic_tags(shape: tuple[int, ...]) -> list[tuple[int, int, int, object, bool]]:
    height, width = shape
    return [
        (33421, _SHORT, 2, (2, 2), True),  # CFARepeatPatternDim
        (33422, 1, 4, bytes((0, 1, 1, 2)), True),  # CFAPattern: RGGB
        (50711, _SHORT, 1, 1, True),  # CFALayout
        (50713, _SHORT, 2, (2, 2), True),  # BlackLevelRepeatDim
        (50714, _SHORT, 4, (sensor.BLACK,) * 4, True),  # BlackLevel
        (50717, _SHORT, 1, sensor.WHITE, True),  # WhiteLevel
        (50719, _LONG, 2, (0, 0), True),  # DefaultCropOrigin
        (50720, _LONG, 2, (width, height), True),  # DefaultCropSize
    ]


# --- EXIF -------------------------------------------------------------------------------------------------------------

Entry = tuple[int, int, int, bytes]
"""Tag, type, count, value bytes."""


def exif_entries(info: ShotInfo) -> list[Entry]:
    """EXIF directory of a shot (tags and types as in Exif 2.32; APEX values by its annex C)."""
    shot = info.exposure
    moment = info.taken_at
    stamp = moment.strftime("%Y:%m:%d %H:%M:%S")
    offset = moment.strftime("%z") or "+0000"
    zone = f"{offset[:3]}:{offset[3:5]}"
    fraction = f"{moment.microsecond // 1000:03d}"
    return [
        _rational(33434, _exposure_time(shot.time_s)),
        _rational(33437, Fraction(round(shot.f_number * 10), 10)),
        _short(34850, 1),  # ExposureProgram: manual
        _short(34855, shot.iso),
        _short(34864, 3),  # SensitivityType: ISO speed
        (36864, _UNDEFINED, 4, b"0232"),
        _text(36867, stamp),
        _text(36868, stamp),
        _text(36881, zone),
        _text(36882, zone),
        _signed_rational(37377, -math.log2(shot.time_s)),
        _rational(37378, Fraction(round(2 * math.log2(shot.f_number) * 1000), 1000)),
        _short(37383, 5),  # MeteringMode: pattern
        _rational(37386, Fraction(90)),
        _text(37521, fraction),
        _text(37522, fraction),
        _short(41990, 0),
        (41728, _UNDEFINED, 1, b"\x03"),  # FileSource: digital still camera
        _short(41987, 1),  # WhiteBalance: manual
        _text(42033, info.serial),
        _text(42036, info.lens),
    ]


def _exposure_time(time_s: float) -> Fraction:
    if time_s < 0.3:
        return Fraction(1, round(1 / time_s))
    return Fraction(round(time_s * 10), 10)


def _short(tag: int, value: int) -> Entry:
    return tag, _SHORT, 1, struct.pack("<H", value)


def _text(tag: int, text: str) -> Entry:
    data = text.encode("ascii", "replace") + b"\0"
    return tag, _ASCII, len(data), data


def _rational(tag: int, value: Fraction) -> Entry:
    return tag, _RATIONAL, 1, struct.pack("<II", value.numerator, value.denominator)


def _signed_rational(tag: int, value: float) -> Entry:
    return tag, _SIGNED_RATIONAL, 1, struct.pack("<ii", round(value * 1000), 1000)


def pack_directory(entries: Sequence[Entry], offset: int) -> bytes:
    """Bytes of a TIFF directory (little-endian) that will stand at `offset` of its file, with its values behind it."""
    ordered = sorted(entries)
    after = offset + 2 + 12 * len(ordered) + 4
    table, values = struct.pack("<H", len(ordered)), b""
    for tag, kind, count, data in ordered:
        if len(data) <= 4:
            field = data.ljust(4, b"\0")
        else:
            field = struct.pack("<I", after + len(values))
            values += data + b"\0" * (len(data) % 2)
        table += struct.pack("<HHI", tag, kind, count) + field
    return table + struct.pack("<I", 0) + values


def _append_exif(file: io.BytesIO, entries: Sequence[Entry]) -> bytes:
    """Put the EXIF directory at the end of a TIFF and its place into the tag that waits for it."""
    end = file.seek(0, io.SEEK_END)
    end += end % 2
    file.seek(end)
    file.write(pack_directory(entries, end))
    buffer = file.getbuffer()
    (first,) = struct.unpack_from("<I", buffer, 4)
    (count,) = struct.unpack_from("<H", buffer, first)
    for place in range(first + 2, first + 2 + 12 * count, 12):
        if struct.unpack_from("<H", buffer, place)[0] == _EXIF_PLACE_TAG:
            struct.pack_into("<HHII", buffer, place, EXIF_IFD_TAG, _LONG, 1, end)
    return bytes(buffer)


def add_exif_to_jpeg(jpeg: bytes, info: ShotInfo) -> bytes:
    """A JPEG with an APP1 segment that holds make, model, time and the EXIF directory of the shot."""
    main: list[Entry] = [
        _text(271, info.make),
        _text(272, info.model),
        _short(274, 1),
        _text(305, info.software),
        _text(306, info.taken_at.strftime("%Y:%m:%d %H:%M:%S")),
        (EXIF_IFD_TAG, _LONG, 1, struct.pack("<I", 0)),
    ]
    exif_at = 8 + len(pack_directory(main, 8))
    main[-1] = (EXIF_IFD_TAG, _LONG, 1, struct.pack("<I", exif_at))
    tiff = b"II*\0" + struct.pack("<I", 8) + pack_directory(main, 8) + pack_directory(exif_entries(info), exif_at)
    segment = b"Exif\0\0" + tiff
    return jpeg[:2] + b"\xff\xe1" + struct.pack(">H", len(segment) + 2) + segment + jpeg[2:]
