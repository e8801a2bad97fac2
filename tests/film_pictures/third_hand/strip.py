"""A strip of film: frames exposed one after the other, print and bar code on the edges, perforations.

Film lies along u, across it is v (from its middle, down), both in mm. What falls on the film is added up as light, so
that frames which overlap, leaks and fog come out as they do on film. Perforations after ISO 1007 (KS: 1.981 x 2.794 mm
every 4.750 mm, 2.01 mm from the edge, corners 0.51 mm).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from tests.film_pictures.third_hand.emulsion import Stock, density
from tests.film_pictures.third_hand.gate import Gate
from tests.film_pictures.third_hand.scenes import Scene
from tethercap.film.formats import FilmFormat
from tethercap.film.kinds import FilmKind
from tethercap.pictures import F32Array, F64Array

PERFORATION_CORNER_MM = 0.51
MODULE_MM = 0.458
"""Bar code of the film's edge, as measured on a photograph."""


@dataclass(frozen=True, slots=True)
class Exposure:
    """One frame."""

    scene: Scene | None
    """None: the shutter never opened here."""
    centre_mm: float
    over_stops: float
    seed: int


@dataclass(frozen=True, slots=True)
class Leak:
    """Light that came in at an edge of the film."""

    u_mm: float
    width_mm: float
    reach_mm: float
    from_top: bool
    strength: float


@dataclass(frozen=True, slots=True, eq=False)
class Strip:
    """What is on a strip; `raster` makes it visible."""

    film_format: FilmFormat
    stock: Stock
    gate: Gate
    exposures: Sequence[Exposure]
    from_mm: float
    to_mm: float
    """Where the strip was cut."""
    perforation_at_mm: float
    """Leading edge of one perforation."""
    gate_v_mm: float
    """Middle of the frames, from the middle of the film."""
    fog: float = 0.0
    """Light all over."""
    leaks: tuple[Leak, ...] = ()
    edge_print: bool = True
    bar_code: bool = False
    seed: int = 0
    lead_mm: float = 0.0
    """So much of the strip's beginning got all the light while the film was loaded."""

    def corners_mm(self, frame: int) -> F64Array:
        """Corners of a frame on the film, (4, 2)."""
        corners: F64Array = self.gate.corners_mm() + np.array([self.exposures[frame].centre_mm, self.gate_v_mm])
        return corners


@dataclass(frozen=True, slots=True, eq=False)
class Raster:
    """Share of light that film lets through, height x width x 3, and where on the film that is."""

    through: F32Array
    px_per_mm: float
    u0_mm: float
    """Middle of the first column."""
    v0_mm: float


def raster(strip: Strip, u0_mm: float, u1_mm: float, margin_mm: float, px_per_mm: float) -> Raster:
    """Develop a part of a strip, with so much of the surroundings across the film."""
    half = strip.film_format.strip_width_mm / 2
    v0 = -half - margin_mm
    width, height = round((u1_mm - u0_mm) * px_per_mm) + 1, round(2 * (half + margin_mm) * px_per_mm) + 1
    u = (u0_mm + np.arange(width, dtype=np.float32) / px_per_mm)[None, :]
    v = (v0 + np.arange(height, dtype=np.float32) / px_per_mm)[:, None]
    light = np.full((height, width, 3), strip.fog, np.float32)
    for exposure in strip.exposures:
        _expose(light, strip, exposure, u, v)
    for leak in strip.leaks:
        from_edge = (half + v) if leak.from_top else (half - v)
        spot = np.exp(-(((u - leak.u_mm) / leak.width_mm) ** 2)) * np.exp(-np.maximum(from_edge, 0) / leak.reach_mm)
        light += leak.strength * spot[:, :, None] * np.array([1.0, 0.55, 0.25], np.float32)
    if strip.lead_mm:
        beyond_mm = np.clip(u - strip.from_mm - strip.lead_mm, -5, 5)
        light += 30 / (1 + np.exp(8 * beyond_mm))[:, :, None]
    if strip.edge_print:
        _print_edges(light, strip, u, v, px_per_mm)
    blackened = density(strip.stock, light)
    rng = np.random.default_rng([strip.seed, 3])
    above = np.maximum(blackened - strip.stock.least, 0)
    grain = strip.stock.grain * max(px_per_mm * 0.05, 0.5) * np.sqrt(above + 0.05)
    colours = 1 if strip.stock.kind is FilmKind.BW_NEGATIVE else 3
    blackened += grain * rng.standard_normal((height, width, colours), np.float32)
    through = np.power(np.float32(10), -np.maximum(blackened, 0))
    bare = _without_film(strip, u, v, px_per_mm)[:, :, None]
    return Raster((through * (1 - bare) + bare).astype(np.float32), px_per_mm, u0_mm, v0)


def _expose(light: F32Array, strip: Strip, exposure: Exposure, u: F32Array, v: F32Array) -> None:
    """Add the light of one frame, where it is within the raster."""
    if exposure.scene is None:
        return
    reach_u, reach_v = strip.gate.half_along_mm + 1, strip.gate.half_across_mm + 1
    columns = np.flatnonzero(np.abs(u[0] - exposure.centre_mm) < reach_u)
    rows = np.flatnonzero(np.abs(v[:, 0] - strip.gate_v_mm) < reach_v)
    if len(columns) < 2 or len(rows) < 2:
        return
    part = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    # A scene is drawn for the whole frame, and its part taken, so that it is the same in every raster.
    step = float(u[0, 1] - u[0, 0])
    whole = exposure.scene(
        np.random.default_rng(exposure.seed), round(2 * reach_v / step) + 2, round(2 * reach_u / step) + 2
    )
    left = round((float(u[0, columns[0]]) - exposure.centre_mm + reach_u) / step)
    seen = whole[: len(rows), left : left + len(columns)]
    share = strip.gate.light_share(
        u[:, part[1]] - np.float32(exposure.centre_mm), v[part[0]] - np.float32(strip.gate_v_mm)
    )
    light[part] += seen * share[:, :, None] * np.float32(2.0**exposure.over_stops)


def _print_edges(light: F32Array, strip: Strip, u: F32Array, v: F32Array, px_per_mm: float) -> None:
    """Add what the maker exposed on the edges: numbers, an invented name, arrows, bars."""
    rng = np.random.default_rng([strip.seed, 4])
    half, pitch = strip.film_format.strip_width_mm / 2, strip.film_format.pitch_mm
    printed = np.zeros(light.shape[:2], np.uint8)
    height_mm = 1.3
    scale = height_mm * px_per_mm / 22  # the font's capitals are 22 px high at scale 1
    thick = max(1, round(0.16 * px_per_mm))
    row = {"top": -half + 1.75, "bottom": half - 0.45}
    first = int(np.floor(u[0, 0] / pitch)) - 1
    for k in range(first, first + int((u[0, -1] - u[0, 0]) / pitch) + 4):
        for edge, text, at in (
            ("top", f"{k % 40}", 0.0), ("top", f"{k % 40}A", 0.5), ("bottom", "SAMPLE FILM 200", 0.12),
            ("bottom", f"> {k % 40}", 0.75),
        ):  # fmt: skip
            place = (
                int(((k + at) * pitch + rng.normal(0, 0.05) - u[0, 0]) * px_per_mm),
                int((row[edge] - v[0, 0]) * px_per_mm),
            )
            cv2.putText(printed, text, place, cv2.FONT_HERSHEY_SIMPLEX, scale, 255, thick, cv2.LINE_AA)
    mask = printed.astype(np.float32) / 255
    if strip.bar_code:
        depth = half - v[:, 0]
        for repeat in range(2 * first, 2 * (first + 8)):
            bits = np.concatenate([[1, 0, 1, 0, 1, 0], rng.integers(0, 2, 21), [0, 1, 0, 1]])
            clock = np.concatenate([np.ones(5), np.tile([0, 1], 12), [1, 1]])[:31]
            module = np.floor((u[0] - repeat * pitch / 2 - 2) / MODULE_MM).astype(int)
            inside = (module >= 0) & (module < 31)
            for track, near, far in ((bits, 0.0, 1.0), (clock, 1.0, 2.3)):
                on = np.where(inside, track[np.clip(module, 0, 30)], 0)
                mask = np.maximum(mask, ((depth >= near) & (depth < far))[:, None] * on[None, :].astype(np.float32))
    light += (0.9 * mask)[:, :, None] * np.array([1.0, 0.8, 0.3], np.float32)


def _without_film(strip: Strip, u: F32Array, v: F32Array, px_per_mm: float) -> F32Array:
    """Share of each pixel without film: perforations, beside the film, beyond its ends."""
    half = strip.film_format.strip_width_mm / 2
    inside = np.minimum(half - np.abs(v), np.minimum(u - strip.from_mm - 0.01 * v, strip.to_mm - u - 0.01 * v))
    bare = np.clip(0.5 - inside * px_per_mm, 0, 1)
    holes = strip.film_format.perforations
    if holes is not None:
        along = np.mod(u - strip.perforation_at_mm, holes.pitch_mm) - holes.along_mm / 2
        across = half - np.abs(v) - holes.edge_mm - holes.across_mm / 2
        r = PERFORATION_CORNER_MM
        dx, dy = np.abs(along) - holes.along_mm / 2 + r, np.abs(across) - holes.across_mm / 2 + r
        outside = np.hypot(np.maximum(dx, 0), np.maximum(dy, 0)) + np.minimum(np.maximum(dx, dy), 0) - r
        bare = np.maximum(bare, np.clip(0.5 - outside * px_per_mm, 0, 1))
    return bare.astype(np.float32)
