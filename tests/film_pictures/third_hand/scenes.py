"""Scenes as light on the film: linear, three channels, 0.18 = mid grey; procedural, and free photographs."""

from collections.abc import Callable
from functools import lru_cache

import cv2
import numpy as np
from skimage import data

from tethercap.pictures import F32Array

Scene = Callable[[np.random.Generator, int, int], F32Array]
"""Draws height x width x 3."""

PHOTOGRAPHS = (
    "astronaut", "brick", "camera", "cat", "coffee", "coins", "grass", "gravel", "immunohistochemistry", "page",
    "rocket", "text",
)  # fmt: skip
"""Pictures that come with scikit-image."""


@lru_cache(maxsize=32)
def _photograph(name: str) -> F32Array:
    codes = np.asarray(getattr(data, name)(), np.float32) / 255
    linear: F32Array = np.power(codes, 2.2)
    return linear if linear.ndim == 3 else np.repeat(linear[:, :, None], 3, axis=2)


def _clouds(rng: np.random.Generator, height: int, width: int, coarsest: float, roughness: float = 0.55) -> F32Array:
    """Noise of many sizes, mean 0, deviation about 1; the coarsest waves are this share of the width."""
    total = np.zeros((height, width), np.float32)
    cells, weight = max(1.0, 1 / coarsest), 1.0
    while cells < width / 3:
        grid = rng.normal(size=(max(2, round(cells * height / width) + 2), round(cells) + 2)).astype(np.float32)
        total += weight * cv2.resize(grid, (width, height), interpolation=cv2.INTER_CUBIC)
        cells, weight = cells * 2, weight * roughness
    return np.asarray((total - total.mean()) / max(float(total.std()), 1e-6), np.float32)


def _tint(rng: np.random.Generator, spread: float) -> F32Array:
    return np.power(2.0, rng.normal(0, spread, 3)).astype(np.float32)


def _of(levels: F32Array, tint: F32Array) -> F32Array:
    return levels[:, :, None] * tint


def photograph(rng: np.random.Generator, height: int, width: int) -> F32Array:
    """Draw a part of a photograph, turned over at random."""
    whole = _photograph(str(rng.choice(PHOTOGRAPHS)))
    share = rng.uniform(0.6, 1.0)
    rows, columns = whole.shape[:2]
    part_w = min(columns, rows * width / height) * share
    part_h = part_w * height / width
    top, left = rng.uniform(0, rows - part_h), rng.uniform(0, columns - part_w)
    part = whole[int(top) : int(top + part_h) + 1, int(left) : int(left + part_w) + 1]
    part = part[:, ::-1] if rng.random() < 0.5 else part
    scene = cv2.resize(np.ascontiguousarray(part), (width, height), interpolation=cv2.INTER_LINEAR)
    return np.asarray(np.maximum(scene, 0.002), np.float32)


def landscape(rng: np.random.Generator, height: int, width: int) -> F32Array:
    """Draw sky over hills, each hill with its own grain."""
    y = np.linspace(0, 1, height, dtype=np.float32)[:, None]
    sky = np.float32(rng.uniform(0.5, 1.2)) * (0.6 + 0.4 * y) * (1 + 0.15 * _clouds(rng, height, width, 0.6))
    scene = _of(sky, np.array([0.8, 0.95, 1.2], np.float32))
    horizon = rng.uniform(0.05, 0.7)
    for _ in range(int(rng.integers(1, 4))):
        line = horizon + 0.06 * _clouds(rng, 2, width, 0.5)[:1]
        ground = 0.12 * np.exp(0.5 * _clouds(rng, height, width, 0.1, 0.8)) * rng.uniform(0.3, 1.5)
        scene = np.where((y > line)[:, :, None], _of(ground, _tint(rng, 0.3)), scene)
        horizon += rng.uniform(0.1, 0.25)
    return scene.astype(np.float32)


def sea(rng: np.random.Generator, height: int, width: int) -> F32Array:
    """Draw a straight horizon, not quite level, and glitter."""
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    y, x = y / height, x / width
    line = rng.uniform(0.1, 0.9) + rng.normal(0, 0.02) * (x - 0.5)
    water = 0.15 * np.exp(0.4 * _clouds(rng, height, width, 0.05, 0.9)) + 0.8 * (
        _clouds(rng, height, width, 0.01) > 2.2
    )
    sky = rng.uniform(0.3, 1.0) * (1 + 0.1 * _clouds(rng, height, width, 0.7))
    return _of(np.where(y > line, water, sky).astype(np.float32), _tint(rng, 0.2))


def buildings(rng: np.random.Generator, height: int, width: int) -> F32Array:
    """Draw fronts with rows of windows: many straight lines along and across."""
    scene = np.full((height, width), rng.uniform(0.3, 1.0), np.float32)
    left = -rng.uniform(0, 0.2)
    while left < 1:
        wide, top = rng.uniform(0.12, 0.5), rng.uniform(-0.1, 0.5)
        x0, x1, y0 = int(max(left, 0) * width), int(min(left + wide, 1) * width), int(max(top, 0) * height)
        scene[y0:, x0:x1] = rng.uniform(0.05, 0.5)
        step_x, step_y = rng.uniform(0.03, 0.08) * width, rng.uniform(0.06, 0.14) * height
        glass = rng.uniform(0.02, 0.8)
        for wy in np.arange(y0 + 0.3 * step_y, height, step_y):
            for wx in np.arange(x0 + 0.25 * step_x, x1 - 0.5 * step_x, step_x):
                scene[int(wy) : int(wy + 0.5 * step_y), int(wx) : int(wx + 0.5 * step_x)] = glass * rng.uniform(
                    0.6, 1.3
                )
        left += wide
    scene *= np.exp(0.08 * _clouds(rng, height, width, 0.1))
    return _of(scene, _tint(rng, 0.15))


def portrait(rng: np.random.Generator, height: int, width: int) -> F32Array:
    """Draw soft round shapes before a backdrop that falls off to the sides."""
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    aspect = width / height
    y, x = y / height, x / width * aspect
    scene = _of(np.float32(rng.uniform(0.05, 0.6)) * (1 + 0.2 * _clouds(rng, height, width, 1.0)), _tint(rng, 0.3))
    middle = rng.uniform(0.35, 0.65) * aspect
    for cy, ry, rx, level in ((1.05, 0.45, 0.45, rng.uniform(0.03, 0.5)), (0.42, 0.24, 0.18, rng.uniform(0.25, 0.5))):
        inside = 1 / (1 + np.exp(np.minimum(40 * (np.hypot((y - cy) / ry, (x - middle) / rx) - 1), 50)))
        inside = inside[:, :, None]
        scene = scene * (1 - inside) + inside * level * np.array([1.2, 1.0, 0.8], np.float32)
    return np.maximum(scene, 0.003).astype(np.float32)


def forest(rng: np.random.Generator, height: int, width: int) -> F32Array:
    """Draw trunks: upright lines that a frame's end could be taken for."""
    scene = rng.uniform(0.2, 1.0) * np.exp(0.6 * _clouds(rng, height, width, 0.08, 0.8))
    x = np.arange(width, dtype=np.float32)[None, :]
    y = np.linspace(-0.5, 0.5, height, dtype=np.float32)[:, None]
    for _ in range(int(rng.integers(3, 14))):
        middle, lean = rng.uniform(0, width), rng.normal(0, 0.06) * height
        half = rng.uniform(0.005, 0.04) * width
        scene = np.where(np.abs(x - middle - lean * y) < half, rng.uniform(0.01, 0.12), scene)
    return _of(scene.astype(np.float32), np.array([0.85, 1.0, 0.6], np.float32))


def night(rng: np.random.Generator, height: int, width: int) -> F32Array:
    """Draw lamps in the dark: most of the frame gets no light."""
    scene = np.full((height, width, 3), 10 ** rng.uniform(-4.5, -2.8), np.float32)
    for _ in range(int(rng.integers(3, 30))):
        cx, cy, r = rng.uniform(0.1, 0.9) * width, rng.uniform(0.15, 0.85) * height, rng.uniform(0.002, 0.02) * width
        cv2.circle(
            scene, (int(cx), int(cy)), max(1, int(r)), tuple(map(float, rng.uniform(0.5, 5) * _tint(rng, 0.4))), -1
        )
    halo = cv2.GaussianBlur(scene, (0, 0), width * 0.015)
    return np.asarray(np.maximum(scene, 0.15 * halo), np.float32)


def flash(rng: np.random.Generator, height: int, width: int) -> F32Array:
    """Draw what a flash reaches: the middle, not the sides."""
    near = portrait(rng, height, width)
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    off = np.hypot((x / width - rng.uniform(0.4, 0.6)) * width / height, y / height - rng.uniform(0.4, 0.7))
    reached = np.maximum(np.exp(-((off / rng.uniform(0.25, 0.6)) ** 2)), 10 ** rng.uniform(-3.5, -2))
    return np.asarray(near * reached[:, :, None], np.float32)


def snow(rng: np.random.Generator, height: int, width: int) -> F32Array:
    """Draw hardly anything but white."""
    scene = 0.8 + 0.03 * _clouds(rng, height, width, 0.5) + 0.01 * _clouds(rng, height, width, 0.05)
    for _ in range(int(rng.integers(0, 6))):
        x, y = int(rng.uniform(0, width)), int(rng.uniform(0.3, 1) * height)
        cv2.line(
            scene, (x, y), (x + int(rng.normal(0, 0.02) * width), y - int(0.15 * height)), 0.08, max(1, width // 200)
        )
    return _of(scene, np.array([0.95, 1.0, 1.05], np.float32))


def fog(rng: np.random.Generator, height: int, width: int) -> F32Array:
    """Draw a scene with next to no contrast."""
    scene = landscape(rng, height, width)
    veil, kept = rng.uniform(0.15, 0.5), rng.uniform(0.03, 0.2)
    return np.asarray(np.maximum(veil + kept * (scene - float(scene.mean())), 0.01), np.float32)


def window(rng: np.random.Generator, height: int, width: int) -> F32Array:
    """Draw a bright window with bars near a side of a dark room."""
    scene = 0.02 * np.exp(0.5 * _clouds(rng, height, width, 0.2))
    x0, x1 = sorted(rng.uniform(0.01, 0.99, 2))
    y0, y1 = rng.uniform(0.01, 0.2), rng.uniform(0.5, 0.98)
    if rng.random() < 0.5:
        x0 = rng.uniform(0.01, 0.04)
    x1 = max(x1, x0 + 0.15)
    left, right, top, bottom = int(x0 * width), int(x1 * width), int(y0 * height), int(y1 * height)
    scene[top:bottom, left:right] = rng.uniform(0.7, 3.0)
    bar = max(2, width // 120)
    scene[top:bottom, (left + right) // 2 - bar : (left + right) // 2 + bar] = 0.03
    scene[(top + bottom) // 2 - bar : (top + bottom) // 2 + bar, left:right] = 0.03
    return _of(scene.astype(np.float32), _tint(rng, 0.15))


def stage(rng: np.random.Generator, height: int, width: int) -> F32Array:
    """Draw a cone of light in the dark."""
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    y, x = y / height, x / width - rng.uniform(0.3, 0.7)
    cone = 1 / (1 + np.exp(60 * (np.abs(x) - 0.05 - 0.2 * y)))
    scene = 10 ** rng.uniform(-4, -2.5) + 0.3 * cone * np.exp(0.5 * _clouds(rng, height, width, 0.1))
    return _of(scene.astype(np.float32), _tint(rng, 0.4))


def beach(rng: np.random.Generator, height: int, width: int) -> F32Array:
    """Draw low sun: very bright above, black below."""
    y = np.linspace(0, 1, height, dtype=np.float32)[:, None]
    line = rng.uniform(0.4, 0.85) + 0.02 * _clouds(rng, 2, width, 0.3)[:1]
    sky = rng.uniform(0.3, 2.0) * np.exp(-2 * np.abs(y - line)) * (1 + 0.2 * _clouds(rng, height, width, 0.6))
    ground = 0.004 * np.exp(0.6 * _clouds(rng, height, width, 0.05))
    return _of(np.where(y < line, sky, ground).astype(np.float32), np.array([1.3, 0.9, 0.6], np.float32))


USUAL: tuple[Scene, ...] = (photograph, photograph, photograph, landscape, sea, buildings, portrait, forest)
DIFFICULT: tuple[Scene, ...] = (photograph, flash, snow, fog, window, stage, beach, buildings, sea)
