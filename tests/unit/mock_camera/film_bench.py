"""Small strips with plain scenes, and measurements on pictures of them, shared by the tests of the film side."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from mock_camera.film_stock import FORMATS, KINDS, FloatPicture
from mock_camera.strip_scene import Canvas, Frame, Region, Strip, StripPlan, compose, make_strip


def plain_scene(level: float | tuple[float, float, float]) -> FloatPicture:
    """A scene of one brightness or colour."""
    return np.full((400, 600, 3), level, np.float32)


def clean_strip(kind: str = "colour-negative", film_format: str = "135-36x24", seed: int = 3, frames: int = 3) -> Strip:
    """A strip without dust."""
    plan = StripPlan(
        FORMATS[film_format], KINDS[kind], frames, ("patches",), 1, seed, dust=0.0, exposure_spread_stops=0.0
    )
    return make_strip(plan, 0)


def whole_canvas(strip: Strip, px_per_mm: float = 28.0, level: float | tuple[float, float, float] = 0.18) -> Canvas:
    """All of a strip with every frame evenly exposed."""
    half = strip.film_format.film_width_mm / 2 + 1.0
    return compose(
        strip, Region(-3.0, strip.length_mm + 3.0, -half, half, px_per_mm), lambda _frame: plain_scene(level)
    )


def seen_canvas(strip: Strip, px_per_mm: float, level: float | tuple[float, float, float] = 0.18) -> Canvas:
    """What a camera sees of a strip that lies with its second frame in the middle, and a little more."""
    half_mm, middle_mm = strip.film_format.view_width_mm / 2 + 4.0, middle_frame(strip).x_mm
    half_width_mm = strip.film_format.film_width_mm / 2 + 1.0
    region = Region(middle_mm - half_mm, middle_mm + half_mm, -half_width_mm, half_width_mm, px_per_mm)
    return compose(strip, region, lambda _frame: plain_scene(level))


def crossing(profile: NDArray[np.float64], near: float, reach: int) -> float:
    """Place (in samples) where a profile passes half way between its levels `reach` samples beside `near`."""
    left, right = round(near) - reach, round(near) + reach
    low, high = profile[left - 3 : left + 1].mean(), profile[right : right + 4].mean()
    middle = (low + high) / 2
    part = (profile[left : right + 1] - middle) * np.sign(high - low)
    after = int(np.flatnonzero(part > 0)[0])
    return float(left + after - part[after] / (part[after] - part[after - 1]))


def ramp_length(profile: NDArray[np.float64], first: float, last: float) -> float:
    """Length of a straight ramp from one level to another, from the distance between its 10 % and 90 % points."""
    rising = profile if last > first else profile[::-1]
    low, high = min(first, last), max(first, last)
    places = []
    for part in (0.1, 0.9):
        level = low + part * (high - low)
        after = int(np.flatnonzero(rising > level)[0])
        places.append(after - (rising[after] - level) / (rising[after] - rising[after - 1]))
    return float(places[1] - places[0]) / 0.8


def middle_frame(strip: Strip) -> Frame:
    """The second frame: film on both sides."""
    return strip.frames[1]
