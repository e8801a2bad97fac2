"""Rigs by lot: bodies with their live views, holders, light panels."""

import numpy as np

from tests.film_second.camera import Rig
from tests.film_second.scenes import Rng
from tests.film_second.strip import Opening, Stock
from tethercap.film.formats import FilmFormat
from tethercap.film.kinds import FilmKind

_SIZES = (
    (640, 424),
    (640, 480),
    (720, 480),
    (960, 640),
    (1024, 680),
    (1024, 768),
    (1280, 720),
    (1280, 854),
    (1920, 1280),
)
_SIZE_SHARES = (0.14, 0.1, 0.08, 0.18, 0.2, 0.08, 0.08, 0.1, 0.04)
_TILT_DEG = {"easy": 0.8, "typical": 1.2, "hard": 1.8, "impossible": 1.2}


def pick_rig(rng: Rng, film_format: FilmFormat, stock: Stock, tier: str) -> Rig:
    """A rig that shows one whole frame of this format with a rim around it."""
    width, height = _SIZES[int(rng.choice(len(_SIZES), p=_SIZE_SHARES))]
    fill = rng.uniform(0.62, 0.93) if tier == "easy" else rng.uniform(0.7, 0.97)
    view_mm = max(film_format.along_mm, film_format.across_mm * width / height) / fill
    sharp = rng.uniform(0.5, 1.3) * width / 1024
    return Rig(
        width=width, height=height, view_mm=view_mm,
        turned_deg=float(np.clip(rng.normal(0, _TILT_DEG[tier]), -4, 4)),
        shift_mm=(float(rng.normal(0, 0.3)), float(rng.normal(0, 0.3))),
        keystone_deg=(float(rng.uniform(-0.5, 0.5)), float(rng.uniform(-0.5, 0.5))),
        distortion=float(rng.uniform(-0.004, 0.006)),
        bars=_bars(rng, width, height),
        opening=pick_opening(rng, film_format),
        holder_glow=float(10 ** rng.uniform(-3.5, -1.8)), holder_soft_px=float(rng.uniform(0.6, 4) * sharp),
        fall_off=float(rng.uniform(0, 0.25)), slope=(float(rng.normal(0, 0.04)), float(rng.normal(0, 0.04))),
        glare=float(rng.uniform(0.002, 0.03)), blur_px=float(max(sharp, 0.4)),
        panel=_white_balance(rng, stock), monochrome=bool(rng.random() < 0.12),
        exposure=_exposure(rng, stock), gamma=float(rng.uniform(1.8, 2.5)), contrast=float(rng.uniform(0, 0.6)),
        sharpening=float(rng.choice([0, rng.uniform(0.2, 1.2)])), halo_px=float(rng.uniform(0.8, 2.0)),
        noise=float(rng.uniform(0.003, 0.02)), dark_noise=float(rng.uniform(0.0005, 0.006)),
        quality=int(rng.integers(60, 96)),
    )  # fmt: skip


def _bars(rng: Rng, width: int, height: int) -> tuple[int, int]:
    if rng.random() > 0.12:
        return (0, 0)
    return (int(width * rng.uniform(0.03, 0.1)), 0) if rng.random() < 0.5 else (0, int(height * rng.uniform(0.03, 0.1)))


def _white_balance(rng: Rng, stock: Stock) -> tuple[float, float, float]:
    """Between daylight, where the mask looks orange, and balanced on the base, where bare light looks blue."""
    share = float(rng.choice([0.0, 1.0, rng.uniform(0, 1)]))
    gains = 10 ** (share * (stock.clear - stock.clear.mean())) * (1 + rng.normal(0, 0.03, 3))
    gains /= gains.max()
    return (float(gains[0]), float(gains[1]), float(gains[2]))


def _exposure(rng: Rng, stock: Stock) -> float:
    """Bare light over saturation, so that the clear film is bright, as one would set it."""
    clear = float((10.0**-stock.clear).max())
    return float(rng.uniform(0.55, 1.15) / clear * (1.0 if stock.kind is not FilmKind.SLIDE else 0.9))


def pick_opening(rng: Rng, f: FilmFormat) -> Opening | None:
    """A holder whose opening is larger than the frame, with the perforations hidden or shown; or none at all."""
    if rng.random() < 0.15:
        return None
    shows_holes = rng.random() < 0.35
    along = f.along_mm / 2 + rng.uniform(0.7, 8)
    if f.perforations is not None:
        across = f.strip_width_mm / 2 + rng.uniform(-1, 3) if shows_holes else f.across_mm / 2 + rng.uniform(0.6, 1.2)
    else:
        across = f.across_mm / 2 + rng.uniform(0.7, 2.4)
    return cut_holder(rng, along, across)


def cut_holder(rng: Rng, along_half_mm: float, across_half_mm: float) -> Opening:
    """An opening of this size, its paint more or less ragged."""
    box = (-along_half_mm, -across_half_mm, along_half_mm, across_half_mm)
    ragged = float(rng.choice([0.0, rng.uniform(0.01, 0.12)]))
    return Opening.cut(rng, box, float(rng.choice([0.0, rng.uniform(0.3, 3)])), ragged, float(rng.uniform(0, 0.15)))
