"""Live pictures of an invented strip: orange base, perforations, six drawn scenes, and where each frame lies."""

from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt

from mock_camera.film_stock import KINDS, rebate_transmittance, transmittance
from mock_camera.scenes import draw
from tethercap.film.kinds import FilmKind
from tethercap.geometry import OffsetMm, PointPx, QuadPx
from tethercap.pictures import LiveFrame, U8Array
from tethercap.watch.sighting import (
    Alignment,
    Decision,
    EdgeEvidence,
    FrameEdges,
    Motion,
    Reason,
    ReasonCode,
    Side,
    Sighting,
    Verdict,
)

WIDTH_PX, HEIGHT_PX = 1024, 680
PX_PER_MM = 24.0
TONE = 0.6
"""Exponent from light to the view's pixels."""
FRAME_MM, HEIGHT_MM, PITCH_MM = 36.0, 24.0, 38.0
_SCENES = ("lake", "harbour", "hills", "meadow", "fruit", "street")
_STOCK = KINDS["colour-negative"]
_LIGHT = 1.6
"""Panel level that makes the bright orange base just not white in the view."""


def _scene(number: int) -> npt.NDArray[np.float32]:
    """One made-up scene as a negative's transmittance, base included, shape (576, 864, 3), BGR."""
    height, width = int(HEIGHT_MM * PX_PER_MM), int(FRAME_MM * PX_PER_MM)
    return transmittance(draw(_SCENES[number - 1], number, width, height), _STOCK)[..., ::-1]


@lru_cache(maxsize=1)
def _strip(frames: int = 6) -> U8Array:
    """The whole strip, 35 mm wide and two millimetres a side longer than its frames, BGR."""
    length, width = int((frames * PITCH_MM + 12) * PX_PER_MM), int(35 * PX_PER_MM)
    base_bgr = np.array(rebate_transmittance(_STOCK)[::-1], np.float32)
    strip = np.tile(base_bgr, (width, length, 1))
    top = int(5.5 * PX_PER_MM)
    for number in range(frames):
        left = int((6 + number * PITCH_MM) * PX_PER_MM)
        scene = _scene(number + 1)
        strip[top : top + scene.shape[0], left : left + scene.shape[1]] = scene
    picture = np.asarray(np.clip(255 * (_LIGHT * strip) ** TONE, 0, 255), dtype=np.uint8)
    for hole in range(int((frames * PITCH_MM + 12) / 4.75)):
        x = int((hole * 4.75 + 1) * PX_PER_MM)
        for y_mm in (2.0, 30.2):
            y = int(y_mm * PX_PER_MM)
            cv2.rectangle(picture, (x, y), (x + int(1.98 * PX_PER_MM), y + int(2.8 * PX_PER_MM)), (250, 252, 255), -1)
    return picture


def live_pixels(offset_mm: float, frame: int = 1, *, across_mm: float = 0.0, tilt_deg: float = 0.0) -> U8Array:
    """Picture with frame 1..6 lying `offset_mm` right of the middle, `across_mm` below it, turned clockwise."""
    strip = _strip()
    x_middle = (6 + (frame - 1) * PITCH_MM + FRAME_MM / 2) * PX_PER_MM
    y_middle = 17.5 * PX_PER_MM
    turn = cv2.getRotationMatrix2D((x_middle, y_middle), -tilt_deg, 1.0)
    shift_x = WIDTH_PX / 2 + offset_mm * PX_PER_MM - x_middle
    shift_y = HEIGHT_PX / 2 + across_mm * PX_PER_MM - y_middle
    turn = np.asarray(turn) + np.array([[0, 0, shift_x], [0, 0, shift_y]])
    picture = cv2.warpAffine(strip, turn, (WIDTH_PX, HEIGHT_PX), borderValue=(30, 28, 26))
    return np.asarray(picture, dtype=np.uint8)


def edges_at(
    offset_mm: float, *, across_mm: float = 0.0, tilt_deg: float = 0.0, inferred: tuple[Side, ...] = ()
) -> FrameEdges:
    """Where the drawn frame lies, as a finder would say it."""
    angle = np.deg2rad(tilt_deg)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    half = np.array([FRAME_MM, HEIGHT_MM]) * PX_PER_MM / 2
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half @ turn
    corners = corners + np.array([WIDTH_PX / 2 + offset_mm * PX_PER_MM, HEIGHT_PX / 2 + across_mm * PX_PER_MM])
    evidence = tuple(
        EdgeEvidence(side, 0.0 if side in inferred else 0.9, 0.0 if side in inferred else 14.0, 0.4, side in inferred)
        for side in (Side.TOP, Side.RIGHT, Side.BOTTOM, Side.LEFT)
    )
    points = [PointPx(float(x), float(y)) for x, y in corners]
    return FrameEdges(QuadPx(*points), evidence, 1 / PX_PER_MM, FilmKind.COLOUR_NEGATIVE, "135-36x24", 0.97)


def sighting_at(
    sequence: int,
    offset_mm: float,
    *,
    across_mm: float = 0.0,
    tilt_deg: float = 0.0,
    speed_mm_s: float = 0.0,
    inferred: tuple[Side, ...] = (),
) -> Sighting:
    """What watching would say of such a picture, with the limits of the drawing: 0.3 mm, 0.3 degrees, at rest."""
    reasons = []
    if max(abs(offset_mm), abs(across_mm)) > 0.3:
        reasons.append(Reason(ReasonCode.OFF_CENTRE, f"{offset_mm:+.2f} mm, {across_mm:+.2f} mm off centre"))
    if abs(tilt_deg) > 0.3:
        reasons.append(Reason(ReasonCode.TILTED, f"tilted {tilt_deg:+.2f} degrees"))
    still = abs(speed_mm_s) < 0.1
    if not still:
        reasons.append(Reason(ReasonCode.MOVING, f"moving {speed_mm_s:+.1f} mm/s"))
    decision = Decision.HOLD if reasons else Decision.ACCEPT
    motion = Motion(speed_mm_s, 0.0, 0.05, still, 0.8 if still else 0.0)
    return Sighting(
        sequence=sequence,
        taken_at_s=sequence / 30,
        verdict=Verdict(decision, tuple(reasons)),
        edges=edges_at(offset_mm, across_mm=across_mm, tilt_deg=tilt_deg, inferred=inferred),
        alignment=Alignment(
            OffsetMm(offset_mm, across_mm),
            tilt_deg,
            0.1,
            abs(offset_mm) < 3,
            0.0 if abs(offset_mm) < 3 else 0.1,
            1 / PX_PER_MM,
        ),
        motion=motion,
        ready=not reasons,
        film_present=True,
        film_kind=FilmKind.COLOUR_NEGATIVE,
    )


def live_frame(
    sequence: int, offset_mm: float, frame: int = 1, *, across_mm: float = 0.0, tilt_deg: float = 0.0
) -> LiveFrame:
    """A live picture with its number."""
    return LiveFrame(live_pixels(offset_mm, frame, across_mm=across_mm, tilt_deg=tilt_deg), sequence / 30, sequence)
