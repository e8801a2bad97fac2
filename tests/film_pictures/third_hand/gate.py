"""The opening of a camera that lets light onto the film: four sides that are never quite straight, round corners."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from tethercap.film.formats import FilmFormat
from tethercap.pictures import F32Array, F64Array

Make = Literal["crisp", "ragged", "bowed", "filed"]
MAKES: tuple[Make, ...] = ("crisp", "ragged", "bowed", "filed")


@dataclass(frozen=True, slots=True, eq=False)
class Gate:
    """One camera's gate; distances in mm on the film from the frame's centre. Sides: left, right, top, bottom."""

    half_along_mm: float
    half_across_mm: float
    shift_mm: F64Array
    """How far out each side lies beyond the half size, shape (4,)."""
    slope: F64Array
    """Rise of each side along itself, mm per mm, shape (4,)."""
    bow_mm: F64Array
    """How far the middle of each side stands out over its ends, shape (4,)."""
    ragged_mm: F64Array
    """Deviations of each side from its line, mean 0, at points evenly along it, shape (4, points)."""
    corner_mm: float
    """Radius of the corners."""
    soft_mm: float
    """Width over which light falls to nothing: the gate stands a little before the film."""
    turn_deg: float
    """How the gate stands on the film."""

    def corners_mm(self) -> F64Array:
        """Where the straight lines through the sides meet: top left, top right, bottom right, bottom left, (4, 2)."""
        lines = {}
        for i, half in enumerate((self.half_along_mm, self.half_along_mm, self.half_across_mm, self.half_across_mm)):
            lines[i] = (half + self.shift_mm[i], self.slope[i])
        corners = []
        for side, end in ((0, 2), (1, 2), (1, 3), (0, 3)):
            x_sign, y_sign = (-1 if side == 0 else 1), (-1 if end == 2 else 1)
            (a, m), (b, n) = lines[side], lines[end]
            # x = x_sign * (a + m y), y = y_sign * (b + n x)
            y = y_sign * (b + n * x_sign * a) / (1 - x_sign * y_sign * m * n)
            corners.append((x_sign * (a + m * y), y))
        turn = np.radians(self.turn_deg)
        rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        turned: F64Array = np.array(corners) @ rotation.T
        return turned

    def light_share(self, u_mm: F32Array, v_mm: F32Array) -> F32Array:
        """Share of the light that gets to points of the film (row of u, column of v, from the frame's centre)."""
        turn = np.radians(self.turn_deg)
        c, s = np.float32(np.cos(turn)), np.float32(np.sin(turn))
        x, y = c * u_mm + s * v_mm, c * v_mm - s * u_mm
        left, right = (
            self._inside(i, sign * x, y, self.half_along_mm, self.half_across_mm) for i, sign in ((0, 1), (1, -1))
        )
        top, bottom = (
            self._inside(i, sign * y, x, self.half_across_mm, self.half_along_mm) for i, sign in ((2, 1), (3, -1))
        )
        dx, dy, r = np.minimum(left, right), np.minimum(top, bottom), self.corner_mm
        inside = np.where((dx < r) & (dy < r), r - np.hypot(r - dx, r - dy), np.minimum(dx, dy))
        share: F32Array = np.clip(0.5 + inside / self.soft_mm, 0, 1).astype(np.float32)
        return share

    def _inside(self, side: int, towards: F32Array, along: F32Array, half: float, half_length: float) -> F32Array:
        """Return how far points lie inside one side, mm."""
        t = along / half_length
        out = half + self.shift_mm[side] + self.slope[side] * along
        out += self.bow_mm[side] * (1 / 3 - t * t)
        points = np.linspace(-1.1, 1.1, self.ragged_mm.shape[1])
        out += np.interp(t.ravel(), points, self.ragged_mm[side]).reshape(t.shape)
        inside: F32Array = (towards + out).astype(np.float32)
        return inside


def any_gate(rng: np.random.Generator, film_format: FilmFormat, make: Make) -> Gate:
    """Draw a gate within what cameras make of the format."""
    play = min(film_format.size_tolerance_mm, 0.7)
    along, across = (
        film_format.along_mm + rng.uniform(-0.4, 0.6) * play,
        film_format.across_mm + rng.uniform(-0.4, 0.6) * play,
    )
    rough = {"crisp": 0.004, "ragged": 0.04, "bowed": 0.006, "filed": 0.07}[make] * rng.uniform(0.7, 1.4)
    coarse = rng.normal(0, rough, (4, 24))
    ragged = np.stack([np.interp(np.linspace(0, 23, 240), np.arange(24), row) for row in coarse])
    ragged += rng.normal(0, 0.3 * rough, ragged.shape)
    ragged -= ragged.mean(axis=1, keepdims=True)
    bow = rng.uniform(0.06, 0.2) * rng.choice([-1, 1], 4) * (rng.random(4) < 0.6) if make == "bowed" else np.zeros(4)
    shift = rng.uniform(0, 0.25, 4) if make == "filed" else np.zeros(4)
    slope = rng.normal(0, 0.004 if make == "filed" else 0.0004, 4)
    return Gate(
        along / 2, across / 2, shift, slope, bow, ragged, corner_mm=float(rng.uniform(0.05, 0.9)),
        soft_mm=float(rng.uniform(0.04, 0.14)), turn_deg=float(np.clip(rng.normal(0, 0.06), -0.2, 0.2)),
    )  # fmt: skip
