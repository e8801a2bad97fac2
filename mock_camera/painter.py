"""Brushes for invented scenes: everything is painted in linear light, so that highlights are bright and shadows dark.

Places are given as fractions of the picture (x 0 to 1 from the left, y 0 to 1 from the top); sizes as fractions of its
shorter side.  Colours are '#rrggbb' in the transfer function of IEC 61966-2-1, or linear triples.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from mock_camera.film_stock import FloatPicture

Colour = str | Sequence[float] | NDArray[np.float32]
Place = tuple[float, float]
Random = np.random.Generator


def linear(colour: Colour) -> NDArray[np.float32]:
    """Linear RGB, float32 (3,), of a colour."""
    if not isinstance(colour, str):
        return np.asarray(colour, np.float32)
    code = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)], np.float64) / 255.0
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4).astype(np.float32)


def wander(random: Random, count: int, octaves: int = 6, fall: float = 0.55) -> NDArray[np.float64]:
    """A fractal line of `count` values, about -1 to 1: hills, clouds' edges, coasts."""
    x = np.linspace(0.0, 1.0, count)
    total = np.zeros(count)
    for octave in range(octaves):
        knots = 2 ** (octave + 2) + 1
        total += fall**octave * np.interp(x, np.linspace(0.0, 1.0, knots), random.uniform(-1.0, 1.0, knots))
    return total / sum(fall**octave for octave in range(octaves))


class Painter:
    """A picture being painted.

    Parameters
    ----------
    width_px, height_px : int
    seed : int
        Fixes everything that is random.

    Attributes
    ----------
    pixels : float32 (h, w, 3)
        Linear RGB; 1 = white in full light, lamps are brighter.
    random : numpy Generator
    """

    def __init__(self, width_px: int, height_px: int, seed: int) -> None:
        self.random = np.random.default_rng(seed)
        self.pixels: FloatPicture = np.zeros((height_px, width_px, 3), np.float32)
        self.width, self.height = width_px, height_px
        self.unit = min(width_px, height_px)
        self._mottle = self.clouds(0.25, 7, fall=0.75)

    # --- fields -----------------------------------------------------------------------------------------------------

    def clouds(self, size: float, octaves: int, fall: float = 0.5, stretch: float = 1.0) -> FloatPicture:
        """A fractal field, float32 (h, w), mean 0, standard deviation 1; `size` of its coarsest lumps."""
        # A generator of its own: how fine the picture is must not change what is painted after this.
        random = np.random.default_rng(self.random.integers(2**32))
        tall, wide = self.height / self.unit * stretch / size, self.width / self.unit / size
        total = np.zeros((2, 2), np.float32)
        for octave in range(octaves):
            shape = math.ceil(tall * 2**octave) + 2, math.ceil(wide * 2**octave) + 2
            if shape[1] > self.width or shape[0] > self.height:
                break
            total = np.asarray(cv2.resize(total, shape[::-1], interpolation=cv2.INTER_CUBIC), np.float32)
            total += random.standard_normal(shape, dtype=np.float32) * np.float32(fall**octave)
        total = (total - total.mean()) / np.float32(max(float(total.std()), 1e-6))
        return np.asarray(cv2.resize(total, (self.width, self.height), interpolation=cv2.INTER_CUBIC), np.float32)

    def row_position(self) -> FloatPicture:
        """0 at the top to 1 at the bottom, float32 (h, 1)."""
        return np.linspace(0.0, 1.0, self.height, dtype=np.float32).reshape(-1, 1)

    def column_position(self) -> FloatPicture:
        """0 at the left to 1 at the right, float32 (1, w)."""
        return np.linspace(0.0, 1.0, self.width, dtype=np.float32).reshape(1, -1)

    # --- brushes ----------------------------------------------------------------------------------------------------

    def gradient(self, top: Colour, bottom: Colour, y0: float = 0.0, y1: float = 1.0) -> None:
        """Fill rows y0 to y1 from one colour to another."""
        a, b = round(y0 * self.height), round(y1 * self.height)
        part = np.linspace(0.0, 1.0, max(b - a, 1), dtype=np.float32).reshape(-1, 1, 1)
        self.pixels[a:b] = linear(top) * (1.0 - part) + linear(bottom) * part

    def sky(self, top: str, bottom: str, horizon: float, cover: float = 0.35, cloud: Colour = "#f6f3ee") -> None:
        """Sky with clouds down to the horizon; `cover` 0 = clear, 1 = overcast."""
        self.gradient(top, bottom, 0.0, horizon)
        rows = round(horizon * self.height)
        field = self.clouds(0.45, 6, 0.55, stretch=2.5)[:rows]
        thick = np.clip((field - (1.2 - 2.4 * cover)) * 0.7, 0.0, 1.0)
        thick *= np.clip(1.4 - self.row_position()[:rows] / horizon, 0.2, 1.0)
        # Lit from above: where the cloud grows thicker below, it is brighter.
        light = 1.0 - 0.28 * np.clip(cv2.GaussianBlur(thick, (0, 0), 0.012 * self.unit), 0.0, 1.0)
        blend = (thick * 0.92)[:, :, np.newaxis]
        self.pixels[:rows] += blend * (linear(cloud) * light[:, :, np.newaxis] - self.pixels[:rows])

    def points(self, places: Sequence[Place] | NDArray[np.float64]) -> NDArray[np.float64]:
        """Pixel coordinates (n, 2) of places."""
        return np.asarray(places, np.float64) * (self.width, self.height)

    def shape(
        self, places: Sequence[Place] | NDArray[np.float64], colour: Colour, mottle: float = 0.10,
        light: tuple[float, float] = (1.0, 1.0), opacity: float = 1.0,
    ) -> None:  # fmt: skip
        """Fill a polygon.

        Parameters
        ----------
        places : sequence of place
        colour : colour
        mottle : float
            Strength of the surface's texture.
        light : tuple of float
            Brightness at the shape's left and right end: turns a flat shape into a rounded one.
        opacity : float
        """
        self.fill_px(self.points(places), colour, mottle, light, opacity)

    def fill_px(
        self, points: NDArray[np.float64], colour: Colour, mottle: float = 0.10,
        light: tuple[float, float] = (1.0, 1.0), opacity: float = 1.0,
    ) -> None:  # fmt: skip
        """As `shape`, in pixels."""
        low, high = np.floor(points.min(axis=0)) - 1, np.ceil(points.max(axis=0)) + 2
        x0, y0 = max(0, int(low[0])), max(0, int(low[1]))
        x1, y1 = min(self.width, int(high[0])), min(self.height, int(high[1]))
        if x1 <= x0 or y1 <= y0:
            return
        mask = np.zeros((y1 - y0, x1 - x0), np.uint8)
        outline = np.round((points - (x0, y0)) * 16.0).astype(np.int32).reshape(-1, 1, 2)
        cv2.fillPoly(mask, [outline], 255, cv2.LINE_AA, 4)
        alpha = mask.astype(np.float32) * np.float32(opacity / 255.0)
        surface = np.linspace(*light, x1 - x0, dtype=np.float32).reshape(1, -1)
        if mottle:
            surface = surface * np.maximum(1.0 + np.float32(mottle) * self._mottle[y0:y1, x0:x1], 0.1)
        target = self.pixels[y0:y1, x0:x1]
        for channel, value in enumerate(linear(colour)):
            target[:, :, channel] += alpha * (surface * value - target[:, :, channel])

    def box(
        self, x: float, y: float, width: float, height: float, colour: Colour, mottle: float = 0.08,
        light: tuple[float, float] = (1.0, 1.0),
    ) -> None:  # fmt: skip
        """Fill an upright rectangle."""
        self.shape([(x, y), (x + width, y), (x + width, y + height), (x, y + height)], colour, mottle, light)

    def oval(
        self, place: Place, radius_x: float, radius_y: float, colour: Colour, mottle: float = 0.08,
        turn_deg: float = 0.0, light: tuple[float, float] = (1.0, 1.0), opacity: float = 1.0,
    ) -> None:  # fmt: skip
        """Fill an ellipse; radii in parts of the shorter side."""
        around = np.linspace(0.0, 2.0 * np.pi, 96, endpoint=False)
        turn = math.radians(turn_deg)
        x, y = radius_x * self.unit * np.cos(around), radius_y * self.unit * np.sin(around)
        rim = np.stack([x * math.cos(turn) - y * math.sin(turn), x * math.sin(turn) + y * math.cos(turn)], axis=1)
        self.fill_px(self.points([place])[0] + rim, colour, mottle, light, opacity)

    def stroke(self, places: Sequence[Place] | NDArray[np.float64], width: float, colour: Colour) -> None:
        """A line of a width in parts of the shorter side."""
        line = np.round(self.points(places)).astype(np.int32).reshape(-1, 1, 2)
        value = tuple(float(v) for v in linear(colour))
        cv2.polylines(self.pixels, [line], False, value, max(1, round(width * self.unit)))

    def dabs(
        self, places: NDArray[np.float64], size: float, colours: Sequence[Colour], spread: float = 0.18,
        tall: float = 1.0,
    ) -> None:  # fmt: skip
        """Many small spots (leaves, petals, pebbles) in colours taken at random and varied in brightness."""
        palette = [linear(colour) for colour in colours]
        random = self.random
        which = random.integers(len(palette), size=len(places))
        bright = np.exp(random.normal(0.0, spread, len(places)))
        turns = random.uniform(0.0, 180.0, len(places))
        sizes = size * self.unit * random.uniform(0.6, 1.4, len(places))
        for (x, y), index, gain, turn, radius in zip(
            np.round(self.points(places)).astype(int), which, bright, turns, sizes, strict=True
        ):
            axes = max(1, round(radius)), max(1, round(radius * 0.6 * tall))
            value = tuple(float(v * gain) for v in palette[index])
            cv2.ellipse(self.pixels, (int(x), int(y)), axes, float(turn), 0.0, 360.0, value, -1)

    def ball(
        self, place: Place, radius: float, colour: Colour, shine: float = 0.5, squash: float = 1.0, flat: float = 0.10
    ) -> None:
        """A round, lit thing: Lambert's law for a light from the upper left, a highlight, a shadow side.

        `flat` is the light that reaches it from all sides, `squash` its height over its width.
        """
        centre, r = self.points([place])[0], radius * self.unit
        x0, x1 = max(0, int(centre[0] - r - 1)), min(self.width, int(centre[0] + r + 2))
        y0, y1 = max(0, int(centre[1] - r * squash - 1)), min(self.height, int(centre[1] + r * squash + 2))
        if x1 <= x0 or y1 <= y0:
            return
        x = ((np.arange(x0, x1) - centre[0]) / r).astype(np.float32).reshape(1, -1)
        y = ((np.arange(y0, y1) - centre[1]) / (r * squash)).astype(np.float32).reshape(-1, 1)
        r2 = x * x + y * y
        z = np.sqrt(np.maximum(1.0 - r2, 0.0))
        lambert = np.maximum(-0.55 * x - 0.60 * y + 0.58 * z, 0.0)
        surface = (flat + (1.05 - flat) * lambert) * (1.0 + 0.07 * self._mottle[y0:y1, x0:x1])
        gloss = shine * np.maximum(1.0 - ((x + 0.36) ** 2 + (y + 0.40) ** 2) / 0.02, 0.0) ** 2
        alpha = np.clip((1.0 - np.sqrt(r2)) * r, 0.0, 1.0)
        target = self.pixels[y0:y1, x0:x1]
        for channel, value in enumerate(linear(colour)):
            target[:, :, channel] += alpha * (surface * value + gloss - target[:, :, channel])

    def glow(self, place: Place, radius: float, colour: Colour, strength: float = 1.0) -> None:
        """Add light around a lamp: a bright core and a wide, faint halo."""
        part, x, y = self._around(place, 12.0 * radius, 12.0 * radius)
        halo = np.float32(strength) / np.square(1.0 + 144.0 * (x * x + y * y)) - np.float32(strength / 145.0**2)
        self.pixels[part] += np.maximum(halo, 0.0)[:, :, np.newaxis] * linear(colour)

    def shadow(self, place: Place, radius_x: float, radius_y: float, depth: float = 0.6) -> None:
        """Darken softly, as under a thing on a table."""
        part, x, y = self._around(place, 3.0 * radius_x, 3.0 * radius_y)
        self.pixels[part] *= (1.0 - np.float32(depth) * np.exp(-9.0 * (x * x + y * y)))[:, :, np.newaxis]

    def _around(
        self, place: Place, reach_x: float, reach_y: float
    ) -> tuple[tuple[slice, slice], FloatPicture, FloatPicture]:
        """Part of the picture around a place, and coordinates in it that are -1 to 1 over the reach."""
        centre = self.points([place])[0]
        half = np.array([reach_x, reach_y]) * self.unit
        low = np.clip(centre - half, 0, (self.width, self.height)).astype(int)
        high = np.clip(centre + half + 1, 0, (self.width, self.height)).astype(int)
        x = ((np.arange(low[0], high[0]) - centre[0]) / half[0]).astype(np.float32).reshape(1, -1)
        y = ((np.arange(low[1], high[1]) - centre[1]) / half[1]).astype(np.float32).reshape(-1, 1)
        return (slice(low[1], high[1]), slice(low[0], high[0])), x, y

    def haze(self, colour: Colour, amount: float) -> None:
        """Lay a veil of air over all that is painted so far."""
        self.pixels += np.float32(amount) * (linear(colour) - self.pixels)

    def ridge(
        self, height: float, rise: float, colour: Colour, mottle: float = 0.15, octaves: int = 6
    ) -> NDArray[np.float64]:
        """A range of hills from edge to edge, down to the bottom; returns the skyline as places (n, 2)."""
        x = np.linspace(-0.01, 1.01, 400)
        line = np.stack([x, height + rise * wander(self.random, x.size, octaves)], axis=1)
        self.shape(np.concatenate([line, [(1.01, 1.01), (-0.01, 1.01)]]), colour, mottle)
        return line

    def texture(self, y0: float, y1: float, strength: float, size: float, stretch: float = 1.0) -> None:
        """Multiply rows by a fractal texture: grass, sand, water, plaster."""
        a, b = round(y0 * self.height), round(y1 * self.height)
        field = self.clouds(size, 7, 0.8, stretch)[a:b]
        self.pixels[a:b] *= np.exp(np.float32(strength) * field)[:, :, np.newaxis]

    def soften(self, size: float) -> None:
        """Put all that is painted so far out of focus."""
        # A wide blur needs no fine grid: blur a small picture and enlarge it.
        small = cv2.resize(self.pixels, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
        small = cv2.GaussianBlur(small, (0, 0), 0.25 * size * self.unit)
        self.pixels = np.asarray(
            cv2.resize(small, (self.width, self.height), interpolation=cv2.INTER_CUBIC), np.float32
        )

    def finish(self, softness_px: float = 0.7, texture: float = 0.02) -> FloatPicture:
        """The picture as a taking lens drew it: fine surface texture, slight softness, corners a little darker."""
        fine = self.random.standard_normal((self.height, self.width), dtype=np.float32)
        r2 = (self.row_position() - 0.5) ** 2 + (self.column_position() - 0.5) ** 2
        self.pixels *= ((1.0 + np.float32(texture) * fine) * (1.0 - 0.35 * r2))[:, :, np.newaxis]
        picture = cv2.GaussianBlur(self.pixels, (0, 0), softness_px)
        return np.maximum(np.asarray(picture, np.float32), 0.0008)
