"""Pictures of the film: the live view as JPEG, and the sensor's mosaic for a RAW.

Both map view pixels to film by one affine transform, the inverse of: turn the film about the view's middle (clockwise
positive), shift it.  Pixel centres lie at integers, the view's middle at ((width - 1)/2, (height - 1)/2).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from mock_camera import sensor
from mock_camera.film_stock import FilmFormat, FilmKind, FloatPicture
from mock_camera.hand import Pose
from mock_camera.sensor import Exposure, Light
from mock_camera.strip_scene import FULL_T, Canvas

LIVE_JPEG_QUALITY = 88
LIVE_LONGEST_S = 1.0 / 30.0
"""The live view never exposes longer than its own frame time."""


def view_to_canvas(
    pose: Pose,
    canvas: Canvas | Layer,
    mm_per_px: float,
    size_px: tuple[float, float],
    step: int = 1,
    offset: tuple[int, int] = (0, 0),
) -> NDArray[np.float64]:
    """Affine matrix (2, 3) from picture pixels to canvas pixels.

    Parameters
    ----------
    pose : Pose
    canvas : Canvas
    mm_per_px : float
        On the film, per picture pixel.
    size_px : tuple of float
        Width and height of the whole picture.
    step, offset : int, tuple of int
        For one plane of a mosaic: plane pixel (i, j) is picture pixel (step*i + offset[0], step*j + offset[1]).
    """
    turn = math.radians(pose.tilt_deg)
    c, s = math.cos(turn), math.sin(turn)
    x0 = (offset[0] - (size_px[0] - 1) / 2) * mm_per_px
    y0 = (offset[1] - (size_px[1] - 1) / 2) * mm_per_px - pose.across_mm
    scale, mm = canvas.px_per_mm, step * mm_per_px
    return np.array([
        [c * mm * scale, s * mm * scale, (c * x0 + s * y0 + pose.position_mm - canvas.left_mm) * scale - 0.5],
        [-s * mm * scale, c * mm * scale, (-s * x0 + c * y0 - canvas.top_mm) * scale - 0.5],
    ])  # fmt: skip


def tone_table(gain: float) -> NDArray[np.uint8]:
    """Table from transmittance (16 bit) to display values (8 bit): the body's own picture style.

    Straight up to 60 % of clipping, then a shoulder, then the transfer function of IEC 61966-2-1.
    """
    light = (np.arange(65536, dtype=np.float32) / np.float32(FULL_T) + np.float32(sensor.GLARE)) * np.float32(gain)
    bent = np.where(light < 0.6, light, 1.0 - 0.4 * np.exp(-(light - 0.6) / 0.4))
    encoded = np.where(bent <= 0.0031308, 12.92 * bent, 1.055 * np.maximum(bent, 1e-9) ** (1 / 2.4) - 0.055)
    return np.round(np.clip(encoded, 0.0, 1.0) * 255.0).astype(np.uint8)


class LiveView:
    """Makes live-view pictures; keeps its big arrays, so that a picture allocates little.

    Not for two threads at a time.
    """

    def __init__(self, film_format: FilmFormat, kind: FilmKind, width_px: int, height_px: int, seed: int) -> None:
        self.film_format = film_format
        self.kind = kind
        self.width_px = width_px
        self.height_px = height_px
        self.mm_per_px = film_format.view_width_mm / width_px
        shade = sensor.shading(film_format, width_px, height_px, seed) * FULL_T
        self._shade: NDArray[np.uint16] = cv2.merge([shade.astype(np.uint16)] * 3)  # type: ignore[assignment]
        self._film = np.empty((height_px, width_px, 3), np.uint16)
        self._lit = np.empty((height_px, width_px, 3), np.uint16)
        self._random = np.random.default_rng([seed, 5])
        self._table: tuple[float, NDArray[np.uint8]] = (0.0, tone_table(0.0))
        self._noise: tuple[float, NDArray[np.uint8], NDArray[np.uint8]] | None = None

    def picture(
        self,
        canvas: Canvas | None,
        poses: Sequence[Pose],
        exposure: Exposure,
        light: Light,
        opened_at_s: float,
        focus_error_mm: float = 0.0,
    ) -> NDArray[np.uint8]:
        """One picture, BGR uint8 (height, width, 3).

        Parameters
        ----------
        canvas : Canvas or None
            The strip in the holder; None = empty holder.
        poses : sequence of Pose
            At the beginning and at the end of the exposure.
        exposure : Exposure
        light : Light
        opened_at_s : float
            For flicker.
        focus_error_mm : float
        """
        lit = self._shade
        if canvas is not None:
            self._warp(canvas, poses)
            lens_px = sensor.blur_mm(self.film_format, exposure.f_number, focus_error_mm) / self.mm_per_px
            if lens_px > 0.5:
                cv2.GaussianBlur(self._film, (0, 0), lens_px, self._film)
            lit = cv2.multiply(self._film, self._shade, self._lit, 1.0 / FULL_T)  # type: ignore[assignment]
        seconds = min(exposure.time_s, LIVE_LONGEST_S)
        rows = light.row_gain(self.height_px, opened_at_s, seconds, sensor.READOUT_S)
        if rows is not None:
            lit = np.minimum(lit * (rows / rows.max())[:, :, np.newaxis], FULL_T).astype(np.uint16)
        gain = exposure.relative * light.level * self.kind.light_gain * (1.0 if rows is None else float(rows.max()))
        if gain != self._table[0]:
            self._table = (gain, tone_table(gain))
        shown = cv2.cvtColor(cv2.LUT(lit, self._table[1]), cv2.COLOR_RGB2BGR)
        return self._add_noise(np.asarray(shown, np.uint8), exposure.iso)

    def jpeg(self, picture: NDArray[np.uint8]) -> bytes:
        """The picture as the body sends it."""
        return cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, LIVE_JPEG_QUALITY])[1].tobytes()

    def _warp(self, canvas: Canvas, poses: Sequence[Pose]) -> None:
        begin, end = poses[0], poses[-1]
        middle = Pose(end.strip, *((a + b) / 2 for a, b in zip(begin[1:], end[1:], strict=True)))
        matrix = view_to_canvas(middle, canvas, self.mm_per_px, (self.width_px, self.height_px))
        cv2.warpAffine(
            canvas.pixels, matrix, (self.width_px, self.height_px), self._film,
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_CONSTANT, borderValue=(FULL_T,) * 3,
        )  # fmt: skip
        smear = round(abs(end.position_mm - begin.position_mm) / self.mm_per_px)
        if smear > 1:
            cv2.blur(self._film, (min(smear, self.width_px), 1), self._film)

    def _add_noise(self, picture: NDArray[np.uint8], iso: int) -> NDArray[np.uint8]:
        spread = 0.8 * math.sqrt(iso / sensor.BASE_ISO)
        if self._noise is None or self._noise[0] != spread:
            shape = (self.height_px + 64, self.width_px + 64, 3)
            noise = np.round(self._random.normal(0.0, spread, shape))
            self._noise = spread, np.maximum(noise, 0).astype(np.uint8), np.maximum(-noise, 0).astype(np.uint8)
        x, y = (int(value) for value in self._random.integers(64, size=2))
        part = slice(y, y + self.height_px), slice(x, x + self.width_px)
        cv2.add(picture, np.ascontiguousarray(self._noise[1][part]), picture)
        cv2.subtract(picture, np.ascontiguousarray(self._noise[2][part]), picture)
        return picture


# --- RAW --------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Layer:
    """One value per pixel over part of a strip; places as in a `Canvas`."""

    pixels: NDArray[np.uint8] | FloatPicture = field(repr=False)
    left_mm: float
    top_mm: float
    px_per_mm: float


@dataclass(frozen=True)
class SensorCanvas:
    """Part of a strip as the sensor sees it: white-balanced camera R, G, B, float32, blurred by the lens."""

    canvas: Canvas = field(repr=False)
    planes: tuple[Layer, Layer, Layer] = field(repr=False)
    lens_mm: float


def to_sensor_canvas(canvas: Canvas, lens_mm: float, mm_per_px: float) -> SensorCanvas:
    """Convert a canvas to camera colours and blur it as a lens and pixels of a size on the film do.

    Parameters
    ----------
    canvas : Canvas
    lens_mm : float
        Standard deviation of the lens's point spread, from `sensor.blur_mm`.
    mm_per_px : float
        Side of a sensor pixel, on the film.
    """
    colours = cv2.transform(canvas.pixels.astype(np.float32), (sensor.MIXING / FULL_T).astype(np.float32))
    # A square spreads by 0.29 of its side. The sensor's pixel adds to the lens; the canvas's own is in already.
    lens, pixel, own = lens_mm * canvas.px_per_mm, 0.29 * mm_per_px * canvas.px_per_mm, 0.29
    spread = math.sqrt(max(lens * lens + pixel * pixel - own * own, 0.0))
    if spread > 0.15:
        colours = cv2.GaussianBlur(colours, (0, 0), spread)
    red, green, blue = (
        Layer(np.asarray(plane, np.float32), canvas.left_mm, canvas.top_mm, canvas.px_per_mm)
        for plane in cv2.split(colours)
    )
    return SensorCanvas(canvas, (red, green, blue), lens_mm)


@dataclass(frozen=True)
class Mosaic:
    """One exposure: the four colour planes (R, G, G, B) of an RGGB sensor, uint16 (h/2, w/2), 14-bit counts."""

    planes: tuple[NDArray[np.uint16], ...] = field(repr=False)

    def interleaved(self) -> NDArray[np.uint16]:
        """The mosaic, uint16 (h, w)."""
        height, width = self.planes[0].shape
        mosaic = np.empty((height * 2, width * 2), np.uint16)
        for index, plane in enumerate(self.planes):
            mosaic[index // 2 :: 2, index % 2 :: 2] = plane
        return mosaic

    def developed(self) -> NDArray[np.uint8]:
        """The body's own picture at half size, BGR uint8 (h/2, w/2, 3), in its daylight white balance."""
        red, green_1, green_2, blue = self.planes
        camera = cv2.merge([red, cv2.addWeighted(green_1, 0.5, green_2, 0.5, 0.0), blue])
        scale = FULL_T / (sensor.WHITE - sensor.BLACK)
        # Rows in the order blue, green, red; 16-bit sums saturate at both ends by themselves.
        matrix = (scale * sensor.UNMIXING @ np.diag(1.0 / sensor.NEUTRAL))[::-1]
        offset = -matrix @ np.full(3, float(sensor.BLACK))
        linear = cv2.transform(camera, np.column_stack([matrix, offset]))
        return np.asarray(cv2.LUT(linear, tone_table(1.0)), np.uint8)


class SensorView:
    """Makes RAW pictures of one film format with a sensor of a given size (even width and height)."""

    def __init__(self, film_format: FilmFormat, kind: FilmKind, width_px: int, height_px: int, seed: int) -> None:
        if width_px % 2 or height_px % 2 or min(width_px, height_px) < 64:
            raise ValueError(f"a sensor of {width_px}x{height_px} pixels cannot be: both must be even and at least 64")
        self.film_format = film_format
        self.kind = kind
        self.size_px = width_px, height_px
        self.mm_per_px = film_format.view_width_mm / width_px
        self.seed = seed
        self._shade = sensor.shading(film_format, width_px // 2, height_px // 2, seed)
        self._grain: tuple[float, NDArray[np.uint8]] | None = None
        self._noise: FloatPicture | None = None

    def mosaic(
        self, film: SensorCanvas | None, poses: Sequence[Pose], exposure: Exposure, light: Light,
        opened_at_s: float, shot: int, noise: bool = True,
    ) -> Mosaic:  # fmt: skip
        """Expose the sensor.

        Parameters
        ----------
        film : SensorCanvas or None
            None = empty holder.
        poses : sequence of Pose
            Evenly spread over the exposure; more than one where the film moved.
        exposure, light, opened_at_s
            As for the live view.
        shot : int
            Number of the shot; with the seed it fixes the noise.
        noise : bool
            False leaves out shot noise, read noise and grain, for measurements.
        """
        random = np.random.default_rng([self.seed, 13, shot])
        rows = light.row_gain(self.size_px[1] // 2, opened_at_s, exposure.time_s, sensor.SHUTTER_S)
        level = exposure.relative * light.level * self.kind.light_gain
        planes = []
        for index, channel in enumerate((0, 1, 1, 2)):
            signal = self._shade.copy()
            if film is not None:
                signal *= self._film_plane(film, poses, channel, (index % 2, index // 2), noise)
            signal += np.float32(sensor.GLARE)
            if rows is not None:
                signal *= rows
            signal *= np.float32(level * sensor.NEUTRAL[channel])
            planes.append(_convert(signal, exposure.iso, self._noise_field(random) if noise else None))
        return Mosaic(tuple(planes))

    def _noise_field(self, random: np.random.Generator) -> FloatPicture:
        """Standard normal noise for one plane: a part, at a place drawn anew, of a field that is made once."""
        height, width = self._shade.shape
        if self._noise is None:
            shape = height + _NOISE_SPARE_PX, width + _NOISE_SPARE_PX
            self._noise = np.random.default_rng([self.seed, 19]).standard_normal(shape, dtype=np.float32)
        y, x = (int(value) for value in random.integers(_NOISE_SPARE_PX, size=2))
        return self._noise[y : y + height, x : x + width]

    def _film_plane(
        self, film: SensorCanvas, poses: Sequence[Pose], channel: int, offset: tuple[int, int], noise: bool
    ) -> FloatPicture:
        """Transmittance as one colour plane sees it, averaged over the exposure."""
        total: FloatPicture | None = None
        smear = _smear_px(poses, 2 * self.mm_per_px)
        for pose in poses:
            part = self._warp(film.planes[channel], pose, offset, 1.0)
            if noise:
                self._add_grain(part, film, pose, channel, offset)
            total = part if total is None else cv2.add(total, part, total)  # type: ignore[assignment]
        assert total is not None  # noqa: S101 - there is at least one pose
        total *= np.float32(1.0 / len(poses))
        if smear > 1:
            # The poses are samples of a path: each stands for the stretch to the next one.
            total = np.asarray(cv2.blur(total, (smear, 1)), np.float32)
        return total

    def _warp(self, layer: Layer, pose: Pose, offset: tuple[int, int], border: float) -> FloatPicture:
        width, height = self.size_px
        matrix = view_to_canvas(pose, layer, self.mm_per_px, (width, height), 2, offset)
        warped = cv2.warpAffine(
            layer.pixels, matrix, (width // 2, height // 2),
            flags=(cv2.INTER_CUBIC if layer.pixels.dtype == np.float32 else cv2.INTER_LINEAR) | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_CONSTANT, borderValue=(border,),
        )  # fmt: skip
        return np.asarray(warped, np.float32)

    def _add_grain(
        self, part: FloatPicture, film: SensorCanvas, pose: Pose, channel: int, offset: tuple[int, int]
    ) -> None:
        """Multiply by grain that lies still on the film; its density noise grows with the root of density."""
        tile, spread = self._grain_tile(film, 0 if self.kind.monochrome else channel)
        grain = self._warp(tile, pose, offset, 128.0)
        np.maximum(part, 1e-5, out=part)
        density = np.asarray(cv2.log(part), np.float32)
        density *= np.float32(-1.0 / math.log(10.0))
        np.maximum(density, 0.0, out=density)
        grain -= np.float32(128.0)
        grain *= cv2.sqrt(density)
        grain *= np.float32(spread * math.log(10.0) / _GRAIN_STEPS)
        cv2.exp(grain, grain)
        part *= grain

    def _grain_tile(self, film: SensorCanvas, channel: int) -> tuple[Layer, float]:
        """Grain over a whole canvas, uint8 around 128, and the density that `_GRAIN_STEPS` of it stand for."""
        scale = min(130.0, 0.9 / self.mm_per_px)
        canvas, spare = film.canvas, 2 * _LAYER_SHIFT_PX
        if self._grain is None or self._grain[0] != film.lens_mm:
            width, height = (math.ceil(side / canvas.px_per_mm * scale) for side in canvas.pixels.shape[1::-1])
            random = np.random.default_rng([self.seed, 17])
            noise = random.standard_normal((height + spare, width + spare), dtype=np.float32)
            noise *= np.float32(_GRAIN_STEPS)
            noise = np.asarray(cv2.GaussianBlur(noise, (0, 0), max(film.lens_mm * scale, 0.3)), np.float32)
            noise += np.float32(128.5)
            self._grain = film.lens_mm, np.clip(noise, 0, 255, out=noise).astype(np.uint8)
        # One field serves every frame, and shifted by a millimetre or so every layer of the film.
        start = channel * _LAYER_SHIFT_PX
        layer = Layer(self._grain[1][start:, start:], canvas.left_mm, canvas.top_mm, scale)
        return layer, self.kind.grain_density * 0.007 * scale


_GRAIN_STEPS = 60.0
_LAYER_SHIFT_PX = 149
_NOISE_SPARE_PX = 256


def _smear_px(poses: Sequence[Pose], mm_per_px: float) -> int:
    if len(poses) < 2:
        return 0
    path = sum(abs(b.position_mm - a.position_mm) for a, b in pairwise(poses))
    return round(path / (len(poses) - 1) / mm_per_px)


def _convert(signal: FloatPicture, iso: int, noise: FloatPicture | None) -> NDArray[np.uint16]:
    """Signal (1 = saturation at this ISO) to counts: photon noise, read noise, black level, rounding, clipping."""
    if noise is not None:
        well = sensor.FULL_WELL_E * sensor.BASE_ISO / iso
        variance = signal * np.float32(1.0 / well)
        variance += np.float32((sensor.READ_NOISE_E / well) ** 2)
        spread = np.asarray(cv2.sqrt(variance), np.float32)
        spread *= noise
        signal += spread
    signal *= np.float32(sensor.WHITE - sensor.BLACK)
    signal += np.float32(sensor.BLACK + 0.5)
    # A saturated sensor reads its white level, whatever the noise.
    np.clip(signal, 0.0, float(sensor.WHITE), out=signal)
    return signal.astype(np.uint16)
