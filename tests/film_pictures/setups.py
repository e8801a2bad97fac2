"""A well-behaved picture of film, before anything is made hard about it."""

from dataclasses import dataclass

import numpy as np

from tests.film_pictures.camera import Holder, View
from tests.film_pictures.strip import Format, Gate, Picture, Strip

SIZES = ((640, 424), (800, 532), (960, 640), (1024, 680), (1024, 576), (1280, 848), (1616, 1080), (1920, 1280))


@dataclass
class Setup:
    """Everything that is rendered; hazards change it in place."""

    strip: Strip
    view: View
    index: int
    at_mm: tuple[float, float]
    upright: bool = False
    """The camera is turned by a quarter, so that the film runs from top to bottom."""


def well_behaved(rng: np.random.Generator, film_format: Format, kind: str) -> Setup:
    """A well-behaved picture: whole frame, clear edges."""
    f = film_format
    gate = Gate(
        along=f.along + rng.uniform(-0.3, 0.5), across=f.across + rng.uniform(-0.25, 0.4), y_mm=rng.normal(0, 0.12),
        tilt_deg=rng.normal(0, 0.1), radius_mm=rng.uniform(0, 0.5), ragged_mm=rng.uniform(0, 0.02),
        soft_mm=rng.uniform(0.01, 0.08),
    )  # fmt: skip
    lefts = np.arange(-2, 3) * f.pitch - gate.along / 2 + rng.normal(0, 0.1, 5)
    strip = Strip(
        kind=kind, format=f, gate=gate, pictures=[Picture(float(left)) for left in lefts], start_mm=-3 * f.pitch,
        end_mm=3 * f.pitch,
        base=_base(rng, kind), gamma=float(rng.uniform(1.4, 2.0) if kind == "slide" else rng.uniform(0.5, 0.75)),
        top_density=float(rng.uniform(2.6, 3.5) if kind == "slide" else rng.uniform(1.7, 2.6)),
        hole_phase_mm=rng.uniform(0, 4.75),
        print_amount=rng.uniform(0.3, 1.2),
    )  # fmt: skip
    width, height = SIZES[rng.integers(len(SIZES))]
    rim = rng.uniform(1.03, 1.3)
    scale = min(width / (gate.along * rim), height / (gate.across * rim))
    view = View(
        width=width, height=height, px_per_mm=scale, turn_deg=rng.normal(0, 0.4), exposure=rng.uniform(0.75,
        1.25) * (1.0 if kind == "slide" else 1.5),
        curve=rng.uniform(1.8, 2.4), contrast=rng.uniform(0, 0.3), fall_off=rng.uniform(0, 0.2),
        uneven=rng.uniform(0, 0.04),
        noise=rng.uniform(0.3, 2.0), blur_px=rng.uniform(0.4, 1.2), quality=int(rng.integers(70, 96)),
        sharpen=rng.uniform(0, 0.6),
        dust=int(rng.integers(0, 6)),
    )  # fmt: skip
    view.holder = _holder(rng, strip, view)
    offset = rng.normal(0, 0.25 * (rim - 1) * gate.along, 2) * (1, 0.6)
    return Setup(strip, view, 2, (float(np.clip(offset[0], -2, 2)), float(np.clip(offset[1], -1, 1))))


def _base(rng: np.random.Generator, kind: str) -> tuple[float, float, float]:
    if kind == "colour-negative":
        return (rng.uniform(0.18, 0.32), rng.uniform(0.5, 0.8), rng.uniform(0.75, 1.1))
    level = rng.uniform(0.05, 0.2) if kind == "slide" else rng.uniform(0.18, 0.42)
    return (level, level + rng.uniform(-0.02, 0.02), level + rng.uniform(-0.02, 0.03))


def _holder(rng: np.random.Generator, strip: Strip, view: View) -> Holder:
    """An opening larger than the frame: with or without the perforations in sight."""
    f = strip.format
    shows_holes = rng.random() < 0.4
    height = f.width + rng.uniform(-1.5, 4) if shows_holes else min(f.width - 1, f.across + rng.uniform(1.2, 4))
    width = view.width / view.px_per_mm + 20 if rng.random() < 0.4 else f.along + rng.uniform(2.5, 9)
    return Holder(
        width_mm=width, height_mm=height, x_mm=rng.normal(0, 0.3), y_mm=rng.normal(0, 0.2), tilt_deg=rng.normal(0, 0.3),
        radius_mm=rng.uniform(0, 1.5), level=float(10 ** rng.uniform(-4, -2)), soft_mm=rng.uniform(0.03, 0.4),
    )  # fmt: skip
