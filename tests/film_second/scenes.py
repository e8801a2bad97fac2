"""What the film was exposed to: scenes as log exposure, 0 at mid grey."""

from collections.abc import Callable

import cv2
import numpy as np
import skimage.data

from tethercap.pictures import F32Array

Rng = np.random.Generator
BLACK = -3.0
"""Log exposure of nothing at all: flare of the taking lens."""

_PHOTOGRAPHS = (
    "astronaut", "brick", "camera", "chelsea", "coffee", "coins", "grass", "gravel", "hubble_deep_field", "moon",
    "page", "rocket",
)  # fmt: skip


def photograph(rng: Rng, height: int, width: int) -> F32Array:
    """Part of a real photograph, flipped, with its own contrast and exposure."""
    picture = getattr(skimage.data, str(rng.choice(_PHOTOGRAPHS)))()
    colour = np.atleast_3d(picture)[:, :, :3].astype(np.float32)
    colour = np.repeat(colour, 3, axis=2) if colour.shape[2] == 1 else colour[:, :, ::-1]
    share = rng.uniform(0.5, 1.0)
    high = int(min(colour.shape[0], colour.shape[1] * height / width) * share)
    wide = int(high * width / height)
    y, x = rng.integers(0, colour.shape[0] - high + 1), rng.integers(0, max(1, colour.shape[1] - wide + 1))
    part = colour[y : y + high, x : x + wide]
    sized = cv2.resize(part, (width, height), interpolation=cv2.INTER_CUBIC)[:, :: rng.choice([-1, 1])]
    linear = np.clip(sized / 255.0, 0.0, 1.0) ** 2.2
    return np.asarray(np.log10(linear * 4.0 + 0.004) + rng.uniform(-0.3, 0.35), np.float32)


def fractal(rng: Rng, height: int, width: int) -> F32Array:
    """Clouds, foliage, rock: noise that looks the same at every size, in slowly changing colours."""
    tone = np.zeros((height, width), np.float32)
    fall = rng.uniform(0.45, 0.75)
    for octave in range(1, 8):
        cells = rng.normal(size=(2**octave + 1, int(2**octave * width / height) + 2)).astype(np.float32)
        tone += fall**octave * cv2.resize(cells, (width, height), interpolation=cv2.INTER_CUBIC)
    tint = cv2.resize(rng.normal(0, 0.12, (3, 4, 3)).astype(np.float32), (width, height), interpolation=cv2.INTER_CUBIC)
    return np.asarray(tone[:, :, None] * rng.uniform(0.3, 0.7) + tint + rng.uniform(-0.3, 0.4), np.float32)


def landscape(rng: Rng, height: int, width: int) -> F32Array:
    """Sky over ground, the horizon straight and anywhere, even close to the frame's edge."""
    picture = fractal(rng, height, width) * np.float32(0.35) - np.float32(0.4)
    level = height * float(rng.choice([rng.uniform(0.03, 0.12), rng.uniform(0.2, 0.8), rng.uniform(0.88, 0.97)]))
    rows, columns = np.mgrid[0:height, 0:width].astype(np.float32)
    above = np.clip(level + (columns - width / 2) * rng.normal(0, 0.015) - rows, 0, 1)[:, :, None]
    sky = (0.55 + 0.5 * (1 - rows / height))[:, :, None] + np.array([0.25, 0.05, -0.1], np.float32)
    return np.asarray(picture * (1 - above) + sky.astype(np.float32) * above, np.float32)


def room(rng: Rng, height: int, width: int) -> F32Array:
    """A dim room with bright windows and door posts, their straight lines close to the frame's edges."""
    picture = np.full((height, width, 3), rng.uniform(-1.3, -0.5), np.float32)
    for _ in range(rng.integers(2, 6)):
        y, x = rng.uniform(-0.05, 0.9) * height, rng.uniform(-0.05, 0.9) * width
        high, wide = rng.uniform(0.2, 0.95) * height, rng.uniform(0.04, 0.5) * width
        tone = np.array([rng.uniform(-1.6, 1.2)] * 3) + rng.normal(0, 0.1, 3)
        cv2.rectangle(picture, (int(x), int(y)), (int(x + wide), int(y + high)), tone.tolist(), -1, cv2.LINE_AA)
        for bar in range(rng.integers(0, 4)):
            at = int(x + wide * (bar + 1) / 5)
            cv2.line(picture, (at, int(y)), (at, int(y + high)), [-1.2] * 3, max(1, width // 150), cv2.LINE_AA)
    return np.asarray(picture + fractal(rng, height, width) * np.float32(0.15), np.float32)


def town(rng: Rng, height: int, width: int) -> F32Array:
    """House fronts, upright edges everywhere, sky between."""
    picture = np.full((height, width, 3), rng.uniform(0.3, 0.9), np.float32)
    x = 0.0
    while x < width:
        wide, top = rng.uniform(0.08, 0.3) * width, rng.uniform(0.0, 0.7) * height
        tone = rng.uniform(-1.2, 0.5)
        cv2.rectangle(picture, (int(x), int(top)), (int(x + wide), height), [tone] * 3, -1, cv2.LINE_AA)
        step = max(6.0, wide / rng.integers(3, 8))
        for u in np.arange(x + step / 3, x + wide - step / 2, step):
            for v in np.arange(top + step / 2, height, step * 1.4):
                corner = (int(u + step / 2), int(v + step * 0.7))
                cv2.rectangle(picture, (int(u), int(v)), corner, [tone + rng.uniform(-0.8, 0.6)] * 3, -1)
        x += wide
    return np.asarray(picture + fractal(rng, height, width) * np.float32(0.12), np.float32)


def faces(rng: Rng, height: int, width: int) -> F32Array:
    """Rounded shapes before a soft ground: groups, still lifes."""
    picture = cv2.GaussianBlur(fractal(rng, height, width), (0, 0), width / 25).astype(np.float32)
    for _ in range(rng.integers(1, 7)):
        centre = (int(rng.uniform(0, width)), int(rng.uniform(0.2, 1.0) * height))
        axes = (int(rng.uniform(0.05, 0.2) * width), int(rng.uniform(0.1, 0.4) * height))
        tone = [rng.uniform(-0.9, 0.8)] * 3
        cv2.ellipse(picture, centre, axes, float(rng.uniform(0, 180)), 0, 360, tone, -1, cv2.LINE_AA)
    return np.asarray(picture + fractal(rng, height, width) * np.float32(0.1), np.float32)


def blinds(rng: Rng, height: int, width: int) -> F32Array:
    """Bars and slats along one direction: lines where a frame's edge may be looked for."""
    rows, columns = np.mgrid[0:height, 0:width].astype(np.float32)
    along = columns if rng.random() < 0.5 else rows
    bars = np.sin(along * 2 * np.pi / (rng.uniform(0.03, 0.15) * width)) * rng.uniform(2, 8)
    tone = np.clip(bars, -1, 1) * rng.uniform(0.2, 0.7) + rng.uniform(-0.3, 0.3)
    return np.asarray(tone[:, :, None] + fractal(rng, height, width) * np.float32(0.15), np.float32)


def snow(rng: Rng, height: int, width: int) -> F32Array:
    """Nearly everything white."""
    return np.asarray(fractal(rng, height, width) * np.float32(0.06) + np.float32(rng.uniform(0.7, 1.2)), np.float32)


def night(rng: Rng, height: int, width: int) -> F32Array:
    """Black with a few lamps, none of them at the frame's edges."""
    picture = np.full((height, width, 3), 10.0**BLACK, np.float32)
    for _ in range(rng.integers(4, 25)):
        centre = (int(rng.uniform(0.15, 0.85) * width), int(rng.uniform(0.15, 0.85) * height))
        radius = max(1, int(rng.uniform(0.002, 0.012) * width))
        cv2.circle(picture, centre, radius, rng.uniform(0.5, 8, 3).tolist(), -1, cv2.LINE_AA)
    glow = cv2.GaussianBlur(picture, (0, 0), width / 40)
    lit = cv2.GaussianBlur(picture, (0, 0), 1.0) + glow * np.float32(0.6) + np.float32(10.0**BLACK)
    return np.log10(lit, dtype=np.float32)


def night_side(rng: Rng, height: int, width: int) -> F32Array:
    """A scene that sinks into black towards one, two or three sides."""
    picture = DAYLIGHT[int(rng.integers(len(DAYLIGHT)))](rng, height, width)
    rows, columns = np.mgrid[0:height, 0:width].astype(np.float32)
    u, v = columns / width, rows / height
    sides = [u, 1 - u, v, 1 - v]
    for side in rng.choice(4, size=int(rng.integers(1, 4)), replace=False):
        fade = np.clip((rng.uniform(0.1, 0.3) - sides[side]) / 0.08, 0, 1)
        picture -= (fade * 3.0)[:, :, None].astype(np.float32)
    return np.maximum(picture, np.float32(BLACK))


def blank(rng: Rng, height: int, width: int) -> F32Array:
    """Never exposed."""
    return np.full((height, width, 3), 2 * BLACK, np.float32)


def grey(rng: Rng, height: int, width: int) -> F32Array:
    """One even tone, as of a wall out of focus."""
    return np.full((height, width, 3), rng.uniform(-0.6, 0.8), np.float32)


DAYLIGHT: tuple[Callable[[Rng, int, int], F32Array], ...] = (
    photograph, photograph, photograph, fractal, landscape, room, town, faces,
)  # fmt: skip
"""Scenes that expose the film along most of the frame's edges."""
