"""Pictures of simulated film with dust on it, each with its twin without: what differs is the dust."""

import dataclasses
from dataclasses import dataclass
from functools import partial

import cv2
import numpy as np

from mock_camera import scenes, sensor
from mock_camera.film_stock import FORMATS, KINDS, FloatPicture
from mock_camera.placing import corners_px, pose_for
from mock_camera.render import SensorView, to_sensor_canvas
from mock_camera.sensor import Exposure, Light
from mock_camera.strip_scene import Frame, Region, StripPlan, compose, make_strip
from tethercap.geometry import QuadPx
from tethercap.pictures import F32Array, RawPicture

FORMAT = FORMATS["135-36x24"]
_NORMAL = Exposure(1 / 60, 8.0, 100)
_VISIBLE_DENSITY = 0.15
"""Least density that dust adds somewhere to count as seen."""
_RIM_DENSITY = 0.06


@dataclass(frozen=True)
class DustyFrame:
    """One frame with and without its dust."""

    name: str
    dusty: RawPicture
    clean: RawPicture
    corners: QuadPx
    mm_per_px: float

    def specks(self) -> tuple[np.ndarray, int]:
        """Label of each speck that can be seen, per 2 x 2 cell of the mosaic, and how many there are; 0 elsewhere."""
        added = np.maximum(log_light(self.clean) - log_light(self.dusty), 0.0)
        _, labels, stats, _ = cv2.connectedComponentsWithStats((added > _RIM_DENSITY).astype(np.uint8), connectivity=8)
        peaks = np.zeros(len(stats))
        np.maximum.at(peaks, labels.ravel(), added.ravel())
        inside = np.zeros(added.shape, np.uint8)
        cv2.fillConvexPoly(inside, (self.corners.scaled(0.5).as_array()).astype(np.int32), 1)
        touches = np.zeros(len(stats), np.bool_)
        touches[np.unique(labels[inside == 0])] = True
        seen = (peaks >= _VISIBLE_DENSITY) & (stats[:, cv2.CC_STAT_AREA] >= 2) & ~touches
        seen[0] = False
        renamed = np.zeros(len(stats), np.int32)
        renamed[seen] = np.arange(1, int(seen.sum()) + 1)
        return renamed[labels], int(seen.sum())


def log_light(raw: RawPicture) -> F32Array:
    """Log10 of the mean of the green counts in each cell."""
    counts = np.maximum(raw.mosaic.astype(np.float32) - np.float32(sensor.BLACK), 1.0)
    height, width = (side // 2 * 2 for side in counts.shape)
    cell = (counts[0:height:2, 1:width:2] + counts[1:height:2, 0:width:2]) / 2
    return np.asarray(np.log10(cell), np.float32)


def dusty_frame(
    scene: str, *, kind: str = "colour-negative", seed: int = 1, width_px: int = 3000, amount: float = 2.0
) -> DustyFrame:
    """Copy a frame of an invented scene, with dust and without, the same grain and noise in both."""
    height_px = width_px * 2 // 3
    plan = StripPlan(FORMAT, KINDS[kind], 1, (scene,), 1, seed, dust=amount)
    strip = make_strip(plan, 0)
    view = SensorView(FORMAT, KINDS[kind], width_px, height_px, seed)
    frame = strip.frames[0]
    pose = pose_for(strip, frame, 0.05, -0.03, 0.1)
    mm_per_px = FORMAT.view_width_mm / width_px
    raws = []
    for held in (strip, dataclasses.replace(strip, specks=())):
        half = FORMAT.film_width_mm / 2
        reach = FORMAT.view_width_mm / 2 + 1.0
        region = Region(frame.x_mm - reach, frame.x_mm + reach, -half, half, 1.0 / mm_per_px)
        canvas = compose(held, region, partial(_scene, 1.0 / mm_per_px))
        film = to_sensor_canvas(canvas, sensor.blur_mm(FORMAT, 8.0), mm_per_px)
        raws.append(raw_picture(view.mosaic(film, [pose], _NORMAL, Light(), 0.0, 0).interleaved()))
    corners = QuadPx.from_array(corners_px(pose, strip, frame, (width_px, height_px)))
    return DustyFrame(f"{scene} {kind} {seed}", raws[0], raws[1], corners, mm_per_px)


def _scene(px_per_mm: float, frame: Frame) -> FloatPicture:
    return scenes.draw(frame.scene, frame.seed, round(FORMAT.along_mm * px_per_mm), round(FORMAT.across_mm * px_per_mm))


def raw_picture(mosaic: np.ndarray) -> RawPicture:
    """The simulated sensor's mosaic as a RAW that was read."""
    return RawPicture(
        mosaic=np.ascontiguousarray(mosaic, np.uint16),
        pattern=np.array([[0, 1], [1, 2]], np.uint8),
        black=np.full((2, 2), float(sensor.BLACK)),
        white=float(sensor.WHITE),
        camera_to_xyz=None,
        daylight_multipliers=np.ones(3),
    )
