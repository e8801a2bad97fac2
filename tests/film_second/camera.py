"""A camera with a macro lens, a light panel and a holder: from film in millimetres to a live picture."""

from copy import copy
from dataclasses import dataclass, field, replace

import cv2
import numpy as np
import numpy.typing as npt

from tests.film_second.scenes import Rng
from tests.film_second.strip import Film, Opening
from tethercap.pictures import F32Array, F64Array, U8Array

_NOISE_PX = 64
"""Noise of live pictures is cut out of one field at so many places each way."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rig:
    """Everything that stays as it is while film is pulled."""

    width: int
    height: int
    view_mm: float
    """Width of the view on the film."""
    turned_deg: float = 0.0
    """Camera against holder, clockwise as the picture shows the film turned."""
    shift_mm: tuple[float, float] = (0.0, 0.0)
    """Where the holder's middle lies in the view, from the view's middle."""
    keystone_deg: tuple[float, float] = (0.0, 0.0)
    """How far left and right, top and bottom edge of 36 mm are out of parallel."""
    distortion: float = 0.0
    """Barrel positive: share by which a corner of the view is drawn in."""
    bars: tuple[int, int] = (0, 0)
    """Black bars at the left and right, and at top and bottom, px each; the view fills the rest."""
    opening: Opening | None = None
    """The holder's, mm from its middle; None where there is no holder."""
    holder_glow: float = 0.002
    """Light that comes from the holder's black paint, as a share of the panel's."""
    holder_soft_px: float = 1.0
    fall_off: float = 0.1
    """Light lost in the corners, as a share."""
    slope: tuple[float, float] = (0.0, 0.0)
    """Light gained from left to right and from top to bottom, as a share."""
    glare: float = 0.01
    """Veil over the whole picture, as a share of its mean."""
    reflection: float = 0.0
    """Strength of a lamp mirrored in the film, as a share of the panel's light."""
    blur_px: float = 0.8
    panel: tuple[float, float, float] = (1.0, 1.0, 1.0)
    """Light of the panel as the camera's white balance sees it: blue, green, red."""
    monochrome: bool = False
    exposure: float = 1.0
    """Signal of bare light over the sensor's saturation."""
    gamma: float = 2.2
    contrast: float = 0.0
    """Strength of an S-curve, 0..1."""
    sharpening: float = 0.4
    halo_px: float = 1.2
    noise: float = 0.004
    """At saturation, as a share; shot noise follows the root."""
    dark_noise: float = 0.002
    quality: int = 85
    skips_lines: bool = False
    flicker: float = 0.0
    """Depth of the panel's bands."""
    flicker_bands: float = 3.0
    readout_s: float = 0.0
    """From the first line to the last."""
    exposure_s: float = 1 / 60
    dust: tuple[tuple[float, float, float], ...] = field(default=())
    """On the panel or sensor: place as a share of the view, radius as a share of its width."""

    @property
    def px_per_mm(self) -> float:
        """At the middle of the view."""
        return (self.width - 2 * self.bars[0]) / self.view_mm


@dataclass(frozen=True, slots=True)
class Pose:
    """Where the film lies in the holder at a moment."""

    along_mm: float = 0.0
    """Film coordinate x = 0 lies so far right of the holder's middle."""
    across_mm: float = 0.0
    turned_deg: float = 0.0
    speed_mm_s: float = 0.0
    bow: float = 0.0
    """Film curling towards the camera: share by which its middle is larger."""


@dataclass(frozen=True, slots=True)
class Moment:
    """What changes from picture to picture apart from the film."""

    phase: float = 0.0
    """Of the flicker, turns."""
    gain: float = 1.0
    """Of a hunting exposure."""
    scale: float = 1.0
    """Of a breathing lens."""
    shake_mm: tuple[float, float] = (0.0, 0.0)
    """Camera against holder."""
    hand: tuple[float, float, float] | None = None
    """A hand or a sleeve over the view: left, right, and upper rim as shares of the view."""


class Camera:
    """Renders live pictures of film. One per rig, since what stays the same is worked out once."""

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self._inner = rig.width - 2 * rig.bars[0], rig.height - 2 * rig.bars[1]
        wide, high = self._inner
        u, v = np.meshgrid(np.arange(wide, dtype=np.float64), np.arange(high, dtype=np.float64))
        places = self.to_holder(np.stack([u, v], axis=-1))
        self._x, self._y = places[..., 0].astype(np.float32), places[..., 1].astype(np.float32)
        self._light = self._panel(u / (wide - 1) * 2 - 1, v / (high - 1) * 2 - 1)
        self._open = self._holder()
        linear = np.linspace(0, 1, 65536, dtype=np.float32) ** np.float32(1 / rig.gamma)
        self._curve = (1 - rig.contrast) * linear + rig.contrast * linear * linear * (3 - 2 * linear)
        self._noise: F32Array | None = None

    def _grain(self, rng: Rng) -> F32Array:
        """Noise of one picture: part of a field that is drawn once."""
        wide, high = self._inner
        if self._noise is None:
            self._noise = rng.standard_normal((high + _NOISE_PX, wide + _NOISE_PX, 3), dtype=np.float32)
        y, x = rng.integers(0, _NOISE_PX, 2)
        return self._noise[y : y + high, x : x + wide]

    def to_holder(self, px: F64Array) -> F64Array:
        """Holder millimetres for inner view px."""
        rig, (wide, high) = self.rig, self._inner
        xy = (px - np.array([(wide - 1) / 2, (high - 1) / 2])) / rig.px_per_mm
        corner = np.hypot(rig.view_mm, rig.view_mm * high / wide) / 2
        r2 = (xy**2).sum(axis=-1, keepdims=True) / corner**2
        xy = xy * (1 + rig.distortion * r2)
        bend = np.radians(np.array(rig.keystone_deg)) / np.array([36.0, 24.0])
        xy = xy / (1 + (xy * bend).sum(axis=-1, keepdims=True))
        c, s = np.cos(np.radians(rig.turned_deg)), np.sin(np.radians(rig.turned_deg))
        return np.asarray((xy - np.array(rig.shift_mm)) @ np.array([[c, -s], [s, c]]))

    def is_open(self, px: F64Array) -> npt.NDArray[np.bool_]:
        """Whether view px, shape (n, 2), are seen through the holder's opening."""
        if self._open is None:
            return np.ones(len(px), bool)
        limit = np.array(self._inner) - 1
        x, y = np.clip(np.round(px - np.array(self.rig.bars)), 0, limit).astype(int).T
        return np.asarray(self._open[y, x, 0] > 0.7)

    def _to_view(self, holder_mm: F64Array, moment: Moment) -> F64Array:
        """View px (bars included) for holder millimetres: `to_holder` turned round by Newton's method."""
        target = (holder_mm - np.array(moment.shake_mm)) * moment.scale
        px = np.broadcast_to(np.array(self._inner) / 2.0, target.shape).copy()
        along, across = np.array([0.5, 0.0]), np.array([0.0, 0.5])
        for _ in range(5):
            wrong = self.to_holder(px) - target
            dx = self.to_holder(px + along) - self.to_holder(px - along)
            dy = self.to_holder(px + across) - self.to_holder(px - across)
            det = dx[..., 0] * dy[..., 1] - dx[..., 1] * dy[..., 0]
            px[..., 0] -= (wrong[..., 0] * dy[..., 1] - wrong[..., 1] * dy[..., 0]) / det
            px[..., 1] -= (wrong[..., 1] * dx[..., 0] - wrong[..., 0] * dx[..., 1]) / det
        return np.asarray(px + np.array(self.rig.bars))

    def project(self, film_mm: F64Array, pose: Pose, moment: Moment = Moment()) -> F64Array:
        """Where points of the film appear, px, pixel centres at whole numbers."""
        c, s = np.cos(np.radians(pose.turned_deg)), np.sin(np.radians(pose.turned_deg))
        turned = (film_mm + np.array([pose.along_mm, pose.across_mm])) * (1 + pose.bow) @ np.array([[c, s], [-s, c]])
        return self._to_view(turned, moment)

    def _panel(self, u: F64Array, v: F64Array) -> F32Array:
        rig = self.rig
        light = 1 - rig.fall_off * (u**2 + v**2) / 2 + rig.slope[0] * u / 2 + rig.slope[1] * v / 2
        for x, y, radius in rig.dust:
            light *= 1 - 0.35 * np.exp(-((u / 2 + 0.5 - x) ** 2 + (v / 2 + 0.5 - y) ** 2 * 0.45) / (2 * radius**2))
        return np.asarray(light[:, :, None] * np.array(rig.panel), np.float32)

    def _holder(self) -> F32Array | None:
        rig = self.rig
        if rig.opening is None:
            return None
        margin, step = 4.0, 0.5 / rig.px_per_mm
        x = np.arange(self._x.min() - margin, self._x.max() + margin, step).astype(np.float32)
        y = np.arange(self._y.min() - margin, self._y.max() + margin, step).astype(np.float32)
        inside = np.clip(rig.opening.inside_mm(x, y) * rig.px_per_mm + 0.5, 0, 1).astype(np.float32)
        seen = cv2.remap(
            inside, (self._x - x[0]) / np.float32(step), (self._y - y[0]) / np.float32(step), cv2.INTER_LINEAR
        )
        soft = cv2.GaussianBlur(seen, (0, 0), max(rig.holder_soft_px, 0.3))
        return np.asarray(soft.astype(np.float32)[:, :, None], np.float32)

    def clean(self, film: Film | None, pose: Pose, moment: Moment = Moment()) -> F32Array:
        """Light on the sensor without noise, shape (inner height, inner width, 3), 1 is bare light, float32."""
        rig = self.rig
        passed = np.ones((*self._x.shape, 3), np.float32) if film is None else self._through(film, pose, moment)
        lit = passed * self._light
        if rig.reflection:
            lit += self._mirrored_lamp()
        if self._open is not None:
            mask = self._open if moment.shake_mm == (0.0, 0.0) else self._shaken(self._open, moment)
            lit = lit * mask + np.float32(rig.holder_glow) * (1 - mask)
        lit = lit + np.float32(rig.glare * float(lit.mean()))
        if moment.hand is not None:
            self._cover(lit, moment.hand)
        if rig.blur_px > 0.2:
            lit = np.asarray(cv2.GaussianBlur(lit, (0, 0), rig.blur_px), np.float32)
        return np.asarray(lit, np.float32)

    def _through(self, film: Film, pose: Pose, moment: Moment) -> F32Array:
        rig = self.rig
        c, s = np.float32(np.cos(np.radians(pose.turned_deg))), np.float32(np.sin(np.radians(pose.turned_deg)))
        x, y = self._x / np.float32(moment.scale), self._y / np.float32(moment.scale)
        x, y = x + np.float32(moment.shake_mm[0]), y + np.float32(moment.shake_mm[1])
        grow = np.float32(1 / (1 + pose.bow))
        along, across = (c * x + s * y) * grow, (c * y - s * x) * grow
        late = np.linspace(-0.5, 0.5, along.shape[0], dtype=np.float32)[:, None] * np.float32(rig.readout_s)
        map_x = along - np.float32(pose.along_mm) - late * np.float32(pose.speed_mm_s) - np.float32(film.x0_mm)
        map_y = across - np.float32(pose.across_mm) - np.float32(film.y0_mm)
        scale = np.float32(film.px_per_mm)
        source = film.transmittance
        smear = abs(pose.speed_mm_s) * rig.exposure_s * film.px_per_mm
        passed = cv2.remap(
            source, map_x * scale - np.float32(0.5), map_y * scale - np.float32(0.5), cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT, borderValue=(1.0, 1.0, 1.0),
        )  # fmt: skip
        across_px = smear * rig.px_per_mm / film.px_per_mm
        if across_px > 0.7:
            taps = max(3, round(across_px) // 2 * 2 + 1)
            passed = cv2.blur(passed, (taps, 1))
        return np.asarray(passed, np.float32)

    def _shaken(self, mask: F32Array, moment: Moment) -> F32Array:
        shift = -np.array(moment.shake_mm) * self.rig.px_per_mm
        matrix = np.array([[1, 0, shift[0]], [0, 1, shift[1]]], np.float32)
        size = (mask.shape[1], mask.shape[0])
        return np.asarray(cv2.warpAffine(mask, matrix, size, borderMode=cv2.BORDER_REPLICATE), np.float32)[:, :, None]

    def _mirrored_lamp(self) -> F32Array:
        """A soft bright patch low in the view."""
        cx, cy = 0.22 * self.rig.view_mm, 0.15 * self.rig.view_mm
        patch = np.exp(-((self._x - cx) ** 2 / 40 + (self._y - cy) ** 2 / 12))
        return np.asarray(self.rig.reflection * patch[:, :, None], np.float32)

    def _cover(self, lit: F32Array, hand: tuple[float, float, float]) -> None:
        high, wide = lit.shape[:2]
        left, right, top = hand[0] * wide, hand[1] * wide, hand[2] * high
        outline = [
            (left, high), (left + 0.1 * wide, top + 0.1 * high), ((left + right) / 2, top),
            (right - 0.05 * wide, top + 0.2 * high), (right, high),
        ]  # fmt: skip
        cv2.fillPoly(lit, [np.array(outline, np.int32)], (0.03, 0.05, 0.09), cv2.LINE_AA)

    def develop(self, lit: F32Array, rng: Rng, moment: Moment = Moment()) -> U8Array:
        """From light on the sensor to a decoded live picture, shape (height, width, 3), blue, green, red."""
        rig = self.rig
        signal = lit * np.float32(rig.exposure * moment.gain)
        if rig.flicker:
            bands = np.linspace(0, rig.flicker_bands, lit.shape[0]) + moment.phase
            signal *= (1 + rig.flicker * np.sin(2 * np.pi * bands)).astype(np.float32)[:, None, None]
        if rig.noise or rig.dark_noise:
            spread = cv2.sqrt(np.maximum(signal, 0) * np.float32(rig.noise**2) + np.float32(rig.dark_noise**2))
            signal += self._grain(rng) * spread
        codes = np.clip(signal * np.float32(65535), 0, 65535).astype(np.uint16)
        if rig.monochrome:
            codes = np.repeat(cv2.transform(codes, np.array([[0.11, 0.59, 0.3]]))[:, :, None], 3, axis=2)
        tone = self._curve[codes]
        if rig.skips_lines:
            small = cv2.resize(tone, (tone.shape[1], tone.shape[0] // 2), interpolation=cv2.INTER_NEAREST)
            tone = cv2.resize(small, (tone.shape[1], tone.shape[0]), interpolation=cv2.INTER_LINEAR)
        if rig.sharpening:
            tone = tone + np.float32(rig.sharpening) * (tone - cv2.GaussianBlur(tone, (0, 0), rig.halo_px))
        inner = np.clip(tone * 255 + 0.5, 0, 255).astype(np.uint8)
        bars = rig.bars
        if bars != (0, 0):
            inner = cv2.copyMakeBorder(inner, bars[1], bars[1], bars[0], bars[0], cv2.BORDER_CONSTANT, value=(0, 0, 0))
        return np.asarray(inner, np.uint8)

    def jpeg(self, picture: U8Array) -> bytes:
        """The live picture as the camera sends it."""
        return bytes(cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, self.rig.quality])[1])

    def shown(self, lit: F32Array, rng: Rng, moment: Moment = Moment()) -> U8Array:
        """The live picture after its way through the camera's JPEG."""
        data = np.frombuffer(self.jpeg(self.develop(lit, rng, moment)), np.uint8)
        return np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), np.uint8)

    def tone_of(self, lit: F32Array, moment: Moment = Moment()) -> F32Array:
        """Live picture without noise, sharpening and JPEG, bars included, float32, 0..255; for measuring contrast."""
        plain = copy(self)
        plain.rig = replace(self.rig, noise=0, dark_noise=0, sharpening=0, skips_lines=False)
        return plain.develop(lit, np.random.default_rng(0), moment).astype(np.float32)
