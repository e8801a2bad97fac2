"""A strip of film drawn in millimetres as densities, with exact places of its frames."""

from dataclasses import dataclass, field

import cv2
import numpy as np
import numpy.typing as npt

from tests.film_pictures.contents import content, noise_field

F32 = npt.NDArray[np.float32]


@dataclass(frozen=True)
class Format:
    """Sizes in mm; perforated where `holes`."""

    id: str
    along: float
    across: float
    pitch: float
    width: float
    holes: bool


FORMATS = (
    Format("135-36x24", 36.0, 24.0, 38.0, 34.975, True),
    Format("135-18x24", 18.0, 24.0, 19.0, 34.975, True),
    Format("135-65x24", 65.0, 24.0, 69.6667, 34.975, True),
    Format("120-6x4.5", 41.5, 56.0, 45.0, 61.5, False),
    Format("120-6x6", 56.0, 56.0, 62.0, 61.5, False),
    Format("120-6x7", 70.0, 56.0, 75.0, 61.5, False),
    Format("120-6x9", 84.0, 56.0, 90.0, 61.5, False),
)


@dataclass
class Gate:
    """The camera's gate, the same for every frame of a strip."""

    along: float
    across: float
    y_mm: float = 0.0
    tilt_deg: float = 0.0
    radius_mm: float = 0.2
    ragged_mm: float = 0.0
    bow_mm: float = 0.0
    soft_mm: float = 0.03
    notches: int = 0


@dataclass
class Picture:
    """One exposure on the strip: its left edge, what is on it."""

    left_mm: float
    scene: str | None = None
    blank: bool = False
    night: float = 0.0
    """0..1: how much of the picture, from a random side, got no light."""
    fogged: bool = False


@dataclass
class Strip:
    """What is drawn."""

    kind: str
    format: Format
    gate: Gate
    pictures: list[Picture]
    start_mm: float
    """Film's left end, mm."""
    end_mm: float
    base: tuple[float, float, float] = (0.3, 0.3, 0.3)
    gamma: float = 0.6
    top_density: float = 2.2
    fog: float = 0.0
    print_amount: float = 1.0
    leak: float = 0.0
    scratches: int = 0
    splice_mm: float | None = None
    hole_phase_mm: float = 0.0
    truth: list[F32] = field(default_factory=list)


def _bowed(gate: Gate, rng: np.random.Generator, at: F32, length: float) -> F32:
    """Offset of a gate edge from its mean straight line, mm, at places along it."""
    u = np.clip(at / length, -0.5, 0.5) * 2
    offset = np.float32(gate.bow_mm) * np.float32(rng.uniform(-1, 1)) * (u * u - 1 / 3)
    grid = np.linspace(-0.55 * length, 0.55 * length, max(8, int(length / rng.uniform(0.25, 2.0))))
    rough = rng.normal(0, gate.ragged_mm, grid.size)
    for _ in range(gate.notches if rng.random() < 0.5 else 0):
        centre = rng.uniform(-0.45, 0.45) * length
        rough += rng.uniform(0.2, 0.5) * (np.abs(grid - centre) < rng.uniform(0.3, 0.8))
    rough -= np.polyval(np.polyfit(grid, rough, 1), grid)
    return np.asarray(offset + np.interp(at, grid, rough), np.float32)


def _coverage(strip: Strip, rng: np.random.Generator, x: F32, y: F32, scale: float) -> F32:
    """Share of each pixel that lies in the gate; x and y are mm from the frame's centre, shapes (w,) and (h,)."""
    gate = strip.gate
    cos, sin = np.cos(np.radians(gate.tilt_deg)), np.sin(np.radians(gate.tilt_deg))
    gx = (x[None, :] * cos + y[:, None] * sin).astype(np.float32)
    gy = (-x[None, :] * sin + y[:, None] * cos).astype(np.float32)
    state = np.random.default_rng(rng.integers(2**32))
    left = gx + gate.along / 2 + _bowed(gate, state, y, gate.across)[:, None]
    right = gate.along / 2 - gx + _bowed(gate, state, y, gate.across)[:, None]
    top = gy + gate.across / 2 + _bowed(gate, state, x, gate.along)[None, :]
    bottom = gate.across / 2 - gy + _bowed(gate, state, x, gate.along)[None, :]
    dx, dy = np.minimum(left, right), np.minimum(top, bottom)
    radius = gate.radius_mm
    round_off = radius - np.hypot(np.clip(radius - dx, 0, None), np.clip(radius - dy, 0, None))
    distance = np.where((dx < radius) & (dy < radius), round_off, np.minimum(dx, dy))
    width = max(1 / scale, gate.soft_mm * 2)
    return np.asarray(np.clip(distance / width + 0.5, 0, 1), np.float32)


def _picture_density(strip: Strip, rng: np.random.Generator, picture: Picture, width: int, height: int) -> F32:
    exposure = content(rng, width, height, picture.scene)
    if strip.kind == "bw-negative":
        exposure = np.repeat(exposure.mean(axis=2, keepdims=True), 3, axis=2)
    if picture.night > 0:
        ramp = np.linspace(0, 1, width if rng.random() < 0.5 else height, dtype=np.float32)
        lit = np.clip((ramp - picture.night) * 8, 0, 1)
        lit = lit[::-1] if rng.random() < 0.5 else lit
        exposure = exposure * (lit[None, :, None] if ramp.size == width else lit[:, None, None])
    if picture.fogged:
        exposure = np.ones_like(exposure) * 30
    if picture.blank:
        exposure = np.zeros_like(exposure)
    if strip.kind == "slide":
        density = -strip.gamma * np.log10(np.clip(exposure, 1e-4, 1.2) / 1.2)
        return np.asarray(np.minimum(density, strip.top_density - 0.1), np.float32)
    stops = np.log10(np.clip(exposure, 1e-6, 50) / 0.006)
    exposed = np.clip(strip.gamma * stops, 0, None)
    return np.asarray(strip.top_density * (1 - np.exp(-exposed / strip.top_density)), np.float32)


def draw_strip(
    strip: Strip, rng: np.random.Generator, left_mm: float, right_mm: float, scale: float
) -> tuple[F32, F32]:
    """Draw the part of a strip between two places.

    Returns
    -------
    transmittance : ndarray
        Shape (height, width, 3), red, green, blue; 1 is bare light.
    ys : ndarray
        mm across the strip of each row, 0 at its middle.
    """
    margin = 14.0
    width = int((right_mm - left_mm) * scale)
    height = int((strip.format.width + 2 * margin) * scale)
    xs = (left_mm + (np.arange(width) + 0.5) / scale).astype(np.float32)
    ys = ((np.arange(height) + 0.5) / scale - strip.format.width / 2 - margin).astype(np.float32)
    base = np.array(strip.base, np.float32)
    density = np.broadcast_to(base + np.float32(strip.fog), (height, width, 3)).copy()
    if strip.kind == "slide":
        density[:] = base + strip.top_density
    for picture in strip.pictures:
        _expose(strip, rng, picture, density, xs, ys, scale)
    _mark(strip, rng, density, xs, ys)
    transmittance = 10.0**-density
    on_film = np.clip((strip.format.width / 2 - np.abs(ys)) * scale + 0.5, 0, 1)[:, None] * np.clip(
        np.minimum(xs - strip.start_mm, strip.end_mm - xs) * scale + 0.5, 0, 1
    )
    if strip.format.holes:
        on_film = on_film * (1 - _holes(strip, xs, ys, scale))
    result: F32 = (1 + on_film[..., None] * (transmittance - 1)).astype(np.float32)
    return result, ys


def _expose(
    strip: Strip, rng: np.random.Generator, picture: Picture, density: F32, xs: F32, ys: F32, scale: float
) -> None:
    gate = strip.gate
    centre = picture.left_mm + gate.along / 2
    cols = np.flatnonzero(np.abs(xs - centre) < gate.along / 2 + 3)
    rows = np.flatnonzero(np.abs(ys - gate.y_mm) < gate.across / 2 + 3)
    if cols.size < 2:
        return
    cover = _coverage(strip, rng, xs[cols] - centre, ys[rows] - gate.y_mm, scale)
    full_width = int((gate.along + 2) * scale)
    image = _picture_density(strip, rng, picture, full_width, int((gate.across + 2) * scale))
    px = np.clip(((xs[cols] - centre + gate.along / 2 + 1) * scale).astype(int), 0, image.shape[1] - 1)
    py = np.clip(((ys[rows] - gate.y_mm + gate.across / 2 + 1) * scale).astype(int), 0, image.shape[0] - 1)
    added = image[np.ix_(py, px)] * cover[..., None]
    place = np.ix_(rows, cols)
    if strip.kind == "slide":
        covered = cover[..., None]
        density[place] = density[place] * (1 - covered) + added + np.array(strip.base, np.float32) * covered
    else:
        density[place] += added


def _mark(strip: Strip, rng: np.random.Generator, density: F32, xs: F32, ys: F32) -> None:
    """Edge print, bar codes, leak, scratches, splice tape, grain."""
    sign = -1.0 if strip.kind == "slide" else 1.0
    amount = np.float32(sign * 1.5 * strip.print_amount) * (0.7 if strip.format.holes else 0.9)
    half = strip.format.width / 2
    for side in (-1, 1):
        band = (np.abs(side * ys - (half - 1.0)) < (0.7 if strip.format.holes else 0.5)).astype(np.float32)
        module = np.floor(xs / 0.46).astype(int)
        bars = np.random.default_rng(rng.integers(2**32)).random(int(module.max() - module.min()) + 1) < 0.45
        words = np.repeat(rng.random(int((xs[-1] - xs[0]) / 6) + 2) < 0.6, 1)[((xs - xs[0]) / 6).astype(int)]
        density += (band[:, None] * (bars[module - module.min()] & words)[None, :] * amount)[..., None] * np.array(
            [0.9, 1.0, 0.8], np.float32
        )
    if strip.leak > 0:
        centre = rng.choice([p.left_mm for p in strip.pictures] or [0.0])
        glow = (
            np.exp(-(((xs - centre) / rng.uniform(0.8, 4)) ** 2))[None, :]
            * np.clip(0.5 + np.float32(rng.choice([-1, 1])) * ys / half, 0, 1)[:, None]
        )
        density += (sign * strip.leak * glow)[..., None] * np.array([0.6, 0.9, 1.0], np.float32)
    for _ in range(strip.scratches):
        y = rng.uniform(-half, half)
        density += (np.abs(ys - y) < 0.03)[:, None, None] * np.float32(rng.choice([-0.3, 0.4]))
    if strip.splice_mm is not None:
        density += (np.abs(xs - strip.splice_mm) < 6)[None, :, None] * np.float32(0.12)
    grain = rng.normal(0, 0.03, (density.shape[0] // 2 + 1, density.shape[1] // 2 + 1, 1)).astype(np.float32)
    density += cv2.resize(grain, (density.shape[1], density.shape[0]))[..., None]
    np.clip(density, 0.02, 4.0, out=density)


def _holes(strip: Strip, xs: F32, ys: F32, scale: float) -> F32:
    """Perforations of type KS: 1.981 by 2.794 mm, pitch 4.75 mm, 2.01 mm from the edge, corners of 0.51 mm."""
    along = np.abs((xs - strip.hole_phase_mm + 2.375) % 4.75 - 2.375)
    across = np.abs(np.abs(ys) - (strip.format.width / 2 - 2.01 - 1.397))
    dx, dy = (along - (0.9905 - 0.51))[None, :], (across - (1.397 - 0.51))[:, None]
    distance = np.hypot(np.clip(dx, 0, None), np.clip(dy, 0, None)) + np.minimum(np.maximum(dx, dy), 0) - 0.51
    return np.asarray(np.clip(0.5 - distance * scale, 0, 1), np.float32)


def frame_corners_mm(strip: Strip, picture: Picture) -> F32:
    """Corners where the mean straight gate edges meet, mm along and across, shape (4, 2), clockwise from the top
    left."""
    gate = strip.gate
    cos, sin = np.cos(np.radians(gate.tilt_deg)), np.sin(np.radians(gate.tilt_deg))
    x, y = gate.along / 2, gate.across / 2
    local = np.array([(-x, -y), (x, -y), (x, y), (-x, y)])
    turned = local @ np.array([[cos, sin], [-sin, cos]])
    return np.asarray(turned + np.array((picture.left_mm + x, gate.y_mm)), np.float32)


__all__ = ["FORMATS", "Format", "Gate", "Picture", "Strip", "draw_strip", "frame_corners_mm", "noise_field"]
