"""The camera's live view: exposure, flare, flicker, noise, tone curve, sharpening, line skipping, JPEG."""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from tethercap.pictures import F32Array, F64Array, U8Array


@dataclass(frozen=True, slots=True, eq=False)
class Sensor:
    """How the camera makes codes of light."""

    gain: float
    """Light 1 (the bare panel, full in the middle) comes to this share of full scale."""
    balance: F32Array
    """Gain of each channel beside it, red, green, blue."""
    contrast: float
    """Strength of the S in the tone curve; below 0 flatter."""
    gamma: float
    noise: float
    """Deviation of the noise at full scale, as a share of it: shot noise, and some of it everywhere."""
    smooth_px: float
    """Noise reduction."""
    sharpen: float
    sharpen_px: float
    monochrome: bool
    jpeg_quality: int
    skip: int
    """Every so-manieth line is read; 1 = all."""


def tone(sensor: Sensor, light: F32Array) -> F32Array:
    """Codes 0 to 1 of light 0 to 1."""
    steps = 4096
    y = np.power(np.linspace(0, 1, steps + 1), 1 / sensor.gamma)
    curve = (y - sensor.contrast * np.sin(2 * np.pi * y) / (2 * np.pi)).astype(np.float32)
    places = np.clip(light * np.float32(steps), 0, steps).astype(np.uint16)
    return np.asarray(np.take(curve, places), np.float32)


def gained(sensor: Sensor, light: F32Array) -> F32Array:
    """Light as shares of full scale."""
    shares: F32Array = light * (sensor.gain * sensor.balance)
    return shares


def line_skipped(light: F32Array, finer: int, skip: int) -> F32Array:
    """Bring a finely drawn picture to the view's size: all of it, or of every line only a part (so that it aliases)."""
    height, width = light.shape[0] // finer, light.shape[1] // finer
    if skip > 1 and finer > 1:
        light = np.repeat(light[finer // 2 :: finer], finer, axis=0)[: height * finer]
    if finer == 1:
        return light
    return np.asarray(cv2.resize(light, (width, height), interpolation=cv2.INTER_AREA), np.float32)


def codes(sensor: Sensor, light: F32Array, noise: F32Array, bars_px: tuple[int, int] = (0, 0)) -> U8Array:
    """Picture of light in shares of full scale (RGB): 8 bits BGR, out of a JPEG, with black bars where they belong.

    Parameters
    ----------
    noise : array, like light
        Normal, deviation 1.
    """
    height, width = light.shape[:2]
    noisy = light
    if sensor.noise > 0:
        deviation = np.float32(sensor.noise) * np.sqrt(np.clip(light, 0, 1) + np.float32(0.02))
        noisy = light + deviation * noise
        if sensor.smooth_px > 0:
            noisy = cv2.GaussianBlur(noisy, (0, 0), sensor.smooth_px)
    shaped = tone(sensor, noisy)
    if sensor.monochrome:
        shaped = np.repeat((shaped @ np.array([0.3, 0.59, 0.11], np.float32))[:, :, None], 3, axis=2)
    if sensor.sharpen > 0:
        shaped = shaped + sensor.sharpen * (shaped - cv2.GaussianBlur(shaped, (0, 0), sensor.sharpen_px))
    picture = np.rint(np.clip(shaped, 0, 1) * 255).astype(np.uint8)[:, :, ::-1]
    bar_x, bar_y = bars_px
    framed = np.zeros_like(picture)
    inner = np.s_[bar_y : height - bar_y, bar_x : width - bar_x]
    framed[inner] = picture[inner]
    done, jpeg = cv2.imencode(".jpg", framed, [cv2.IMWRITE_JPEG_QUALITY, sensor.jpeg_quality])
    assert done
    decoded = cv2.imdecode(jpeg, cv2.IMREAD_COLOR)
    return np.asarray(decoded, np.uint8)


def flicker(height: int, depth: float, periods: float, phase: float) -> F32Array:
    """Gain of each line under a light that goes up and down while the lines are read, (height, 1, 1)."""
    lines = np.sin(2 * np.pi * periods * np.arange(height) / height + phase)
    return (1 + depth * lines).astype(np.float32)[:, None, None]


def any_sensor(rng: np.random.Generator, trouble: float) -> Sensor:
    """Draw a camera; trouble 0 = good, 1 = as bad as live views get. Gain and balance follow from what it sees."""
    return Sensor(
        gain=1.0, balance=np.ones(3, np.float32),
        contrast=float(rng.uniform(-0.1, 0.5)), gamma=float(rng.uniform(1.8, 2.4)),
        noise=float(rng.uniform(0.002, 0.012) * (1 + 4 * trouble * rng.random())),
        smooth_px=float(rng.choice([0.0, 0.5, 1.0])),
        sharpen=float(rng.choice([0.0, 0.3, 0.8, 1.4], p=[0.3, 0.3, 0.25, 0.15])),
        sharpen_px=float(rng.uniform(0.8, 1.6)), monochrome=bool(rng.random() < 0.12),
        jpeg_quality=int(rng.integers(60, 96) - 20 * trouble * rng.random()),
        skip=int(rng.choice([1, 2], p=[0.7, 0.3])),
    )  # fmt: skip


def exposed_for(sensor: Sensor, seen: F32Array, within: F32Array, base: F64Array, rng: np.random.Generator) -> Sensor:
    """Expose for what lies in the holder, as a person or the camera would.

    Parameters
    ----------
    seen : array, shape (height, width, 3)
        Light of the view at gain 1.
    within : array, shape (height, width)
        Share of light the holder lets pass.
    base : array, shape (3,)
        Light through clear film.
    """
    balance = np.power(base.mean() / np.maximum(base, 1e-3), rng.choice([0.0, 0.5, 1.0], p=[0.5, 0.15, 0.35]))
    light = (seen * balance)[within > 0.5] if (within > 0.5).any() else (seen * balance).reshape(-1, 3)
    if rng.random() < 0.7:
        gain = rng.uniform(0.45, 0.95) / max(float(np.percentile(light.max(axis=1), 90)), 1e-3)
    else:
        gain = rng.uniform(0.12, 0.35) / max(float(light.mean()), 1e-3)
    return replace(sensor, gain=float(gain), balance=balance.astype(np.float32))
