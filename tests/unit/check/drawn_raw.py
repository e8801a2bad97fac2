"""RAW pictures drawn in memory: a colour negative in a wide holder, with a frame exactly where it is asked for."""

import math

import cv2
import numpy as np

from tethercap.geometry import QuadPx
from tethercap.pictures import RawPicture

WIDTH_PX, HEIGHT_PX = 3000, 2000
MM_PER_PX = 42.0 / WIDTH_PX
BLACK, WHITE = 512.0, 16000.0
BASE_RGB = (0.62, 0.30, 0.14)
"""Clear film as the sensor sees it, share of the range; invented."""


def corners(offset_mm: tuple[float, float] = (0.0, 0.0), tilt_deg: float = 0.0) -> QuadPx:
    """Corners of a 36 x 24 mm frame, clockwise turned by `tilt_deg`."""
    half = np.array([[-18, -12], [18, -12], [18, 12], [-18, 12]], float)
    turn = math.radians(tilt_deg)
    rotation = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    centre = np.array([(WIDTH_PX - 1) / 2, (HEIGHT_PX - 1) / 2])
    return QuadPx.from_array(centre + (half @ rotation.T + offset_mm) / MM_PER_PX)


def draw_raw(
    offset_mm: tuple[float, float] = (0.0, 0.0),
    tilt_deg: float = 0.0,
    *,
    gain: float = 1.0,
    smear_px: int = 0,
    frame: bool = True,
    seed: int = 3,
) -> RawPicture:
    """Draw a RAW with a frame at an offset and tilt, smeared along x by `smear_px`, exposed with `gain`."""
    random = np.random.default_rng(seed)
    density = np.full((HEIGHT_PX, WIDTH_PX), 0.0, np.float32)
    if frame:
        coarse = cv2.resize(
            random.uniform(0.25, 1.1, (24, 36)).astype(np.float32), (WIDTH_PX, HEIGHT_PX), interpolation=cv2.INTER_CUBIC
        )
        inside = np.zeros((HEIGHT_PX, WIDTH_PX), np.float32)
        points = np.rint((corners(offset_mm, tilt_deg).as_array()) * 16).astype(np.int32)
        cv2.fillConvexPoly(inside, points, 1.0, lineType=cv2.LINE_AA, shift=4)
        density += inside * np.clip(coarse, 0.2, 1.3)
    grain = cv2.GaussianBlur(random.normal(0, 1, density.shape).astype(np.float32), (0, 0), 1.2)
    density += 0.06 * grain
    density = np.asarray(cv2.GaussianBlur(density, (0, 0), 1.0), np.float32)
    if smear_px:
        density = np.asarray(cv2.blur(density, (smear_px, 1)), np.float32)
    light = np.power(np.float32(10.0), -density)
    mosaic = np.empty((HEIGHT_PX, WIDTH_PX), np.float32)
    pattern = np.array([[0, 1], [1, 2]], np.uint8)
    for row in (0, 1):
        for column in (0, 1):
            mosaic[row::2, column::2] = light[row::2, column::2] * BASE_RGB[pattern[row, column]] * gain
    counts = BLACK + mosaic * (WHITE - BLACK)
    counts += random.normal(0, 1, counts.shape) * np.sqrt(np.maximum(counts - BLACK, 1)) * 0.35
    return RawPicture(
        mosaic=np.clip(counts, 0, WHITE).astype(np.uint16),
        pattern=pattern,
        black=np.full((2, 2), BLACK),
        white=WHITE,
        camera_to_xyz=np.eye(3),
        daylight_multipliers=np.array([1.8, 1.0, 1.5]),
    )
