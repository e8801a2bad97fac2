"""The check of one file, as a job for a worker process: a damaged RAW may take down LibRaw, never the program."""

from dataclasses import dataclass, field
from pathlib import Path

import cv2

from tethercap.check import registry
from tethercap.check.findings import Finding, RawFindings
from tethercap.check.raw import CheckRequest, check_raw
from tethercap.errors import PictureError
from tethercap.geometry import SizePx
from tethercap.image_files.jpeg import JPEG_SUFFIXES
from tethercap.image_files.raw import open_raw
from tethercap.pictures import ShotData


@dataclass(frozen=True, slots=True)
class CheckedFile:
    """What the worker found out about one file."""

    findings: RawFindings
    size: SizePx | None = None
    """Mosaic size, px; None where the file is no readable RAW."""
    shot: ShotData = field(default_factory=ShotData)
    """Exposure as the file tells it."""


def check_file(path: Path, suffix: str, request: CheckRequest) -> CheckedFile:
    """Open and check one pulled file; the name on disk may still be a temporary one.

    Raises nothing for a bad picture: that is a finding.
    """
    cv2.setNumThreads(1)
    if suffix.lower() in JPEG_SUFFIXES:
        return CheckedFile(RawFindings((Finding(registry.NOT_RAW),), None, None))
    try:
        with open_raw(path) as raw:
            return CheckedFile(check_raw(raw, request), raw.size, raw.shot)
    except PictureError as error:
        return CheckedFile(RawFindings((Finding(registry.UNREADABLE, detail=error.what),), None, None))
