"""Lights, cameras and films for the colour check, as spectra on one grid.

Measured data come from the colour-science package: CIE illuminants and LED spectra (CIE 15:2018), two cameras'
sensitivities (NPL), ColorChecker reflectances (BabelColor average of 30 charts), reflectance basis of Mallett and
Yuksel (2019). Everything about the films is invented: Gaussian layers and dyes in the places where the trade's colour
negative films have theirs.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Protocol

import numpy as np
import numpy.typing as npt

F64 = npt.NDArray[np.float64]

WAVELENGTHS_NM = np.arange(400.0, 701.0, 5.0)


def _colour() -> object:
    with warnings.catch_warnings():
        # The package warns that plotting is not installed, and of relative imports.
        warnings.simplefilter("ignore")
        import colour

        return colour


def _on_grid(wavelengths: npt.ArrayLike, values: npt.ArrayLike) -> F64:
    return np.asarray(np.interp(WAVELENGTHS_NM, np.asarray(wavelengths), np.asarray(values), left=0.0, right=0.0))


@cache
def illuminant(name: str) -> F64:
    """A CIE illuminant or LED, mean 1."""
    spectrum = _colour().SDS_ILLUMINANTS[name]  # type: ignore[attr-defined]
    values = _on_grid(spectrum.wavelengths, spectrum.values)
    return np.asarray(values / values.mean())


@cache
def cmfs() -> F64:
    """CIE 1931 standard observer, shape (n, 3)."""
    table = _colour().MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]  # type: ignore[attr-defined]
    return np.stack([_on_grid(table.wavelengths, table.values[:, k]) for k in range(3)], axis=1)


@cache
def camera(index: int) -> F64:
    """Sensitivities of a camera, shape (n, 3): 0 and 1 measured, 2 and up invented."""
    table = _colour().MSDS_CAMERA_SENSITIVITIES  # type: ignore[attr-defined]
    names = list(table)
    if index < 2:
        sensitivities = table[names[index]]
        return np.stack([_on_grid(sensitivities.wavelengths, sensitivities.values[:, k]) for k in range(3)], axis=1)
    shift = (index - 2) * 4.0
    return np.stack([bell(600.0 + shift, 38.0), bell(533.0 + shift, 42.0), bell(462.0 - shift, 30.0)], axis=1)


@cache
def narrow_panel() -> F64:
    """An invented panel of red, green and blue LEDs."""
    light = 1.0 * bell(455.0, 9.0) + 0.8 * bell(525.0, 14.0) + 1.1 * bell(632.0, 8.0)
    return np.asarray(light / light.mean())


def panel(name: str) -> F64:
    """Light of the copying panel by name: a CIE name or "narrow"."""
    return narrow_panel() if name == "narrow" else illuminant(name)


@cache
def chart_reflectances() -> F64:
    """The 24 patches of a ColorChecker, rows of the chart after each other, shape (24, n)."""
    chart = _colour().SDS_COLOURCHECKERS["BabelColor Average"]  # type: ignore[attr-defined]
    return np.stack([_on_grid(patch.wavelengths, patch.values) for patch in chart.values()])


@cache
def reflectance_basis() -> F64:
    """Reflectance of linear sRGB red, green and blue, shape (n, 3) (Mallett and Yuksel 2019)."""
    from_package = _colour().recovery.MSDS_BASIS_FUNCTIONS_sRGB_MALLETT2019  # type: ignore[attr-defined]
    return np.stack([_on_grid(from_package.wavelengths, from_package.values[:, k]) for k in range(3)], axis=1)


def bell(centre_nm: float, width_nm: float) -> F64:
    """A Gaussian of height 1 on the grid."""
    return np.exp(-0.5 * ((WAVELENGTHS_NM - centre_nm) / width_nm) ** 2)


def skew(centre_nm: float, short_nm: float, long_nm: float) -> F64:
    """A Gaussian with a width of its own on either side."""
    width = np.where(centre_nm > WAVELENGTHS_NM, short_nm, long_nm)
    return np.exp(-0.5 * ((WAVELENGTHS_NM - centre_nm) / width) ** 2)


@dataclass(frozen=True, eq=False)
class StockSpectra:
    """Spectra of a film given outright, on the grid."""

    layers: F64
    """Sensitivities of red, green and blue layer, shape (n, 3), each of sum 1."""
    dyes: F64
    """Density of cyan, magenta and yellow at unit amount, shape (n, 3)."""
    base: F64
    """Density of the base, shape (n,)."""


class Curves(Protocol):
    """From light to dye."""

    def amounts(self, log_exposure: F64) -> F64:
        """Dye of the three layers, shape (..., 3), of log10 exposures alike."""
        ...


@dataclass(frozen=True)
class Emulsions:
    """Curves of layers that hold several emulsions each."""

    densest: tuple[float, float, float]
    """Dye of each layer when all is developed."""
    speeds: tuple[tuple[float, ...], ...]
    """log10 exposure that develops half of an emulsion: for each emulsion, of each layer."""
    shares: tuple[tuple[float, ...], ...]
    """Part of a layer's dye that each emulsion makes, ordered likewise."""
    steepness: float
    """Of each emulsion's curve, over log10 exposure."""

    def amounts(self, log_exposure: F64) -> F64:
        """Dye of the three layers, shape (..., 3)."""
        developed = sum(
            np.array(share) / (1.0 + np.exp(-self.steepness * (log_exposure - np.array(speed))))
            for speed, share in zip(self.speeds, self.shares, strict=True)
        )
        return np.asarray(np.array(self.densest) * developed)


@dataclass(frozen=True)
class Stock:
    """An invented film."""

    name: str
    layers_nm: tuple[float, float, float] = (632.0, 550.0, 455.0)
    """Peak sensitivity of the red, green and blue layer."""
    short_nm: tuple[float, float, float] = (44.0, 38.0, 36.0)
    """Width of the sensitivity on the side of short waves (standard deviation)."""
    long_nm: tuple[float, float, float] = (24.0, 28.0, 29.0)
    gamma: tuple[float, float, float] = (0.60, 0.62, 0.66)
    """Slope of each layer's dye over log10 exposure, in density at the dye's peak."""
    toe: tuple[float, float, float] = (0.22, 0.22, 0.22)
    speed: tuple[float, float, float] = (-1.30, -1.35, -1.40)
    """log10 exposure (white of a normal exposure = 0) where the straight parts meet the base."""
    shoulder: float = 2.1
    """Dye at which it ends, density."""
    inhibition: float = 0.10
    """How much each layer holds back the others."""
    dyes_nm: tuple[float, float, float] = (655.0, 546.0, 448.0)
    side_absorption: float = 1.0
    """Unwanted absorption of the dyes, 1 = as usual before the mask takes part of it away."""
    masking: float = 0.75
    """Share of the unwanted absorption that the coloured couplers take away."""
    base: tuple[float, float, float] = (0.22, 0.60, 0.88)
    """Density of the base near 650, 545 and 445 nm."""
    kind: str = "colour-negative"
    seed: int = field(default=0, compare=False)
    spectra: StockSpectra | None = field(default=None, compare=False)
    """Instead of layers, dyes and base by their numbers."""
    emulsions: Curves | None = None
    """Instead of curves by gamma, toe, speed and shoulder."""


def layer_sensitivities(stock: Stock) -> F64:
    """Sensitivity of red, green and blue layer, shape (n, 3), each of sum 1."""
    if stock.spectra is not None:
        return stock.spectra.layers
    shapes = zip(stock.layers_nm, stock.short_nm, stock.long_nm, strict=True)
    columns = [skew(centre, short, long) for centre, short, long in shapes]
    return np.stack([column / column.sum() for column in columns], axis=1)


def dye_densities(stock: Stock) -> F64:
    """Density spectra of cyan, magenta and yellow at unit amount, mask taken into account, shape (n, 3)."""
    if stock.spectra is not None:
        return stock.spectra.dyes
    cyan, magenta, yellow = stock.dyes_nm
    side = stock.side_absorption
    left = side * (1.0 - stock.masking)
    spectra = [
        skew(cyan, 55.0, 60.0) + left * (0.16 * bell(545.0, 40.0) + 0.12 * bell(440.0, 35.0)),
        skew(magenta, 38.0, 34.0) + left * (0.30 * bell(435.0, 35.0)) + side * 0.06 * bell(640.0, 45.0),
        skew(yellow, 40.0, 38.0) + side * 0.05 * bell(540.0, 40.0),
    ]
    return np.stack(spectra, axis=1)


def base_density(stock: Stock) -> F64:
    """Density spectrum of the base, shape (n,)."""
    if stock.spectra is not None:
        return stock.spectra.base
    return np.asarray(np.interp(WAVELENGTHS_NM, [400, 445, 500, 545, 600, 650, 700], _base_points(stock)))


def _base_points(stock: Stock) -> list[float]:
    red, green, blue = stock.base
    return [blue * 0.95, blue, 0.35 * green + 0.6 * blue, green, 0.5 * (red + green), red, red * 0.95]


def dye_amounts(stock: Stock, log_exposure: F64) -> F64:
    """Amounts of cyan, magenta and yellow from log10 exposures of red, green and blue layer, any shape (..., 3)."""
    if stock.emulsions is not None:
        ended = stock.emulsions.amounts(log_exposure)
    else:
        gamma, toe, speed = (np.array(value) for value in (stock.gamma, stock.toe, stock.speed))
        straight = gamma * toe * np.logaddexp(0.0, (log_exposure - speed) / toe)
        end = np.exp(-3.0 * stock.shoulder)
        ended = (np.log1p(end) - np.log(np.exp(-3.0 * straight) + end)) / 3.0
    mean = ended.mean(axis=-1, keepdims=True)
    # Inhibition between layers is set so that greys keep their slope.
    return np.asarray(ended + stock.inhibition * 3.0 * (ended - mean))


def random_stock(seed: int) -> Stock:
    """A stock drawn at random around the usual, for fitting what must hold for all."""
    rng = np.random.default_rng(seed)

    def around(values: tuple[float, float, float], spread: float) -> tuple[float, float, float]:
        a, b, c = np.array(values) + spread * rng.standard_normal(3)
        return float(a), float(b), float(c)

    usual = Stock(f"random {seed}", seed=seed)
    toe = float(np.clip(0.22 + 0.05 * rng.standard_normal(), 0.1, 0.4))
    return replace(
        usual,
        layers_nm=around((float(rng.uniform(628.0, 648.0)), 550.0, 455.0), 4.0),
        short_nm=around((float(rng.uniform(26.0, 46.0)), float(rng.uniform(26.0, 40.0)), 34.0), 2.0),
        long_nm=around(usual.long_nm, 3.0),
        gamma=around(usual.gamma, 0.03),
        toe=(toe, toe, toe),
        speed=around(usual.speed, 0.08),
        inhibition=float(rng.uniform(0.03, 0.16)),
        dyes_nm=around(usual.dyes_nm, 4.0),
        side_absorption=float(rng.uniform(0.8, 1.3)),
        masking=float(rng.uniform(0.6, 0.9)),
        base=around(usual.base, 0.04),
    )


STOCKS = (
    Stock("plain 200"),
    Stock("soft 160", gamma=(0.54, 0.55, 0.58), speed=(-1.45, -1.5, -1.48), inhibition=0.06, masking=0.85),
    Stock(
        "bright 400",
        layers_nm=(638.0, 553.0, 458.0),
        gamma=(0.64, 0.68, 0.74),
        toe=(0.27, 0.25, 0.25),
        speed=(-1.22, -1.32, -1.30),
        inhibition=0.15,
        side_absorption=1.2,
        base=(0.28, 0.66, 0.98),
    ),
    Stock(
        "old 100",
        layers_nm=(627.0, 546.0, 450.0),
        gamma=(0.58, 0.63, 0.60),
        toe=(0.18, 0.2, 0.26),
        speed=(-1.35, -1.28, -1.20),
        inhibition=0.04,
        masking=0.6,
        base=(0.25, 0.55, 0.80),
    ),
)
"""Invented colour negative stocks of the check; none was used to fit the generic model."""

SLIDE = Stock(
    "slide 100",
    kind="slide",
    gamma=(1.65, 1.70, 1.70),
    masking=0.0,
    side_absorption=0.8,
    base=(0.10, 0.11, 0.12),
    inhibition=0.08,
)
BLACK_AND_WHITE = Stock("grey 125", kind="bw-negative", base=(0.27, 0.27, 0.28))
