"""A second family of colour negatives on drawn rigs, built otherwise than `drawn`: film from its chemistry.

Dyes are bands in wave number with a second, weaker one beside the first (as organic dyes have them). Coloured couplers
are spent where dye forms, so that what is left of a dye's unwanted absorption may fall on either side of none. Layers
are restrained by what the others develop, each by each as strongly as it may be, through light or through development.
Curves are of two emulsions, end in a shoulder, and are of any usual speed. Panels include lamps, daylight and
fluorescent tubes, cameras cut infrared off. All values are invented, spread as far as the trade's descriptions leave
open; illuminants and measured cameras are of colour-science.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.quality import film, spectra
from tests.quality.drawn import Case
from tests.quality.spectra import F64, Stock, StockSpectra

SCENE_LIGHTS = ("D50", "D50", "D55", "D55", "D55", "D55", "D65", "D65", "D75")
_DIODES = ("LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5", "LED-BH1", "LED-V1", "LED-V2", "LED-RGB1")
_TUBES = ("FL2", "FL7", "FL8", "FL10", "FL11", "FL12")
_NM = spectra.WAVELENGTHS_NM
_PER_CM = 1e7 / _NM
_GREY = np.log10(0.18)


@dataclass(frozen=True, eq=False)
class CoupledLayers:
    """Curves of three layers that restrain each other."""

    gamma: F64
    """Slope of each layer's dye over log10 exposure, shape (3,)."""
    speed: F64
    """log10 exposure, white = 1, where the straight parts meet the base, shape (3,)."""
    toe: F64
    slow_toe: F64
    """Widths of the toes of the fast and the slow emulsion, log10 exposure, shape (3,)."""
    densest: F64
    """Dye that a layer can make, shape (3,)."""
    restraint: F64
    """How much each layer, in rows, is held back by each other, shape (3, 3), diagonal 0."""
    by_light: float
    """Share of the restraint that acts like less light; the rest acts on the dye that develops."""

    def amounts(self, log_exposure: F64) -> F64:
        """Dye of the three layers, shape (..., 3); where all have made as much, none is held back."""
        alone = self._developed(log_exposure)
        excess = alone @ self.restraint.T - alone * self.restraint.sum(axis=1)
        restrained = self._developed(log_exposure - self.by_light * excess / self.gamma)
        return np.asarray(restrained * np.exp(-(1.0 - self.by_light) * excess / (0.3 + alone)))

    def _developed(self, log_exposure: F64) -> F64:
        over = log_exposure - self.speed
        straight = sum(0.5 * self.gamma * toe * np.logaddexp(0.0, over / toe) for toe in (self.toe, self.slow_toe))
        return np.asarray(straight / (1.0 + (straight / self.densest) ** 4) ** 0.25)


def draw_coupled_case(seed: int) -> Case:
    """One case; the same seed gives the same one."""
    rng = np.random.default_rng([seed, 31])
    stock, rig = _stock(rng, seed), _rig(rng)
    return Case(stock, rig, SCENE_LIGHTS[int(rng.integers(len(SCENE_LIGHTS)))], float(rng.uniform(0.0, 0.015)))


def _stock(rng: np.random.Generator, seed: int) -> Stock:
    dyes, base = _dyes_and_base(rng)
    found = StockSpectra(_layers(rng), dyes, base)
    return Stock(f"coupled {seed}", inhibition=0.0, spectra=found, emulsions=_curves(rng), seed=seed)


def _curves(rng: np.random.Generator) -> CoupledLayers:
    gamma = rng.uniform(0.52, 0.72) * np.exp(rng.normal((-0.03, 0.0, 0.04), 0.05))
    toe = rng.uniform(0.16, 0.34) * np.exp(rng.normal(0.0, 0.06, 3))
    speed = _GREY - rng.uniform(0.55, 1.25) + rng.normal(0.0, 0.06, 3)
    near, far = rng.uniform(0.6, 1.4, 4), rng.uniform(0.2, 0.8, 2)
    strength = float(rng.uniform(0.01, 0.17))
    restraint = strength * np.array([[0.0, near[0], far[0]], [near[1], 0.0, near[2]], [far[1], near[3], 0.0]])
    return CoupledLayers(
        gamma=gamma,
        speed=speed,
        toe=toe,
        slow_toe=toe * rng.uniform(1.0, 1.4),
        densest=rng.uniform(2.2, 3.4) * np.exp(rng.normal(0.0, 0.05, 3)),
        restraint=restraint,
        by_light=float(rng.uniform(0.0, 1.0)),
    )


def _band(rise_nm: float, rise_soft_nm: float, fall_nm: float, fall_soft_nm: float) -> F64:
    rise = 1.0 / (1.0 + np.exp(-(_NM - rise_nm) / rise_soft_nm))
    return np.asarray(rise / (1.0 + np.exp((_NM - fall_nm) / fall_soft_nm)))


def _layers(rng: np.random.Generator) -> F64:
    draw = rng.uniform
    red = _band(draw(588, 618), draw(6, 14), draw(650, 672), draw(4, 8))
    green = _band(draw(510, 534), draw(6, 13), draw(560, 580), draw(5, 9))
    blue = _band(draw(412, 432), draw(8, 14), draw(472, 490), draw(5, 9))
    leak = spectra.bell(440.0, 28.0)
    columns = (red + draw(0.0, 0.01) * leak, green + draw(0.0, 0.05) * leak, blue)
    return np.stack([column / column.sum() for column in columns], axis=1)


def _dye(rng: np.random.Generator, peak_nm: float, width_per_cm: float, beside: float) -> F64:
    """A band that is `width_per_cm` wide (standard deviation), and its weaker neighbour of shorter waves; peak 1."""
    main = np.exp(-0.5 * ((_PER_CM - 1e7 / peak_nm) / width_per_cm) ** 2)
    step = rng.uniform(1250.0, 1500.0)
    neighbour = np.exp(-0.5 * ((_PER_CM - 1e7 / peak_nm - step) / (1.1 * width_per_cm)) ** 2)
    band = main + beside * neighbour
    return np.asarray(band / band.max())


def _dyes_and_base(rng: np.random.Generator) -> tuple[F64, F64]:
    draw = rng.uniform
    cyan_green, cyan_blue, magenta_blue, magenta_red, yellow_green = draw(
        (0.10, 0.06, 0.14, 0.03, 0.03), (0.24, 0.17, 0.30, 0.09, 0.12)
    )
    cyan = _dye(rng, draw(655, 690), draw(950, 1250), draw(0.3, 0.6))
    cyan = cyan + cyan_green * spectra.bell(545.0, 42.0) + cyan_blue * spectra.bell(438.0, 45.0)
    magenta = _dye(rng, draw(535, 552), draw(900, 1150), draw(0.2, 0.5))
    magenta = magenta + magenta_blue * spectra.bell(435.0, 38.0) + magenta_red * spectra.bell(645.0, 50.0)
    yellow = _dye(rng, draw(438, 452), draw(1700, 2200), 0.0) + yellow_green * spectra.bell(538.0, 42.0)
    # What the couplers of the cyan and the magenta layer absorb themselves; it goes where they are spent.
    reddish = spectra.skew(draw(505, 535), draw(45, 60), draw(35, 45)) + draw(0.3, 0.7) * spectra.bell(440.0, 42.0)
    yellowish = spectra.skew(draw(432, 446), 42.0, draw(34, 44))
    spent, capacity = draw(0.35, 1.15, 2), draw(1.9, 2.8, 2)
    reddish, yellowish = spent[0] * cyan_green * reddish, spent[1] * magenta_blue * yellowish
    fog = draw(0.03, 0.13) * draw(0.7, 1.3, 3)
    plain = np.stack([cyan, magenta, yellow], axis=1) * draw(0.95, 1.1, 3)
    base = draw(0.06, 0.15) + plain @ fog + capacity[0] * reddish + capacity[1] * yellowish
    return plain - np.stack([reddish, yellowish, np.zeros(len(_NM))], axis=1), np.asarray(base)


def _rig(rng: np.random.Generator) -> film.Rig:
    name, light = _panel(rng)
    return film.Rig(name, -1, light / light.mean(), _camera(rng))


def _panel(rng: np.random.Generator) -> tuple[str, F64]:
    draw, kind = rng.uniform, rng.random()
    if kind < 0.22:
        peaks, widths = draw((442, 514, 618), (466, 536, 660)), draw((7, 11, 7), (12, 18, 11))
        levels = draw(0.6, 1.4, 3)
        bells = [spectra.bell(*shape) for shape in zip(peaks, widths, strict=True)]
        return "three diodes", np.asarray(levels @ np.array(bells))
    if kind < 0.60:
        blue = draw(0.4, 1.6) * spectra.skew(draw(440, 462), draw(8, 20), draw(10, 25))
        violet = draw(0.0, 0.4) * spectra.bell(draw(405, 425), draw(8, 14))
        phosphor = spectra.skew(draw(525, 570), draw(35, 55), draw(50, 75))
        return "diode", blue + violet + phosphor + draw(0.0, 1.2) * spectra.bell(draw(610, 655), draw(12, 55))
    if kind < 0.75:
        name = _DIODES[int(rng.integers(len(_DIODES)))]
        return name, spectra.panel(name)
    if kind < 0.87:
        kelvin = draw(2700.0, 3400.0)
        metres = _NM * 1e-9
        return "lamp", 1.0 / (metres**5 * np.expm1(0.014388 / (metres * kelvin)))
    if kind < 0.94:
        share = draw()
        return "daylight", share * spectra.illuminant("D50") + (1.0 - share) * spectra.illuminant("D65")
    name = _TUBES[int(rng.integers(len(_TUBES)))]
    return name, spectra.illuminant(name)


def _camera(rng: np.random.Generator) -> F64:
    draw, kind = rng.uniform, rng.random()
    if kind < 0.15:
        seen_by = spectra.camera(0)
        shift_nm = draw(-5.0, 5.0)
        seen_by = np.stack([np.interp(_NM, _NM + shift_nm, seen_by[:, k]) for k in range(3)], axis=1)
    else:
        red = spectra.skew(draw(594, 612), draw(16, 28), draw(30, 42))
        red = red + draw(0.0, 0.10) * spectra.bell(525.0, 45.0) + draw(0.0, 0.06) * spectra.bell(432.0, 26.0)
        green = spectra.skew(draw(525, 541), draw(30, 42), draw(32, 42))
        green = green + draw(0.0, 0.08) * spectra.bell(452.0, 38.0) + draw(0.0, 0.04) * spectra.bell(610.0, 30.0)
        blue = spectra.skew(draw(448, 464), draw(20, 28), draw(24, 34)) + draw(0.0, 0.05) * spectra.bell(540.0, 42.0)
        seen_by = np.stack([red, green, blue], axis=1)
    return np.asarray(seen_by / (1.0 + np.exp((_NM - draw(655, 700)) / draw(5, 10)))[:, None])
