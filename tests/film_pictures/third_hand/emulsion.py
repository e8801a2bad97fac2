"""Film as a material: the density that light leaves on it, by characteristic curves with toe and shoulder.

Densities of base, mask and maximum are those usual for each kind (readings of makers' curves from memory; the order
R < G < B of a colour negative's mask is certain). Camera channels stand for red, green, blue.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from tethercap.film.kinds import FilmKind
from tethercap.pictures import F32Array


@dataclass(frozen=True, slots=True)
class Stock:
    """One film as developed."""

    kind: FilmKind
    least: F32Array
    """Density of base, fog and mask, per channel; a slide's where it got all the light."""
    range: F32Array
    """Density from least to most, per channel."""
    gamma: F32Array
    """Slope of the straight part, density for a decade of light."""
    speed: float
    """log10 of the light, relative to mid grey's, at the middle of the curve."""
    grain: float
    """Deviation of density over a spot of 0.05 mm, at density 1 above base."""


def any_stock(rng: np.random.Generator, kind: FilmKind) -> Stock:
    """Draw a stock with its development."""
    push = rng.normal(1, 0.08)
    if kind is FilmKind.COLOUR_NEGATIVE:
        least = np.array([0.25, 0.65, 0.95]) + rng.normal(0, 0.05, 3) + rng.normal(0, 0.03)
        return Stock(
            kind,
            _f(least),
            _f(rng.uniform(1.6, 2.0) + rng.normal(0, 0.05, 3)),
            _f(push * 0.6 * rng.normal(1, 0.03, 3)),
            0.75,
            0.008,
        )
    if kind is FilmKind.BW_NEGATIVE:
        least = np.full(3, rng.uniform(0.05, 0.38)) + np.array([0.0, 0.0, rng.uniform(0, 0.04)])
        gamma = push * rng.uniform(0.5, 0.75)
        return Stock(kind, _f(least), _f([rng.uniform(1.7, 2.4)] * 3), _f([gamma] * 3), 0.75, rng.uniform(0.008, 0.025))
    least = rng.uniform(0.08, 0.22) + rng.normal(0, 0.02, 3)
    return Stock(
        kind,
        _f(least),
        _f(rng.uniform(2.6, 3.4) + rng.normal(0, 0.05, 3)),
        _f(push * rng.uniform(1.5, 2.0) * rng.normal(1, 0.02, 3)),
        -0.25,
        0.008,
    )


def _f(values: object) -> F32Array:
    return np.asarray(values, np.float32)


def density(stock: Stock, light: F32Array) -> F32Array:
    """Density of developed film, height x width x 3, where it got this light (0.18 = mid grey)."""
    if stock.kind is FilmKind.BW_NEGATIVE:
        light = np.asarray(cv2.transform(light, np.array([[0.3, 0.5, 0.2]] * 3, np.float32)), np.float32)
    log_light = np.log10(np.maximum(light, 1e-6) / 0.18) - stock.speed
    slope = 4 * stock.gamma / stock.range
    blackened = stock.range / (1 + np.exp(-slope * log_light))
    if stock.kind is FilmKind.SLIDE:
        blackened = stock.range - blackened
    total: F32Array = (stock.least + blackened).astype(np.float32)
    return total
