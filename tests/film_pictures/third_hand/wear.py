"""What happened to the film later, in the light that it lets through: dust, hair, scratches, fingers, water."""

import cv2
import numpy as np

from tests.film_pictures.third_hand.strip import Raster
from tethercap.pictures import F32Array

KINDS = ("dust", "hair", "scratches", "fingerprints", "water")


def wear(piece: Raster, kinds: tuple[str, ...], rng: np.random.Generator) -> Raster:
    """Return the same piece of film, worn."""
    mask = np.ones(piece.through.shape[:2], np.float32)
    drawn = {"dust": _dust, "hair": _hair, "scratches": _scratches, "fingerprints": _fingerprints, "water": _water}
    for kind in kinds:
        drawn[kind](mask, piece.px_per_mm, rng)
    return Raster(np.clip(piece.through * mask[:, :, None], 0, 1), piece.px_per_mm, piece.u0_mm, piece.v0_mm)


def _place(mask: F32Array, rng: np.random.Generator) -> tuple[float, float]:
    return float(rng.uniform(0, mask.shape[1])), float(rng.uniform(0, mask.shape[0]))


def _dust(mask: F32Array, px: float, rng: np.random.Generator) -> None:
    for _ in range(int(rng.integers(20, 200))):
        (x, y), size = _place(mask, rng), rng.lognormal(-3.0, 0.6) * px
        axes = (max(1, round(8 * size)), max(1, round(8 * size * rng.uniform(0.3, 1))))
        at, turn, level = (round(8 * x), round(8 * y)), rng.uniform(0, 180), rng.uniform(0.1, 0.8)
        cv2.ellipse(mask, at, axes, turn, 0, 360, level, -1, cv2.LINE_AA, 3)


def _hair(mask: F32Array, px: float, rng: np.random.Generator) -> None:
    for _ in range(int(rng.integers(1, 4))):
        x, y = _place(mask, rng)
        t = np.linspace(0, 1, 40)
        turn = rng.uniform(0, 2 * np.pi) + np.cumsum(rng.normal(0, 0.12, 40)) + rng.normal(0, 1.5) * t
        step = rng.uniform(1, 12) * px / 40
        line = np.stack([x + np.cumsum(np.cos(turn)) * step, y + np.cumsum(np.sin(turn)) * step], axis=1)
        width = max(1, round(rng.uniform(0.02, 0.07) * px))
        cv2.polylines(mask, [np.rint(line * 8).astype(np.int32)], False, rng.uniform(0.1, 0.5), width, cv2.LINE_AA, 3)


def _scratches(mask: F32Array, px: float, rng: np.random.Generator) -> None:
    """Draw lines along the film: transport scratches of emulsion are clear, of the base dark."""
    x = np.arange(mask.shape[1], dtype=np.float32)
    rows = np.arange(mask.shape[0], dtype=np.float32)[:, None]
    for _ in range(int(rng.integers(1, 6))):
        middle = rng.uniform(0, mask.shape[0]) + 0.1 * px * np.sin(x / (px * rng.uniform(5, 40)) + rng.uniform(0, 6))
        start, length = rng.uniform(-0.5, 0.8) * len(x), rng.uniform(0.3, 1.5) * len(x)
        there = ((x > start) & (x < start + length)).astype(np.float32)
        line = np.exp(-(((rows - middle) / max(0.6, 0.02 * px)) ** 2)) * there
        mask *= 1 + rng.uniform(-0.5, 0.8) * line


def _fingerprints(mask: F32Array, px: float, rng: np.random.Generator) -> None:
    y, x = np.mgrid[0 : mask.shape[0], 0 : mask.shape[1]].astype(np.float32)
    for _ in range(int(rng.integers(1, 3))):
        cx, cy = _place(mask, rng)
        r = np.hypot(x - cx, 1.3 * (y - cy)) / px
        ridges = np.sin(2 * np.pi * r / 0.5 + 1.5 * np.sin(x / (2 * px)))
        mask *= 1 - rng.uniform(0.03, 0.12) * (1 + ridges) / 2 * np.exp(-((r / 5) ** 4))


def _water(mask: F32Array, px: float, rng: np.random.Generator) -> None:
    for _ in range(int(rng.integers(1, 5))):
        (x, y), size = _place(mask, rng), rng.uniform(1, 5) * px
        axes = (round(8 * size), round(8 * size * rng.uniform(0.5, 1)))
        ring = np.zeros_like(mask)
        cv2.ellipse(ring, (round(8 * x), round(8 * y)), axes, 0, 0, 360, 1.0, max(1, round(0.15 * px)), cv2.LINE_AA, 3)
        mask *= 1 - rng.uniform(0.05, 0.25) * cv2.GaussianBlur(ring, (0, 0), 0.1 * px)
