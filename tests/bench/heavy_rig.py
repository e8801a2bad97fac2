"""A rig for measuring the way from camera to computer: pictures of a given size that cost nothing to draw.

Run as a program it is mock_camera with this rig in front of the lens; HEAVY_MB says how large a picture is.
"""

from __future__ import annotations

import argparse
import os
import sys
import threading
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np

from mock_camera.__main__ import run
from mock_camera.lens import RigLike

LIVE_PICTURES = 8


@dataclass(frozen=True)
class HeavyPicture:
    dng: bytes
    jpeg: bytes
    thumb: bytes
    width_px: int = 6000
    height_px: int = 4000
    truth: dict[str, Any] = field(default_factory=dict)


class HeavyRig:
    """Live pictures of film-like noise, drawn once; exposures of random bytes, drawn once."""

    def __init__(self) -> None:
        random = np.random.default_rng(1)
        size = int(float(os.environ.get("HEAVY_MB", "60")) * 1e6)
        self._dng = b"II*\0" + random.integers(0, 256, size - 4, np.uint8).tobytes()
        self._live = []
        for _ in range(LIVE_PICTURES):
            rough = random.integers(40, 200, (85, 128, 3), np.uint8)
            smooth = cv2.resize(rough, (1024, 680), interpolation=cv2.INTER_CUBIC)
            self._live.append(cv2.imencode(".jpg", smooth, [cv2.IMWRITE_JPEG_QUALITY, 85])[1].tobytes())
        self._lock = threading.Lock()
        self._frames = 0

    def live_view_jpeg(self, exposure: Any, width_px: int = 1024, height_px: int = 680) -> bytes:
        with self._lock:
            self._frames += 1
            return self._live[self._frames % LIVE_PICTURES]

    def expose(self, exposure: Any, opened_at_s: float) -> HeavyPicture:
        return HeavyPicture(self._dng, self._live[0], self._live[0])

    def control(self, command: Mapping[str, object]) -> dict[str, object]:
        raise ValueError(f"unknown command {command.get('cmd')!r}")

    def close(self) -> None:
        pass


def make_rig(_: argparse.Namespace) -> RigLike:
    return HeavyRig()


if __name__ == "__main__":
    sys.exit(run(make_rig=make_rig))
