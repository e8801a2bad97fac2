"""Pictures of film in a holder with their truth, by seed and tier."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tests.film_pictures.cases import TIERS, Case
from tests.film_pictures.third_hand import sensor, setting, stand
from tests.film_pictures.third_hand.strip import Raster, Strip, raster
from tests.film_pictures.third_hand.wear import wear
from tethercap.pictures import F32Array, F64Array, U8Array
from tethercap.profile_files import load_film_format

VISIBLE_CODES = 5.0
"""A piece of an edge can be seen when it makes so many codes, and no less than the noise."""
SEEN_SHARE, NOTHING_SHARE = 0.25, 0.05
"""An edge counts as one that can be seen from the first share of its length on; up to the second nothing of it can."""
BESIDE_MM = (0.15, 0.3, 0.45)
"""Where light is compared on both sides of an edge."""


@dataclass(frozen=True, slots=True, eq=False)
class Lit:
    """Picture of film and what it was made of, to tell what of it can be seen."""

    pixels: U8Array
    local: F32Array
    """Light that bare film plane would give at each pixel, in shares of full scale, RGB."""
    veil: F32Array
    """Light that comes on top of it."""
    sensor: sensor.Sensor


def render(scene: setting.Setting, film: Raster, rng: np.random.Generator) -> Lit:
    """Photograph film in its holder."""
    optics, finer = scene.optics, scene.finer
    x_px, y_px = stand.grid(optics, finer)
    x_mm, y_mm = stand.to_table(optics, x_px, y_px)
    through = stand.look_up(film, *stand.to_film(optics, scene.pose, x_mm, y_mm))
    free = stand.opened(scene.opening, x_mm, y_mm) * setting.hands(scene, x_mm, y_mm)
    lamp = setting.panel(scene, x_mm, y_mm) * stand.vignetting(optics, x_px, y_px) * free
    light = sensor.line_skipped(stand.blurred(optics, through * lamp[:, :, None], finer), finer, scene.sensor.skip)
    local = sensor.line_skipped(stand.blurred(optics, lamp, finer), finer, 1)
    small_x, small_y = stand.to_table(optics, *stand.grid(optics, 1))
    veil = setting.veil(scene, light, small_x, small_y, local)
    base = setting.clear_film(scene.stock)
    made = sensor.exposed_for(scene.sensor, light + veil, local, base, rng)
    flicker = sensor.flicker(optics.height_px, *scene.flicker)
    seen = sensor.gained(made, (light + veil) * flicker)
    pixels = sensor.codes(made, seen, rng.standard_normal(seen.shape, np.float32), (optics.bar_x_px, optics.bar_y_px))
    return Lit(pixels, sensor.gained(made, local[:, :, None]), sensor.gained(made, veil), made)


def seen_shares(scene: setting.Setting, lit: Lit, clean: Raster, strip: Strip, frame: int) -> tuple[float, ...]:
    """Share of each edge of a frame that can be seen: top, right, bottom, left.

    What the film itself does on both sides is compared under the light of the darker one: where the holder ends beside
    an edge it is the holder that is seen.
    """
    corners = strip.corners_mm(frame)
    noise = 255 * lit.sensor.noise / (1 + 2 * lit.sensor.smooth_px)
    shares = []
    for side in range(4):
        start, end = corners[side], corners[(side + 1) % 4]
        along = (end - start) / np.hypot(*(end - start))
        outward = np.array([along[1], -along[0]])
        points = start + np.linspace(0.02, 0.98, 97)[:, None] * (end - start)
        steps = [_step(scene, lit, clean, points, mm * outward) for mm in BESIDE_MM]
        step = np.abs(_smoothed(np.mean(steps, axis=0))).max(axis=1)
        shares.append(float((step >= max(VISIBLE_CODES, noise)).mean()))
    return tuple(shares)


def _step(scene: setting.Setting, lit: Lit, clean: Raster, points: F64Array, outward: F64Array) -> F32Array:
    """Codes by which film differs between two places `outward` mm to either side; 0 where one is out of view."""
    o = scene.optics
    through, local, veil = [], [], []
    both = np.full(len(points), True)
    for film in (points - outward, points + outward):
        px = stand.to_view(o, scene.pose, film)
        both &= (px[:, 0] > o.bar_x_px + 2) & (px[:, 0] < o.width_px - o.bar_x_px - 3)
        both &= (px[:, 1] > o.bar_y_px + 2) & (px[:, 1] < o.height_px - o.bar_y_px - 3)
        column = np.clip(np.rint(px[:, 0]), 0, o.width_px - 1).astype(int)
        row = np.clip(np.rint(px[:, 1]), 0, o.height_px - 1).astype(int)
        through.append(stand.look_up(clean, film[:, :1], film[:, 1:])[:, 0])
        local.append(lit.local[row, column])
        veil.append(lit.veil[row, column])
    darker, over = np.minimum(*local), (veil[0] + veil[1]) / 2
    inner, outer = (255 * sensor.tone(lit.sensor, part * darker + over) for part in through)
    return np.asarray((inner - outer) * both[:, None], np.float32)


def _smoothed(step: F32Array) -> F32Array:
    kernel = np.ones(5) / 5
    return np.stack([np.convolve(step[:, c], kernel, "same") for c in range(3)], axis=1).astype(np.float32)


def tier_of(shares: Sequence[float], drawn_as: str) -> str:
    """Tier a picture deserves: with nothing to see one way "impossible", with less than an edge each way "open"."""
    top, right, bottom, left = shares
    if max(top, bottom) <= NOTHING_SHARE or max(left, right) <= NOTHING_SHARE:
        return "impossible"
    if max(top, bottom) < SEEN_SHARE or max(left, right) < SEEN_SHARE:
        return "open"
    return "hard" if drawn_as == "impossible" else drawn_as


def make_case(seed: int, tier: str) -> Case:
    """Draw the picture of a seed."""
    rng = np.random.default_rng([seed, 77, TIERS.index(tier)])
    scene = setting.any_setting(rng, tier, load_film_format)
    half_mm = scene.optics.half_diagonal_px * scene.optics.mm_per_px * 1.08 + 1
    px_per_mm = min(1.25 / scene.optics.mm_per_px, 55.0)
    at = -scene.pose.x_mm
    clean = raster(scene.strip, at - half_mm, at + half_mm, 2.0, px_per_mm)
    lit = render(scene, wear(clean, scene.worn, rng), rng)
    corners = stand.to_view(scene.optics, scene.pose, scene.strip.corners_mm(scene.frame))
    shares = seen_shares(scene, lit, clean, scene.strip, scene.frame)
    off = (corners.mean(axis=0) - scene.optics.middle_px) * scene.optics.mm_per_px
    top, bottom = corners[1] - corners[0], corners[2] - corners[3]
    tilt = float(np.degrees([np.arctan2(top[1], top[0]), np.arctan2(bottom[1], bottom[0])]).mean())
    deserved = "open" if "blurred away" in scene.hazards else tier_of(shares, tier)
    return Case(
        seed, deserved, scene.hazards, lit.pixels, b"", None if deserved == "impossible" else corners,
        (shares[0], shares[1], shares[2], shares[3]), scene.stock.kind.value,
        scene.strip.film_format.id, scene.optics.mm_per_px,
        tilt, (float(off[0]), float(off[1])),
    )  # fmt: skip
