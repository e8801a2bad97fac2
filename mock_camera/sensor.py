"""The invented camera's sensor and optics: colours, levels, noise, light fall-off; no pictures are made here.

The colour response is a 3x3 matrix from linear RGB (primaries and D65 white of IEC 61966-2-1), made so that the panel's
light comes out neutral under `NEUTRAL`; `COLOR_MATRIX` is the same thing in the terms of the DNG specification.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from mock_camera.film_stock import FilmFormat, FloatPicture

BLACK = 600
WHITE = 16000
MAX_VALUE = 16383
"""Levels in counts of a 14-bit converter."""
FULL_WELL_E = 48000.0
"""Electrons at `WHITE`, ISO 100."""
READ_NOISE_E = 2.8
BASE_ISO = 100

NEUTRAL = np.array([0.52, 1.0, 0.66])
"""Camera RGB of the panel's light, green = 1."""
MIXING = np.array([[0.60, 0.36, 0.04], [0.09, 0.75, 0.16], [0.01, 0.28, 0.71]])
"""Linear RGB to white-balanced camera RGB; rows sum to 1, so that neutral stays neutral."""
UNMIXING = np.linalg.inv(MIXING)

XYZ_FROM_RGB = np.array([[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750],
                         [0.0193339, 0.1191920, 0.9503041]])  # fmt: skip
"""IEC 61966-2-1, D65."""
COLOR_MATRIX = np.diag(NEUTRAL) @ MIXING @ np.linalg.inv(XYZ_FROM_RGB)
"""DNG ColorMatrix1: CIE XYZ to camera RGB under D65."""

SENSOR_WIDTH_MM = 36.0
NORMAL_TIME_S = 1.0 / 30.0
NORMAL_F_NUMBER = 8.0
"""With ISO 100: the exposure that each film kind's light is chosen for."""
READOUT_S = 1.0 / 60.0
"""Time from the first to the last row in the live view; a still is cut by a shutter in `SHUTTER_S`."""
SHUTTER_S = 1.0 / 250.0
GLARE = 0.0012
"""Light scattered over the whole picture, as part of the bare panel."""


@dataclass(frozen=True)
class Exposure:
    """Exposure time in seconds, f-number, ISO speed."""

    time_s: float
    f_number: float
    iso: int

    @property
    def relative(self) -> float:
        """Signal relative to 1/30 s, f/8, ISO 100."""
        return self.time_s / NORMAL_TIME_S * (NORMAL_F_NUMBER / self.f_number) ** 2 * self.iso / BASE_ISO


@dataclass(frozen=True)
class Light:
    """The panel: level relative to normal, and a periodic flicker of depth 0 to 1."""

    level: float = 1.0
    flicker_hz: float = 0.0
    depth: float = 0.0

    def row_gain(self, rows: int, opened_at_s: float, time_s: float, sweep_s: float) -> FloatPicture | None:
        """Mean light over each row's exposure, float32 (rows, 1), or None without flicker.

        The mean of 1 + depth*sin(2*pi*f*t) over a window is the sine times sinc(f*t): closed form, no sampling.
        """
        if self.flicker_hz <= 0.0 or self.depth <= 0.0:
            return None
        middle = opened_at_s + time_s / 2 + np.linspace(0.0, sweep_s, rows)
        ripple = self.depth * float(np.sinc(self.flicker_hz * time_s))
        return (1.0 + ripple * np.sin(2 * np.pi * self.flicker_hz * middle)).astype(np.float32).reshape(-1, 1)


def shading(film_format: FilmFormat, width_px: int, height_px: int, seed: int) -> FloatPicture:
    """Light that reaches each pixel without film: holder opening, uneven panel, lens fall-off.

    Parameters
    ----------
    film_format : FilmFormat
        Says how large the holder's opening and the view are.
    width_px, height_px : int
        Size of the picture to make; its width covers `view_width_mm`, its middle is the view's middle.
    seed : int
        The panel's unevenness.

    Returns
    -------
    float32 (height_px, width_px)
        0 under the mask to 1 in the middle of the opening.
    """
    mm_per_px = film_format.view_width_mm / width_px
    # Everything here is smooth over 0.1 mm and more: a coarse picture, enlarged, is the same at a tenth of the time.
    coarse = max(1, width_px // 1000)
    small_w, small_h = -(-width_px // coarse), -(-height_px // coarse)
    x = (np.arange(small_w) * coarse + (coarse - width_px) / 2).astype(np.float32).reshape(1, -1) * mm_per_px
    y = (np.arange(small_h) * coarse + (coarse - height_px) / 2).astype(np.float32).reshape(-1, 1) * mm_per_px
    half_diagonal = film_format.view_width_mm * math.hypot(1.0, 2.0 / 3.0) / 2
    r2 = (x * x + y * y) / np.float32(half_diagonal**2)
    random = np.random.default_rng([seed, 3])
    slope_x, slope_y, bow = random.uniform(-0.03, 0.03), random.uniform(-0.03, 0.03), random.uniform(0.02, 0.05)
    panel = 1.0 + slope_x * x / half_diagonal + slope_y * y / half_diagonal - bow * r2
    fall_off = 1.0 / np.square(1.0 + 0.055 * r2)
    picture = panel * fall_off * _opening(film_format, x, y)
    full = cv2.resize(picture.astype(np.float32), (small_w * coarse, small_h * coarse), interpolation=cv2.INTER_LINEAR)
    return np.ascontiguousarray(full[:height_px, :width_px] / full.max())


def _opening(film_format: FilmFormat, x: FloatPicture, y: FloatPicture) -> FloatPicture:
    """Holder mask, a little out of focus because it lies above the film, with rounded corners."""
    radius = 0.8
    qx = np.abs(x) - np.float32(film_format.opening_along_mm / 2 - radius)
    qy = np.abs(y) - np.float32(film_format.opening_across_mm / 2 - radius)
    distance = np.hypot(np.maximum(qx, 0), np.maximum(qy, 0)) + np.minimum(np.maximum(qx, qy), 0) - radius
    soft = np.clip(0.5 - distance / 0.30, 0.0, 1.0)
    return np.asarray(soft * soft * (3.0 - 2.0 * soft), dtype=np.float32)


def blur_mm(film_format: FilmFormat, f_number: float, focus_error_mm: float = 0.0) -> float:
    """Standard deviation of the lens's point spread on the film.

    Diffraction: a Gaussian of 0.45 wavelengths times the working f-number on the film's side fits the core of the Airy
    pattern; aberrations add where the aperture is wide.  Out of focus, a point becomes a disc whose diameter is the
    error over the working f-number (thin lens); a disc's standard deviation along an axis is a quarter of its diameter.

    Parameters
    ----------
    film_format : FilmFormat
        Its view width gives the magnification on a sensor `SENSOR_WIDTH_MM` wide.
    f_number : float
        As marked on the lens.
    focus_error_mm : float
        Distance of the film from the plane of sharpness.
    """
    magnification = SENSOR_WIDTH_MM / film_format.view_width_mm
    working = f_number * (1.0 + magnification) / magnification
    diffraction = 0.45 * 550e-6 * working
    aberration = 0.004 + 0.010 * (2.8 / f_number) ** 2
    defocus = abs(focus_error_mm) / working / 4.0
    return math.sqrt(diffraction**2 + aberration**2 + defocus**2)
