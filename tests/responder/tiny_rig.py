"""A rig without film, for tests of the protocol: a small real DNG and a JPEG.

Run as a program it is mock_camera with this rig in front of the lens.
"""

from __future__ import annotations

import argparse
import io
import sys
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
import tifffile

from mock_camera.__main__ import run

RAW_PX = (640, 480)


@dataclass(frozen=True)
class TinyPicture:
    dng: bytes
    jpeg: bytes
    thumb: bytes
    width_px: int
    height_px: int
    truth: dict[str, Any] = field(default_factory=dict)


def jpeg_of(level: int, width_px: int, height_px: int) -> bytes:
    picture = np.full((height_px, width_px, 3), level % 256, np.uint8)
    cv2.putText(picture, str(level), (10, height_px // 2), cv2.FONT_HERSHEY_SIMPLEX, 2, (255, 255, 255), 3)
    return bytes(cv2.imencode(".jpg", picture)[1].tobytes())


def dng_of(seed: int) -> bytes:
    """Return a Bayer DNG that LibRaw opens; its samples depend on the seed."""
    width, height = RAW_PX
    samples = np.random.default_rng(seed).integers(1000, 15000, (height, width), dtype=np.uint16)
    tags = [
        (33421, "H", 2, (2, 2)),  # CFARepeatPatternDim
        (33422, "B", 4, bytes((0, 1, 1, 2))),  # CFAPattern RGGB
        (50706, "B", 4, bytes((1, 4, 0, 0))),  # DNGVersion
        (50708, "s", 0, "Tethercap Works Copy Body"),  # UniqueCameraModel
        (50714, "H", 1, 512),  # BlackLevel
        (50717, "H", 1, 16383),  # WhiteLevel
        (50721, "2i", 9, (1, 1, 0, 1, 0, 1, 0, 1, 1, 1, 0, 1, 0, 1, 0, 1, 1, 1)),  # ColorMatrix1
        (50728, "2I", 3, (1, 2, 1, 1, 2, 3)),  # AsShotNeutral
        (50778, "H", 1, 21),  # CalibrationIlluminant1
    ]
    out = io.BytesIO()
    with tifffile.TiffWriter(out) as writer:
        writer.write(samples, photometric=32803, extratags=tags, metadata=None, software="mock_camera tests")
    return out.getvalue()


class TinyRig:
    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._frames = 0
        self._shots = 0

    def live_view_jpeg(self, exposure: Any, width_px: int = 1024, height_px: int = 680) -> bytes:
        with self._lock:
            self._frames += 1
            return jpeg_of(self._frames, width_px, height_px)

    def expose(self, exposure: Any, opened_at_s: float) -> TinyPicture:
        with self._lock:
            self._shots += 1
            number = self._shots
        jpeg, thumb = jpeg_of(number, 640, 480), jpeg_of(number, 160, 120)
        return TinyPicture(dng_of(number), jpeg, thumb, *RAW_PX, {"kind": "tiny"})

    def control(self, command: Mapping[str, object]) -> dict[str, object]:
        if command.get("cmd") == "truth":
            return {"t_s": time.monotonic()}
        raise ValueError(f"unknown command {command.get('cmd')!r}")

    def close(self) -> None:
        pass


def make_rig(_: argparse.Namespace) -> TinyRig:
    return TinyRig()


if __name__ == "__main__":
    sys.exit(run(make_rig=make_rig))
