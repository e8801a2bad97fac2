"""How a film turned light into density, as far as a camera that photographs the film needs to know it.

The density a channel of the camera sees over the clear base is taken as

    d = gamma · toe · ln(1 + exp((x - speed) / toe)),        x = log10 of the scene's exposure

a straight line of slope gamma above a toe whose width is `toe`. Grey of every brightness has the same x in all
channels, so the two outer channels can be read on the green channel's scale; what is left between the channels is the
overlap of the dyes, undone by a 3 x 3 in density, and of the film's sensitivities, undone by a 3 x 3 in linear light.
The rows of both sum to one, so that neither touches a grey.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tethercap.film.kinds import FilmKind
from tethercap.pictures import F64Array

Triple = tuple[float, float, float]
Matrix = tuple[Triple, Triple, Triple]
IDENTITY: Matrix = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
GREEN = 1
_TRACE = 0.01


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
    density_matrix: Matrix = IDENTITY
    light_matrix: Matrix = IDENTITY
    """Exposures of the film's layers to linear sRGB."""
    source: str = ""
    """What it was measured on, or that it is an estimate."""

    def equalised(self, density: npt.ArrayLike, channel: int) -> F64Array:
        """Read a channel's density on the green channel's scale; greys come out equal.

        Parameters
        ----------
        density : array_like
            Density over base, any shape.
        channel : int
            0 red, 1 green, 2 blue.
        """
        value = np.asarray(density, dtype=np.float64)
        if channel == GREEN:
            return value
        toe, ratio = self.toe * self.toe_ratio[channel], self.toe_ratio[channel]
        shift = np.exp((self.speed[channel] - self.speed[GREEN]) / self.toe)
        # Below a trace of density the curve goes on straight through the base, so that noise stays noise.
        above = np.maximum(value, _TRACE)
        grown = np.expm1(above / (self.gamma[channel] * toe)) ** ratio
        equal = self.gamma[GREEN] * self.toe * np.log1p(grown * shift)
        return np.asarray(equal * np.where(value < _TRACE, value / _TRACE, 1.0))

    def exposure(self, density: npt.ArrayLike) -> F64Array:
        """Linear exposure of the scene from density on the green scale; nothing below the base."""
        value = np.maximum(np.asarray(density, dtype=np.float64), 0.0)
        grown = np.expm1(value / (self.gamma[GREEN] * self.toe))
        return np.asarray(10.0 ** self.speed[GREEN] * grown ** (self.toe * np.log(10.0)))
