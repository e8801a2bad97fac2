"""One picture by its seed: a rig, a strip and hazards drawn by lot, with exact truth about the frame in the middle."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.film_second import scenes
from tests.film_second.camera import Camera, Moment, Pose, Rig
from tests.film_second.damage import DAMAGES, Hazard
from tests.film_second.rigs import pick_rig
from tests.film_second.scenes import Rng
from tests.film_second.strip import Film, Frame, Opening, Stock, draw_film
from tethercap.film.formats import FilmFormat
from tethercap.film.kinds import FilmKind
from tethercap.pictures import F32Array, F64Array, U8Array
from tethercap.profile_files import load_film_format

TIERS = ("easy", "typical", "hard", "impossible")
TIER_SHARES = (0.3, 0.3, 0.28, 0.12)
FORMATS = ("135-36x24", "135-18x24", "135-65x24", "120-6x4.5", "120-6x6", "120-6x7", "120-6x9")
FORMAT_SHARES = (0.52, 0.1, 0.06, 0.07, 0.1, 0.08, 0.07)
SEEN_CODES = 5.0
"""Least step across an edge in display codes, averaged over 0.5 mm of its length, that an eye can tell."""
SEEN_NOISE = 3.0
"""Least step over the noise of such an average."""
SEEN_SHARE = 0.25
"""Share of an edge's length from which on it can be seen."""


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """A live picture and the truth about it."""

    seed: int
    pixels: U8Array
    tier: str
    hazards: tuple[str, ...]
    film_format: FilmFormat
    kind: FilmKind
    corners: F64Array
    """Clockwise from the top left, px, shape (4, 2): where mean straight lines through the edges meet."""
    seen: tuple[bool, bool, bool, bool]
    """Top, right, bottom, left: whether the edge can be seen."""
    shares: tuple[float, ...]
    """Share of each edge's length that can be seen."""
    mm_per_px: float


def draw(seed: int, tier: str | None = None) -> Drawn:
    """Draw the picture of a seed; the same seed always gives the same picture."""
    rng = np.random.default_rng([seed, 2])
    tier = tier or str(rng.choice(TIERS, p=TIER_SHARES))
    film_format = load_film_format(str(rng.choice(FORMATS, p=FORMAT_SHARES)))
    kind = FilmKind(rng.choice(["colour-negative", "bw-negative", "slide"], p=[0.5, 0.25, 0.25]))
    while True:
        hazards = _hazards(rng, tier, film_format)
        drawn = _draw(rng, seed, tier, film_format, kind, hazards)
        if drawn is not None:
            return drawn


def _hazards(rng: Rng, tier: str, film_format: FilmFormat) -> tuple[Hazard, ...]:
    if tier == "easy":
        return ()
    possible = [h for h in DAMAGES if h.tier == tier and (film_format.perforations is not None or not h.needs_135)]
    count = 1 if tier == "impossible" else int(rng.integers(1, 4 if tier == "hard" else 3))
    return tuple(possible[i] for i in rng.choice(len(possible), size=min(count, len(possible)), replace=False))


def _draw(
    rng: Rng, seed: int, tier: str, film_format: FilmFormat, kind: FilmKind, hazards: tuple[Hazard, ...]
) -> Drawn | None:
    names = {hazard.name for hazard in hazards}
    stock = Stock.pick(rng, kind)
    rig = pick_rig(rng, film_format, stock, tier)
    gap = rng.uniform(1.2, 2.6) if film_format.perforations else film_format.gap_mm + rng.uniform(-0.8, 1.0)
    setting = Setting(rng, film_format, stock, rig, max(gap, 0.8), rounded_mm=float(rng.uniform(0, 0.8)))
    for hazard in hazards:
        hazard.apply(setting)
    camera, pose = Camera(setting.rig), setting.pose()
    film = None if "bare light" in names else _strip(setting, camera)
    if "holder empty" in names or film is None:
        film = None
    lit = camera.clean(film, pose, setting.moment)
    for change in setting.on_light:
        change(rng, lit)
    pixels = camera.shown(lit, rng, setting.moment)
    corners = _corners(setting.frame, camera, pose, setting.moment)
    shares = edge_shares(setting.frame, camera, pose, setting.moment, lit) if film is not None else (0.0,) * 4
    seen = tuple(share >= SEEN_SHARE for share in shares)
    if not _fits_tier(tier, shares, seen):
        return None
    return Drawn(
        seed, pixels, tier, tuple(sorted(names)), film_format, kind, corners,
        (seen[0], seen[1], seen[2], seen[3]), shares, 1 / setting.rig.px_per_mm,
    )  # fmt: skip


def _fits_tier(tier: str, shares: tuple[float, ...], seen: tuple[bool, ...]) -> bool:
    """Whether what can be seen is what the tier says."""
    if tier == "easy":
        return min(shares) > 0.6
    placed = (seen[0] or seen[2]) and (seen[1] or seen[3])
    if tier == "impossible":
        return max(shares) < 0.05
    if tier == "typical":
        return placed and sum(seen) >= 3
    return placed


class Setting:
    """Everything about a picture before it is drawn; hazards change it."""

    def __init__(
        self, rng: Rng, film_format: FilmFormat, stock: Stock, rig: Rig, gap_mm: float, rounded_mm: float
    ) -> None:
        self.rng, self.film_format, self.stock, self.rig, self.gap_mm = rng, film_format, stock, rig, gap_mm
        self.rounded_mm, self.ragged_mm, self.bow_mm = (
            rounded_mm,
            float(rng.uniform(0, 0.03)),
            float(rng.uniform(0, 0.04)),
        )
        f = film_format
        self.along_mm = f.along_mm + float(rng.uniform(-0.4, 0.5) if f.perforations else rng.uniform(-0.7, 0.7))
        self.across_mm = f.across_mm + float(rng.uniform(-0.3, 0.4) if f.perforations else rng.uniform(-0.6, 0.6))
        self.offset_mm = (float(rng.normal(0, 0.6)), float(rng.normal(0, 0.3)))
        self.turned_deg = float(rng.normal(0, 0.5))
        self.bow = 0.0
        self.scene = scenes.DAYLIGHT[int(rng.integers(len(scenes.DAYLIGHT)))]
        self.neighbours = scenes.DAYLIGHT
        self.gate_off_mm = float(rng.normal(0, 0.15))
        self.ends_mm = (-1e3, 1e3)
        self.penumbra_mm = float(rng.uniform(0.02, 0.08))
        self.moment = Moment()
        self.speed_mm_s = 0.0
        self.on_density: list[Callable[[Rng, F32Array, float], None]] = []
        self.on_light: list[Callable[[Rng, F32Array], None]] = []
        self.frame = self.gate(0.0)

    def gate(self, middle_mm: float) -> Frame:
        """A frame through this camera's gate at a place along the film."""
        rng, half, high = self.rng, self.along_mm / 2, self.across_mm / 2
        box = (middle_mm - half, self.gate_off_mm - high, middle_mm + half, self.gate_off_mm + high)
        scene = self.scene if middle_mm == 0 else self.neighbours[int(rng.integers(len(self.neighbours)))]
        return Frame(Opening.cut(rng, box, self.rounded_mm, self.ragged_mm, self.bow_mm), scene)

    def pose(self) -> Pose:
        """How the film lies in the holder."""
        return Pose(*self.offset_mm, self.turned_deg, self.speed_mm_s, self.bow)


def _strip(setting: Setting, camera: Camera) -> Film:
    """Draw the part of the strip that is in view."""
    rng, rig = setting.rng, setting.rig
    corners = np.array([[0, 0], [rig.width - 1, 0], [rig.width - 1, rig.height - 1], [0, rig.height - 1]], float)
    reach = float(np.abs(camera.to_holder(corners - np.array(rig.bars))).max()) + 4
    pitch = setting.along_mm + setting.gap_mm
    setting.frame = setting.gate(0.0)
    frames = [setting.gate(i * pitch) for i in range(-3, 4) if i != 0 and abs(i) * pitch < reach + pitch]
    frames.insert(len(frames) // 2, setting.frame)

    def damage(rng: Rng, density: F32Array, px_per_mm: float) -> None:
        for change in setting.on_density:
            change(rng, density, px_per_mm)

    return draw_film(
        rng, setting.film_format, setting.stock, frames, setting.ends_mm, (-reach, reach),
        min(1.15 * rig.px_per_mm, 40.0),
        penumbra_mm=setting.penumbra_mm, damage=damage, print_on_edge=bool(rng.random() < 0.85),
    )  # fmt: skip


def _lines(frame: Frame, camera: Camera, pose: Pose, moment: Moment) -> list[tuple[F64Array, F64Array]]:
    """Mean straight line through each edge as the view shows it: a point and a direction."""
    lines = []
    for edge in range(4):
        points = camera.project(frame.opening.edge_points(edge), pose, moment)
        middle = points.mean(axis=0)
        direction = np.linalg.svd(points - middle, full_matrices=False)[2][0]
        lines.append((middle, direction))
    return lines


def _corners(frame: Frame, camera: Camera, pose: Pose, moment: Moment) -> F64Array:
    lines = _lines(frame, camera, pose, moment)
    corners = []
    for side in range(4):
        (p, d), (q, e) = lines[side - 1], lines[side]
        t, _ = np.linalg.solve(np.stack([d, -e], axis=1), q - p)
        corners.append(p + t * d)
    return np.array(corners)


def edge_shares(frame: Frame, camera: Camera, pose: Pose, moment: Moment, lit: F32Array) -> tuple[float, ...]:
    """Share of each edge's length with a step that can be told from the noise."""
    rig, tone = camera.rig, camera.tone_of(lit, moment)
    soft_mm = 1.5 * rig.blur_px / rig.px_per_mm
    outward = np.array([[0, -1], [1, 0], [0, 1], [-1, 0]], float)
    shares = []
    for edge in range(4):
        points = frame.opening.edge_points(edge, 160)
        told = np.zeros(len(points), bool)
        # A narrow rim between edge and holder shows the edge as well as a broad one.
        for away_mm in (0.12 + soft_mm, 0.35 + soft_mm):
            inside = camera.project(points - outward[edge] * away_mm, pose, moment)
            outside = camera.project(points + outward[edge] * away_mm, pose, moment)
            steps, valid = _step(tone, inside, outside)
            valid = valid & camera.is_open(inside) & camera.is_open(outside)
            told |= valid & (steps > np.maximum(SEEN_CODES, SEEN_NOISE * _noise(rig, tone, outside)))
        shares.append(float(told.mean()))
    return tuple(shares)


def _noise(rig: Rig, tone: F32Array, places: F64Array) -> F64Array:
    """Noise of the mean over half a millimetre each way, codes: shot and dark noise through the tone curve."""
    limit = np.array([tone.shape[1] - 1, tone.shape[0] - 1])
    x, y = np.clip(np.round(places), 0, limit).astype(int).T
    signal = np.clip(tone[y, x].mean(axis=1) / 255, 0.02, 1).astype(np.float64) ** rig.gamma
    slope = 255 / rig.gamma * signal ** (1 / rig.gamma - 1)
    return np.asarray(slope * np.sqrt(rig.noise**2 * signal + rig.dark_noise**2) / max(0.5 * rig.px_per_mm, 1.0))


def _step(tone: F32Array, inside: F64Array, outside: F64Array) -> tuple[F64Array, npt.NDArray[np.bool_]]:
    """Largest step of any channel from inside to outside of an edge, and where both lie in the view."""
    high, wide = tone.shape[:2]
    limit = np.array([wide - 1, high - 1])
    valid = np.all((inside >= 0) & (inside <= limit) & (outside >= 0) & (outside <= limit), axis=1)
    a, b = (np.clip(np.round(p), 0, limit).astype(int) for p in (inside, outside))
    difference = tone[b[:, 1], b[:, 0]] - tone[a[:, 1], a[:, 0]]
    return np.abs(difference).max(axis=1).astype(np.float64), valid
