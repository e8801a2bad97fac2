"""Pictures as a bad cable, a bad card or a bad camera may deliver them."""

import io
import multiprocessing
import tempfile
from concurrent.futures.process import BrokenProcessPool
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import tifffile
from hypothesis import strategies as st

from tests.fuzz.damage import damaged
from tethercap.batch.sturdy import SturdyPool
from tethercap.check.raw import CheckRequest
from tethercap.errors import PictureError
from tethercap.image_files.jpeg import decode_live
from tethercap.pictures import LiveJpeg
from tethercap.profile_files import load_film_format
from tethercap.session.check_job import CheckedFile, check_file

LARGEST_LIVE_PX = 60_000_000
"""No live view is larger; what claims to be is refused before memory is taken for it."""


def _jpeg(width_px: int, height_px: int, *parameters: int) -> bytes:
    rows = np.linspace(0, 255, height_px, dtype=np.float32)[:, None, None]
    columns = np.linspace(0, 90, width_px, dtype=np.float32)[None, :, None]
    pixels = np.clip(rows + columns + np.array((0, 20, 40), np.float32), 0, 255).astype(np.uint8)
    return bytes(cv2.imencode(".jpg", pixels, list(parameters))[1].tobytes())


_JPEGS = (
    _jpeg(96, 64),
    _jpeg(96, 64, cv2.IMWRITE_JPEG_PROGRESSIVE, 1),
    _jpeg(320, 212, cv2.IMWRITE_JPEG_RST_INTERVAL, 4),
    _jpeg(1, 1),
)
_JPEG_WORDS = tuple(bytes((0xFF, code)) for code in (0xC0, 0xC2, 0xC4, 0xD8, 0xD9, 0xDA, 0xDB, 0xDD, 0xE1, 0xFE, 0x00))


def _with_size(jpeg: bytes, width_px: int, height_px: int) -> bytes:
    """Let the frame header claim another size."""
    at = max(jpeg.find(b"\xff\xc0"), jpeg.find(b"\xff\xc2"))
    return jpeg[: at + 5] + height_px.to_bytes(2, "big") + width_px.to_bytes(2, "big") + jpeg[at + 9 :]


_sizes = st.integers(0, 65535)
live_jpegs = st.one_of(
    damaged(_JPEGS, _JPEG_WORDS),
    st.builds(_with_size, st.sampled_from(_JPEGS[:3]), _sizes, _sizes),
    st.sampled_from([b"", b"\xff\xd8", b"\xff\xd8\xff\xd9", _with_size(_JPEGS[0], 65500, 65500)]),
)


def decode_a_live_picture(jpeg: bytes) -> None:
    """It is a picture of a size that a live view can have, or it is refused."""
    try:
        frame = decode_live(LiveJpeg(jpeg, 1.0, 1))
    except PictureError:
        return
    height_px, width_px, channels = frame.pixels_bgr.shape
    assert channels == 3
    assert 0 < width_px * height_px <= LARGEST_LIVE_PX


@cache
def _raw_files() -> tuple[bytes, ...]:
    """A small Bayer DNG, plain and in compressed strips."""
    samples = np.random.default_rng(1).integers(600, 15000, (240, 360), dtype=np.uint16)
    tags = [
        (33421, "H", 2, (2, 2)),  # CFARepeatPatternDim
        (33422, "B", 4, bytes((0, 1, 1, 2))),  # CFAPattern RGGB
        (50706, "B", 4, bytes((1, 4, 0, 0))),  # DNGVersion
        (50708, "s", 0, "Invented"),  # UniqueCameraModel
        (50714, "H", 1, 512),  # BlackLevel
        (50717, "H", 1, 16383),  # WhiteLevel
        (50721, "2i", 9, (1, 1, 0, 1, 0, 1, 0, 1, 1, 1, 0, 1, 0, 1, 0, 1, 1, 1)),  # ColorMatrix1
        (50728, "2I", 3, (1, 2, 1, 1, 2, 3)),  # AsShotNeutral
        (50778, "H", 1, 21),  # CalibrationIlluminant1
    ]
    files = []
    for compression, rows in ((None, None), ("zlib", 32)):
        out = io.BytesIO()
        with tifffile.TiffWriter(out) as writer:
            writer.write(
                samples, photometric=32803, extratags=tags, metadata=None, compression=compression, rowsperstrip=rows
            )
        files.append(out.getvalue())
    return tuple(files)


_RAW_WORDS = (b"II*\0", b"MM\0*", b"\x11\x01\x04\0", b"\x03\x01\x03\0", b"\x07\0\x07\0", b"\x4c\x88", b"\0\x01\x04\0")


def raw_files() -> st.SearchStrategy[bytes]:
    """Damaged RAW files, and the good ones."""
    return damaged(_raw_files(), _RAW_WORDS, most=8)


class RawChecks:
    """Checks damaged RAW files in a worker, as a run does; a worker that dies is replaced and counted."""

    def __init__(self, longest_s: float = 60.0) -> None:
        self.workers_lost = 0
        self._pool = SturdyPool(longest_s=longest_s)
        self._request = CheckRequest(film_format=load_film_format("135-36x24"), film_kind=None)

    def check(self, content: bytes) -> None:
        """A finding comes back, or the worker is lost; this process goes on in any case."""
        with tempfile.TemporaryDirectory(prefix="fuzz-raw-") as folder:
            path = Path(folder) / "picture.dng"
            path.write_bytes(content)
            try:
                checked = self._pool.submit(check_file, path, ".dng", self._request).result(120)
            except BrokenProcessPool:
                self.workers_lost += 1
                return
        assert isinstance(checked, CheckedFile)
        if checked.size is None:
            assert not checked.findings.passed

    def close(self) -> None:
        """End the worker."""
        self._pool.close()
        assert not multiprocessing.active_children()
