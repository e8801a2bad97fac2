"""A strip of film in millimetres: frames through a gate, perforations, edge print, ends; as a raster of transmittance.

x runs along the film from the middle of the first frame, y across it from the middle of the strip, mm.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import cv2
import numpy as np

from tests.film_second.scenes import Rng
from tethercap.film.formats import FilmFormat
from tethercap.film.kinds import FilmKind
from tethercap.pictures import F32Array, F64Array

_WOBBLE_POINTS = 512


@dataclass(frozen=True, slots=True, eq=False)
class Opening:
    """A rectangle as metal, plastic or paint really has it: rounded, bowed, ragged. A gate, or a holder's opening."""

    left: float
    top: float
    right: float
    bottom: float
    radius: float = 0.0
    wobbles: F64Array = field(default_factory=lambda: np.zeros((4, _WOBBLE_POINTS)))
    """How far each edge (top, right, bottom, left) lies outside its nominal place, along its length, mm."""

    @classmethod
    def cut(
        cls, rng: Rng, box: tuple[float, float, float, float], radius: float, ragged: float, bow: float
    ) -> "Opening":
        """Cut an opening; `ragged` is a root mean square and `bow` the largest sagitta, mm."""
        across = np.linspace(-1, 1, _WOBBLE_POINTS)
        wobbles = np.zeros((4, _WOBBLE_POINTS))
        for edge in range(4):
            for points, share in ((6, 0.5), (40, 0.6), (160, 0.6)):
                rough = np.interp(across, np.linspace(-1, 1, points), rng.normal(size=points))
                wobbles[edge] += share * ragged * rough
            wobbles[edge] += rng.uniform(-bow, bow) * (1 - across**2)
        return cls(*box, radius, wobbles)

    def moved(self, x_mm: float, y_mm: float) -> "Opening":
        """The same opening elsewhere."""
        box = (self.left + x_mm, self.top + y_mm, self.right + x_mm, self.bottom + y_mm)
        return Opening(*box, self.radius, self.wobbles)

    def inside_mm(self, x: F32Array, y: F32Array) -> F32Array:
        """Distance to the edge for a grid given by its columns and rows, positive inside, mm."""
        to_x, to_y = (
            np.linspace(self.left, self.right, _WOBBLE_POINTS),
            np.linspace(self.top, self.bottom, _WOBBLE_POINTS),
        )
        top, bottom = (np.interp(x, to_x, self.wobbles[edge]) for edge in (0, 2))
        right, left = (np.interp(y, to_y, self.wobbles[edge]) for edge in (1, 3))
        dx = np.minimum(x[None, :] - (self.left - left)[:, None], (self.right + right)[:, None] - x[None, :])
        dy = np.minimum(y[:, None] - (self.top - top)[None, :], (self.bottom + bottom)[None, :] - y[:, None])
        sharp = np.minimum(dx, dy)
        r = self.radius
        if r <= 0:
            return np.asarray(sharp, np.float32)
        corner = (dx < r) & (dy < r)
        return np.asarray(np.where(corner, r - np.hypot(r - dx, r - dy), sharp), np.float32)

    def edge_points(self, edge: int, count: int = 200) -> F64Array:
        """Points along one edge without its rounded corners, shape (count, 2), mm."""
        t = np.linspace(0, 1, count + 2)[1:-1]
        along = np.linspace(0, 1, _WOBBLE_POINTS)
        out = np.interp(t, along, self.wobbles[edge])
        length = (self.right - self.left) if edge % 2 == 0 else (self.bottom - self.top)
        keep = (t > self.radius / length) & (t < 1 - self.radius / length)
        x, y = self.left + t * (self.right - self.left), self.top + t * (self.bottom - self.top)
        places = (
            (x, self.top - out), (self.right + out, y), (x, self.bottom + out), (self.left - out, y)
        )[edge]  # fmt: skip
        return np.stack(places, axis=1)[keep]


@dataclass(frozen=True, slots=True, eq=False)
class Stock:
    """How the film answers to light."""

    kind: FilmKind
    clear: F32Array
    """Least density, blue, green, red."""
    deepest: float
    """Most density over the least."""
    gamma: float
    fog: float = 0.0
    """Even density over everything, rebate and all."""

    @classmethod
    def pick(cls, rng: Rng, kind: FilmKind) -> "Stock":
        """A film of this kind. Ranges: status M densities of masked films, base and fog of black-and-white film, and
        slide densities as handbooks give them.
        """
        if kind is FilmKind.COLOUR_NEGATIVE:
            clear = [rng.uniform(0.78, 1.08), rng.uniform(0.5, 0.76), rng.uniform(0.18, 0.32)]
            return cls(kind, np.array(clear, np.float32), rng.uniform(1.8, 2.4), rng.uniform(0.52, 0.68))
        if kind is FilmKind.BW_NEGATIVE:
            level = rng.uniform(0.18, 0.38)
            clear = [level + rng.uniform(-0.03, 0.04), level, level]
            return cls(kind, np.array(clear, np.float32), rng.uniform(1.6, 2.3), rng.uniform(0.5, 0.75))
        clear = (rng.uniform(0.06, 0.2) + rng.uniform(0, 0.04, 3)).tolist()
        return cls(kind, np.array(clear, np.float32), rng.uniform(2.7, 3.4), rng.uniform(1.4, 1.9))

    def density(self, log_exposure: F32Array) -> F32Array:
        """Density over the least one, for log exposure over mid grey."""
        if self.kind is FilmKind.SLIDE:
            return np.asarray(
                self.deepest / (1 + np.exp((log_exposure + 0.35) * 4 * self.gamma / self.deepest)), np.float32
            )
        straight = self.gamma * np.logaddexp(0, (log_exposure + 1.15) * 6) / 6
        return np.asarray(self.deepest * (1 - np.exp(-straight / self.deepest)), np.float32)

    @property
    def unexposed(self) -> float:
        """Density of the rebate over the least one."""
        return self.deepest if self.kind is FilmKind.SLIDE else 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """One exposure on the strip."""

    opening: Opening
    """Its gate, where it lay on the film."""
    scene: Callable[[Rng, int, int], F32Array]
    hazard: str = ""


@dataclass(slots=True, eq=False)
class Film:
    """A strip, drawn."""

    film_format: FilmFormat
    stock: Stock
    frames: list[Frame]
    start_mm: float
    end_mm: float
    px_per_mm: float
    x0_mm: float
    """Film coordinate of the raster's left rim; its top rim is at minus half its height."""
    transmittance: F32Array
    """Shape (height, width, 3), 0..1, blue, green, red."""

    @property
    def y0_mm(self) -> float:
        """Film coordinate of the raster's upper rim."""
        return float(-self.transmittance.shape[0] / self.px_per_mm / 2)


def draw_film(
    rng: Rng,
    film_format: FilmFormat,
    stock: Stock,
    frames: list[Frame],
    ends_mm: tuple[float, float],
    drawn_mm: tuple[float, float],
    px_per_mm: float,
    *,
    penumbra_mm: float = 0.05,
    print_on_edge: bool = True,
    damage: Callable[[Rng, F32Array, float], None] | None = None,
) -> Film:
    """Draw a strip between two places along it.

    Parameters
    ----------
    ends_mm : tuple of float
        Where the film begins and ends.
    drawn_mm : tuple of float
        Part to draw; beyond the ends there is bare light.
    damage : callable or None
        Changes the density in place: called with rng, density over everything, px per mm.
    """
    width, height = round((drawn_mm[1] - drawn_mm[0]) * px_per_mm), round((film_format.strip_width_mm + 3) * px_per_mm)
    x = (drawn_mm[0] + (np.arange(width) + 0.5) / px_per_mm).astype(np.float32)
    y = ((np.arange(height) + 0.5 - height / 2) / px_per_mm).astype(np.float32)
    density = np.full((height, width, 3), stock.unexposed, np.float32)
    if print_on_edge:
        _print_edge(rng, density, film_format, stock, x, px_per_mm)
    for frame in frames:
        _expose(rng, density, stock, frame, x, y, px_per_mm, penumbra_mm)
    density += rng.standard_normal((height, width, 1), np.float32) * np.float32(0.015) + np.float32(stock.fog)
    if damage is not None:
        damage(rng, density, px_per_mm)
    density += stock.clear
    film = np.power(np.float32(10), -np.maximum(density, 0), dtype=np.float32)
    _cut(rng, film, film_format, ends_mm, x, y)
    return Film(film_format, stock, frames, *ends_mm, px_per_mm, drawn_mm[0], film)


def _expose(
    rng: Rng, density: F32Array, stock: Stock, frame: Frame, x: F32Array, y: F32Array, px_per_mm: float, soft_mm: float
) -> None:
    o = frame.opening
    columns = np.flatnonzero((x > o.left - 1) & (x < o.right + 1))
    rows = np.flatnonzero((y > o.top - 1) & (y < o.bottom + 1))
    wide, high = round((o.right - o.left) * px_per_mm), round((o.bottom - o.top) * px_per_mm)
    scene = frame.scene(rng, high, wide)
    if stock.kind is FilmKind.BW_NEGATIVE:
        scene = np.repeat(scene.mean(axis=2, keepdims=True), 3, axis=2)
    if columns.size == 0 or rows.size == 0:
        return
    here = slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)
    map_x = ((x[here[1]] - o.left) * px_per_mm - 0.5).astype(np.float32)
    map_y = ((y[here[0]] - o.top) * px_per_mm - 0.5).astype(np.float32)
    grid = np.broadcast_to(map_x, (map_y.size, map_x.size)), np.broadcast_to(map_y[:, None], (map_y.size, map_x.size))
    placed = cv2.remap(
        scene,
        np.ascontiguousarray(grid[0]),
        np.ascontiguousarray(grid[1]),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    soft = max(soft_mm, 1.0 / px_per_mm)
    mask = np.clip(o.inside_mm(x[here[1]], y[here[0]]) / soft + 0.5, 0, 1)[:, :, None]
    exposed = stock.density(placed.astype(np.float32)) - np.float32(stock.unexposed)
    # Where two frames overlap, light adds up: the later exposure darkens a negative and clears a slide further.
    density[here] += exposed * mask


def _print_edge(rng: Rng, density: F32Array, f: FilmFormat, stock: Stock, x: F32Array, px_per_mm: float) -> None:
    """Letters and bars exposed by the maker outside the pictures: dark on a negative, clear on a slide."""
    light = np.zeros(density.shape[:2], np.uint8)
    margin_mm = 1.4 if f.perforations else 2.2
    half = f.strip_width_mm / 2
    scale = margin_mm * 0.75 * px_per_mm / 22.0
    thick = max(1, round(0.12 * px_per_mm))
    number = int(rng.integers(1, 30))
    for place in np.arange(x[0] - rng.uniform(0, 19), x[-1], f.pitch_mm / 2):
        at = int((place - x[0]) * px_per_mm)
        text = rng.choice([str(number), f"{number}A", "SAMPLE 200", "> INVENTED", "TEST FILM"])
        low = int((2 * half + 1.5 - 0.35) * px_per_mm)
        top = int((1.5 + 0.3 + margin_mm * 0.75) * px_per_mm)
        cv2.putText(light, str(text), (at, low), cv2.FONT_HERSHEY_SIMPLEX, scale, 255, thick, cv2.LINE_AA)
        if rng.random() < 0.7:
            cv2.putText(light, f"{number}", (at + 40, top), cv2.FONT_HERSHEY_DUPLEX, scale, 255, thick, cv2.LINE_AA)
        start = at + int(rng.uniform(5, 9) * px_per_mm)
        for k in range(int(rng.integers(0, 32))):
            if rng.random() < 0.5:
                end = (start + int((k + 1) * 0.458 * px_per_mm), low)
                cv2.rectangle(light, (start + int(k * 0.458 * px_per_mm), low - int(px_per_mm)), end, 255, -1)
        number += 1
    strength = np.float32(rng.uniform(0.6, 1.4))
    tint = np.array([1.0, 0.9, 0.6], np.float32) if stock.kind is not FilmKind.BW_NEGATIVE else np.ones(3, np.float32)
    density += light[:, :, None] * tint / np.float32(255) * (-strength if stock.kind is FilmKind.SLIDE else strength)


def _cut(rng: Rng, film: F32Array, f: FilmFormat, ends_mm: tuple[float, float], x: F32Array, y: F32Array) -> None:
    """Punch the perforations and cut the strip's sides and ends: bare light."""
    px = float(x[1] - x[0])
    slant = rng.normal(0, 0.01, 2)
    to_start = x[None, :] - ends_mm[0] - slant[0] * y[:, None]
    to_end = ends_mm[1] - x[None, :] - slant[1] * y[:, None]
    inside = np.minimum(np.minimum(to_start, to_end), (f.strip_width_mm / 2 - np.abs(y))[:, None])
    if f.perforations is not None:
        inside = np.minimum(inside, _around_holes(rng, f, x, y))
    cover = np.clip(inside / px + 0.5, 0, 1)[:, :, None].astype(np.float32)
    film *= cover
    film += 1 - cover


def _around_holes(rng: Rng, f: FilmFormat, x: F32Array, y: F32Array) -> F32Array:
    """Distance to the nearest perforation, positive on film, mm. Positive (KS: 1.98 x 2.79, corners of 0.51 mm) or
    negative (BH: a circle of 2.79 mm cut to 1.85) form.
    """
    p = f.perforations
    assert p is not None
    phase = float(rng.uniform(0, p.pitch_mm))
    dx = np.abs((x - phase + p.pitch_mm / 2) % p.pitch_mm - p.pitch_mm / 2)[None, :]
    centre = f.strip_width_mm / 2 - p.edge_mm - p.across_mm / 2
    dy = np.abs(np.abs(y) - centre)[:, None]
    if rng.random() < 0.75:
        r = 0.51
        qx, qy = dx - p.along_mm / 2 + r, dy - p.across_mm / 2 + r
        return np.asarray(
            np.hypot(np.maximum(qx, 0), np.maximum(qy, 0)) + np.minimum(np.maximum(qx, qy), 0) - r, np.float32
        )
    return np.asarray(np.maximum(np.hypot(dx, dy) - p.across_mm / 2, dx - 1.854 / 2), np.float32)
