"""Random pictures of film by tier, each with its truth: corners, which edges can be seen, kind, scale, hazards."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from tests.film_pictures import camera
from tests.film_pictures.hazards import HAZARDS, IMPOSSIBLE, TYPICAL
from tests.film_pictures.setups import Setup, well_behaved
from tests.film_pictures.strip import FORMATS, draw_strip, frame_corners_mm

TIERS = ("easy", "typical", "hard", "impossible")
VISIBLE_STEP = 7.0
"""Codes between inside and outside from which on a piece of an edge can be seen."""
VISIBLE_SHARE = 0.25
"""Share of its length from which on an edge counts as one that can be seen."""
NOTHING_SHARE = 0.05
"""Share below which nothing of an edge can be seen."""


@dataclass(frozen=True, eq=False)
class Case:
    """One picture and the truth about it."""

    seed: int
    tier: str
    hazards: tuple[str, ...]
    picture: npt.NDArray[np.uint8]
    jpeg: bytes
    corners_px: npt.NDArray[np.float64] | None
    """Shape (4, 2), or None where there is no frame."""
    seen_share: tuple[float, float, float, float]
    """Share of each edge that can be seen: top, right, bottom, left."""
    kind: str
    format_id: str
    mm_per_px: float
    tilt_deg: float
    offset_mm: tuple[float, float]

    @property
    def visible(self) -> tuple[bool, ...]:
        """Which edges can be seen: top, right, bottom, left."""
        return tuple(share >= VISIBLE_SHARE for share in self.seen_share)


def make_case(
    seed: int,
    tier: str,
    *,
    hazards: tuple[str, ...] | None = None,
    film_format: str | None = None,
    kind: str | None = None,
) -> Case:
    """Draw one picture.

    Parameters
    ----------
    seed : int
        Everything left open follows from it.
    tier : str
        One of `TIERS`. A picture whose edges turn out hidden is given the tier it deserves.
    hazards : tuple of str or None
        Names from `HAZARDS` or `IMPOSSIBLE`; None takes some that fit the tier.
    film_format, kind : str or None
        Fixed where given.
    """
    rng = np.random.default_rng([seed, TIERS.index(tier)])
    weights = np.array([0.5, 0.1, 0.06, 0.08, 0.1, 0.08, 0.08])
    chosen = next((f for f in FORMATS if f.id == film_format), FORMATS[rng.choice(len(FORMATS), p=weights)])
    kind = kind or str(rng.choice(["colour-negative", "bw-negative", "slide"], p=[0.5, 0.25, 0.25]))
    setup = well_behaved(rng, chosen, kind)
    names = _choose(rng, tier) if hazards is None else hazards
    for name in names:
        (HAZARDS | IMPOSSIBLE)[name](setup, rng)
    if setup.strip.pictures:
        # Hazards may move the view: the truth is about the frame nearest its middle.
        half = setup.strip.gate.along / 2
        away = [abs(p.left_mm + half - setup.at_mm[0]) for p in setup.strip.pictures]
        setup.index = int(np.argmin(away))
    return _render(setup, rng, seed, tier, names)


def _choose(rng: np.random.Generator, tier: str) -> tuple[str, ...]:
    if tier == "easy":
        return ()
    if tier == "typical":
        return tuple(str(n) for n in rng.choice(TYPICAL, 1))
    if tier == "hard":
        return tuple(str(n) for n in rng.choice(list(HAZARDS), rng.integers(1, 4), replace=False))
    return (str(rng.choice(list(IMPOSSIBLE))),)


def _render(s: Setup, rng: np.random.Generator, seed: int, tier: str, names: tuple[str, ...]) -> Case:
    view, strip = s.view, s.strip
    reach = view.width / view.px_per_mm / 2 + 4
    scale = min(view.px_per_mm * 1.2, 40.0)
    left = s.at_mm[0] - reach
    film, ys = draw_strip(strip, rng, left, s.at_mm[0] + reach, scale)
    top = float(ys[0]) - 0.5 / scale
    light, cover = camera.look(view, film, left, top, scale, s.at_mm, rng)
    picture = camera.develop(view, light, rng)
    if s.upright:
        picture = np.ascontiguousarray(np.rot90(picture, -1))
    jpeg = camera.as_jpeg(view, picture)
    decoded = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)
    assert decoded is not None
    corners, shares = None, (0.0, 0.0, 0.0, 0.0)
    tilt, offset = 0.0, (0.0, 0.0)
    if strip.pictures:
        corners = camera.project(view, frame_corners_mm(strip, strip.pictures[s.index]), *s.at_mm)
        clean = camera.develop(replace(view, noise=0, sharpen=0, blur_px=0, motion_px=0), light, rng, noisy=False)
        shares = seen_shares(clean, cover, corners, view.px_per_mm, (view.bars_px[0], view.bars_px[1]))
        if s.upright:
            corners = np.column_stack([view.height - 1 - corners[:, 1], corners[:, 0]])[[3, 0, 1, 2]]
            shares = (shares[3], shares[0], shares[1], shares[2])
        tilt, offset = _lie(corners, picture.shape[1], picture.shape[0], view.px_per_mm)
    return Case(
        seed, _deserved(tier, shares), names, np.asarray(decoded, np.uint8), jpeg, corners, shares, strip.kind,
        strip.format.id,
        1 / view.px_per_mm, tilt, offset,
    )  # fmt: skip


def _deserved(tier: str, shares: tuple[float, float, float, float]) -> str:
    """Tier by what can be seen: no picture is easy because it was meant to be.

    "open" are pictures in which some edge can be seen, but not one each way: an answer may be had, none is demanded.
    """
    visible = [share >= VISIBLE_SHARE for share in shares]
    if max(shares) < NOTHING_SHARE:
        return "impossible"
    if not ((visible[0] or visible[2]) and (visible[1] or visible[3])):
        return "open"
    if tier == "impossible" or (sum(visible) < 3 and tier != "hard"):
        return "hard"
    return "typical" if tier == "easy" and min(shares) < 0.9 else tier


def _lie(
    corners: npt.NDArray[np.float64], width: int, height: int, px_per_mm: float
) -> tuple[float, tuple[float, float]]:
    along = (corners[1] - corners[0]) + (corners[2] - corners[3])
    middle = np.array([(width - 1) / 2, (height - 1) / 2])
    offset = (corners.mean(axis=0) - middle) / px_per_mm
    return float(np.degrees(np.arctan2(along[1], along[0]))), (float(offset[0]), float(offset[1]))


def seen_shares(
    picture: npt.NDArray[np.uint8],
    cover: npt.NDArray[np.float32],
    corners: npt.NDArray[np.float64],
    px_per_mm: float,
    bars_px: tuple[int, int],
) -> tuple[float, float, float, float]:
    """Share of each edge along which inside and outside differ in a picture without noise or blur."""
    height, width = picture.shape[:2]
    smooth = cv2.GaussianBlur(picture, (0, 0), 1.0).astype(np.float32)
    shares = []
    for side in range(4):
        start, end = corners[side], corners[(side + 1) % 4]
        along = (end - start) / np.hypot(*(end - start))
        inward = np.array([-along[1], along[0]])
        u = np.linspace(0.02, 0.98, 200)[:, None]
        points = start + (end - start) * u
        tones, hidden = [], np.zeros(200, bool)
        for distance in (-0.2 * px_per_mm - 1, 0.2 * px_per_mm + 1):
            at = points + inward * distance
            inside = (
                (at[:, 0] >= bars_px[0])
                & (at[:, 0] <= width - 1 - bars_px[0])
                & (at[:, 1] >= bars_px[1])
                & (at[:, 1] <= height - 1 - bars_px[1])
            )
            ix, iy = (
                np.clip(np.rint(at[:, 0]), 0, width - 1).astype(int),
                np.clip(np.rint(at[:, 1]), 0, height - 1).astype(int),
            )
            tones.append(smooth[iy, ix])
            hidden |= ~inside | (cover[iy, ix] > 0.05)
        step = np.abs(tones[0] - tones[1]).mean(axis=1)
        shares.append(float(((step > VISIBLE_STEP) & ~hidden).mean()))
    return (shares[0], shares[1], shares[2], shares[3])
