"""A RAW with two half frames side by side, drawn by the simulated film."""

from dataclasses import dataclass, replace
from functools import cache, partial

from mock_camera import scenes, sensor
from mock_camera.film_stock import FORMATS, KINDS, FloatPicture
from mock_camera.hand import Pose
from mock_camera.placing import corners_px
from mock_camera.render import SensorView, to_sensor_canvas
from mock_camera.sensor import Exposure, Light
from mock_camera.strip_scene import Frame, Region, StripPlan, compose, make_strip
from tests.dust.pictures import raw_picture
from tethercap.geometry import QuadPx
from tethercap.pictures import RawPicture

_SIZE_PX = (2400, 1600)


@dataclass(frozen=True)
class HalfFramePair:
    """The RAW, and where the two frames lie."""

    raw: RawPicture
    corners: tuple[QuadPx, QuadPx]


@cache
def half_frame_pair(seed: int = 1) -> HalfFramePair:
    """Draw hills and a street on 18 x 24 mm each, seen together."""
    film_format = replace(FORMATS["135-18x24"], view_width_mm=42.0, opening_along_mm=40.0)
    strip = make_strip(StripPlan(film_format, KINDS["colour-negative"], 4, ("street", "hills"), 1, seed), 0)
    one, other = strip.frames[1], strip.frames[2]
    middle_mm = (one.x_mm + other.x_mm) / 2
    pose = Pose(0, middle_mm, 0.0, 0.2)
    px_per_mm = _SIZE_PX[0] / film_format.view_width_mm
    region = Region(middle_mm - 24.0, middle_mm + 24.0, -18.0, 18.0, px_per_mm)
    canvas = compose(strip, region, partial(_scene, px_per_mm))
    film = to_sensor_canvas(canvas, sensor.blur_mm(film_format, 8.0), 1.0 / px_per_mm)
    view = SensorView(film_format, KINDS["colour-negative"], *_SIZE_PX, seed)
    mosaic = view.mosaic(film, [pose], Exposure(1 / 60, 8.0, 100), Light(), 0.0, 0).interleaved()
    quads = [QuadPx.from_array(corners_px(pose, strip, frame, _SIZE_PX)) for frame in (one, other)]
    return HalfFramePair(raw_picture(mosaic), (quads[0], quads[1]))


def _scene(px_per_mm: float, frame: Frame) -> FloatPicture:
    return scenes.draw(frame.scene, frame.seed, round(18.0 * px_per_mm), round(24.0 * px_per_mm))
