"""How a film turned light into density, as far as a camera that photographs the film needs to know it.

The density a channel of the camera sees over the clear base is taken as

    d · (1 + bend · d) = gamma · toe · ln(1 + exp((x - speed) / toe)),        x = log10 of the scene's exposure

a straight line of slope gamma above a toe whose width is `toe`, bent towards a shoulder; that of black-and-white film,
which is measured further up, goes on straight and then softly ends at `densest`. Grey of every brightness has the same
x in all channels, so the two outer channels can be read on the green channel's scale; what is left between the channels
is the overlap of the dyes, undone by a 3 x 3 in density, and of the film's sensitivities, undone by a 3 x 3 in linear
light. The rows of both sum to one, so that neither touches a grey. A channel of the camera is broad, and what dyes take
from it does not add up quite straight: terms of second order in the differences from green make up for that; they too
vanish on greys.

A slide is read the same way, but that its densities are over the bare light, its curve is the identity, and what light
its layers let through is what is wanted: 10 to the power of minus the density.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tethercap.film.kinds import FilmKind
from tethercap.pictures import F64Array

Triple = tuple[float, float, float]
Matrix = tuple[Triple, Triple, Triple]
Five = tuple[float, float, float, float, float]
Bows = tuple[Five, Five, Five]
IDENTITY: Matrix = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
NO_BOWS: Bows = ((0.0,) * 5, (0.0,) * 5, (0.0,) * 5)
GREEN = 1
_TRACE = 0.01
"""Density below which a curve is read as a straight line through the base, so that noise stays noise."""
_FAINT = 0.02
"""Density below which grain outweighs what light did to the film: from there the curve goes straight to no light, lest
grain be multiplied by its steep end."""
_SHOULDER = 0.35
"""Width of the end of a curve that has one, density: what fits drawn silver images best, where it is common to all."""
_STEEPEST = 5.0
"""How much steeper than straight a curve is read near its end, lest its grain be multiplied further."""
LEAST_TRANSMITTANCE = 10.0**-4.4
"""Light through the film, over the clear film's, below which it is taken for it: logarithms need some."""
_MOST_GROWTH = 60.0
"""Natural log of exposure over the toe beyond which there is no film: what is tried in a fit must not overflow."""
_MOST_EXPONENT = 300.0
"""The same where a curve is read on another's scale: a power of it is taken, which must not overflow either."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmModel:
    """Curves and matrices of one stock on one rig; one file in profiles/films, file name = id."""

    schema: int = 1
    id: str = ""
    film_kind: FilmKind = FilmKind.COLOUR_NEGATIVE
    gamma: Triple = (0.6, 0.6, 0.6)
    """Slope of density over log10 exposure, per channel as the camera sees it."""
    speed: Triple = (0.0, 0.0, 0.0)
    """log10 exposure at which the straight parts, prolonged, would meet the base."""
    toe: float = 0.25
    """Width of the green channel's toe, log10 of exposure."""
    toe_ratio: Triple = (1.0, 1.0, 1.0)
    """Width of each channel's toe over the green channel's."""
    bend: Triple = (0.0, 0.0, 0.0)
    """How the straight part bends to its shoulder, per density."""
    densest: float = 0.0
    """Density over base that the curve ends at; 0 where it has no end."""
    density_matrix: Matrix = IDENTITY
    density_bows: Bows = NO_BOWS
    """Terms of second order for each layer: factors of u·u, u·v, v·v, u·g, v·g, where u and v are red and blue
    less green, and g is green, all on the green scale."""
    light_matrix: Matrix = IDENTITY
    """Exposures of the film's layers to linear sRGB; of a slide, what its layers let through."""
    stray: float = 0.0
    """Light that lies over everything in the copy, over the clear film's, or the bare light's of a slide."""
    source: str = ""
    """What it was measured on, or that it is an estimate."""
    note: str = ""
    """What is to be said of every picture that is made by it; mostly nothing."""

    def equalised(self, density: npt.ArrayLike, channel: int) -> F64Array:
        """Read a channel's density on the green channel's scale, unbent; greys come out equal.

        Parameters
        ----------
        density : array_like
            Density over base, any shape.
        channel : int
            0 red, 1 green, 2 blue.
        """
        value = np.asarray(density, dtype=np.float64)
        if self.stray:
            value = -np.log10(np.maximum(10.0**-value - self.stray, LEAST_TRANSMITTANCE))
        value = value * (1.0 + self.bend[channel] * np.maximum(value, 0.0))
        if self.densest:
            value = self._straightened(value)
        if channel == GREEN or self.film_kind is FilmKind.SLIDE:
            return value
        toe, ratio = self.toe * self.toe_ratio[channel], self.toe_ratio[channel]
        shift = np.exp((self.speed[channel] - self.speed[GREEN]) / self.toe)
        above = np.maximum(value, _TRACE)
        grown = np.expm1(np.minimum(above / (self.gamma[channel] * toe), _MOST_EXPONENT)) ** ratio
        equal = self.gamma[GREEN] * self.toe * np.log1p(grown * shift)
        return np.asarray(equal * np.where(value < _TRACE, value / _TRACE, 1.0))

    def _straightened(self, value: F64Array) -> F64Array:
        """Density as it would be if the curve had no end: it is the softer lesser of that and of `densest`."""
        steepest = self.densest + _SHOULDER * np.log1p(-1.0 / _STEEPEST)
        below = np.minimum(value, steepest)
        lacking = -_SHOULDER * np.log1p(-np.exp((below - self.densest) / _SHOULDER))
        at_base = -_SHOULDER * np.log1p(-np.exp(-self.densest / _SHOULDER))
        return np.asarray(below + lacking - at_base + _STEEPEST * (value - below))

    def layers(self, density: F64Array) -> F64Array:
        """Densities over base as the camera sees them to those of the film's layers, on the green scale.

        Parameters
        ----------
        density : ndarray
            Shape (..., 3).

        Returns
        -------
        ndarray
            Shape (..., 3).
        """
        equal = np.stack([self.equalised(density[..., channel], channel) for channel in range(3)], axis=-1)
        return np.asarray(equal @ np.array(self.density_matrix).T + second_order(equal) @ np.array(self.density_bows).T)

    def exposure(self, density: npt.ArrayLike) -> F64Array:
        """Linear light from density on the green scale: the scene's exposure, none below the base; a slide's own."""
        if self.film_kind is FilmKind.SLIDE:
            return np.asarray(10.0 ** -np.asarray(density, dtype=np.float64))
        value = np.maximum(np.asarray(density, dtype=np.float64), 0.0)
        grown = np.expm1(np.minimum(np.maximum(value, _FAINT) / (self.gamma[GREEN] * self.toe), _MOST_GROWTH))
        light = 10.0 ** self.speed[GREEN] * grown ** (self.toe * np.log(10.0))
        return np.asarray(light * np.minimum(value / _FAINT, 1.0))


def curve(log_exposure: F64Array, gamma: float, speed: float, toe: float) -> F64Array:
    """Density over base of the model's curve without its bend."""
    return np.asarray(gamma * toe * np.logaddexp(0.0, (log_exposure - speed) / toe))


def second_order(equal: F64Array) -> F64Array:
    """Terms that `FilmModel.density_bows` are factors of.

    Parameters
    ----------
    equal : ndarray
        Shape (..., 3), equalised densities.

    Returns
    -------
    ndarray
        Shape (..., 5).
    """
    green = equal[..., GREEN]
    u, v = equal[..., 0] - green, equal[..., 2] - green
    return np.stack([u * u, u * v, v * v, u * green, v * green], axis=-1)
