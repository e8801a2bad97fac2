"""A small real roll on disk: real DNG files of drawn film, filed through the roll itself."""

from datetime import UTC, datetime
from pathlib import Path

import cv2
import numpy as np

from mock_camera.dng import ShotInfo, write_dng
from mock_camera.sensor import BLACK, MIXING, NEUTRAL, WHITE, Exposure
from tests.tui.drawn_film import TONE, edges_at, live_pixels
from tests.unit.roll.rolls import HastyDisk, put_positive, ticking
from tethercap.check.findings import Finding, FindingKind, RawFindings, Severity
from tethercap.film.kinds import FilmKind
from tethercap.image_files.jpeg import encode_jpeg
from tethercap.image_files.metadata import xmp_packet
from tethercap.pictures import U8Array
from tethercap.roll.folder import Roll
from tethercap.roll.outcome import TakeOutcome
from tethercap.roll.setup import RollSetup

UNSHARP = FindingKind("invented-unsharp", Severity.FAILURE, "The picture is blurred.", "")


def dng_of(pixels_bgr: U8Array) -> bytes:
    """A DNG of the invented camera for what these pixels show: its colours at their places of an RGGB cell."""
    whole_cells = pixels_bgr[: pixels_bgr.shape[0] // 2 * 2, : pixels_bgr.shape[1] // 2 * 2, ::-1]
    light = (whole_cells.astype(np.float64) / 255) ** (1 / TONE) @ (np.diag(NEUTRAL) @ MIXING).T
    counts = (BLACK + (WHITE - BLACK) * light).astype(np.uint16)
    mosaic = counts[..., 1].copy()
    mosaic[0::2, 0::2] = counts[0::2, 0::2, 0]
    mosaic[1::2, 1::2] = counts[1::2, 1::2, 2]
    small = cv2.resize(pixels_bgr, (256, 170))
    preview = cv2.imencode(".jpg", small)[1].tobytes()
    info = ShotInfo(Exposure(1 / 60, 8.0, 100), datetime(2031, 4, 5, tzinfo=UTC), "Invented", "Body One", "000123")
    return write_dng(mosaic, preview, (256, 170), info)


def make_roll(path: Path, frames: int = 8) -> Roll:
    """Frames 1 to `frames` filed, 2 twice, 4 forced, 5 held with a finding, 7 blank; positives of 1 to 3.

    The caller closes it.
    """
    setup = RollSetup(
        id="invented-07",
        film_kind=FilmKind.COLOUR_NEGATIVE,
        film_format="135-36x24",
        film_stock="invented 200",
        frames_expected=12,
    )
    roll = Roll.create(path, setup, sidecar=xmp_packet, layer=HastyDisk(), now=ticking())
    for number in range(1, frames + 1):
        if number == 7:
            roll.mark_blank("7")
            continue
        for take in range(2 if number == 2 else 1):
            _file(roll, number, take)
    return roll


def _file(roll: Roll, number: int, take: int) -> None:
    held = number == 5
    picture = live_pixels(0.1 * take, (number - 1) % 6 + 1)
    findings = RawFindings((Finding(UNSHARP),) if held else (), edges_at(0.1 * take), None)
    outcome = TakeOutcome(accepted=not held, forced=number == 4, fired_by="key", findings=findings)
    incoming = roll.receive(str(number), suffix=".dng", pieces=[dng_of(picture)], expected_bytes=None)
    filed = roll.file(incoming, outcome)
    if number <= 3:
        put_positive(roll, str(number), filed.take, b"invented", encode_jpeg(255 - picture[52:628, 80:944]))
