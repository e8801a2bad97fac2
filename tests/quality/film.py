"""Expose, develop and copy invented film: from scene spectra to what the copying camera counts."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from tests.quality import spectra
from tests.quality.spectra import F64, Stock


@dataclass(frozen=True)
class Rig:
    """Panel and camera."""

    panel: str = "LED-B3"
    camera: int = 0
    light: F64 | None = field(default=None, compare=False)
    """Spectrum of the panel; None takes it by name."""
    sensitivities: F64 | None = field(default=None, compare=False)
    """Of the camera, shape (n, 3); None takes them by number."""

    @property
    def response(self) -> F64:
        """Sensitivity times light, shape (n, 3)."""
        light = spectra.panel(self.panel) if self.light is None else self.light
        return self.seen_by * light[:, None]

    @property
    def seen_by(self) -> F64:
        """Sensitivities of the camera, shape (n, 3)."""
        return spectra.camera(self.camera) if self.sensitivities is None else self.sensitivities

    @property
    def name(self) -> str:
        """For tables."""
        return f"{self.panel}, camera {self.camera}"


def layer_exposures(stock: Stock, reflectances: F64, scene_light: str = "D55") -> F64:
    """Linear exposures of the layers, white = 1, from reflectances of shape (..., n); result (..., 3)."""
    weights = spectra.layer_sensitivities(stock) * spectra.illuminant(scene_light)[:, None]
    return np.asarray((reflectances @ weights) / weights.sum(axis=0))


def rgb_exposures(stock: Stock, linear_srgb: F64, scene_light: str = "D55") -> F64:
    """Linear exposures of the layers from linear sRGB of a photograph, any shape (..., 3)."""
    basis = layer_exposures(stock, spectra.reflectance_basis().T, scene_light)
    return linear_srgb @ basis


def densities(stock: Stock, exposures: F64, stops: float = 0.0) -> F64:
    """Dye amounts of exposures of shape (..., 3), a camera exposure `stops` over normal."""
    log_exposure = np.log10(np.maximum(exposures * 2.0**stops, 1e-6))
    if stock.kind == "slide":
        return slide_amounts(stock, log_exposure)
    if stock.kind == "bw-negative":
        # One emulsion that sees what the three layers together see.
        seen = np.log10(np.maximum(exposures.mean(axis=-1, keepdims=True) * 2.0**stops, 1e-6))
        silver = spectra.dye_amounts(stock, seen * np.ones(3))
        return np.repeat(silver.mean(axis=-1, keepdims=True), 3, axis=-1)
    return spectra.dye_amounts(stock, log_exposure)


def slide_amounts(stock: Stock, log_exposure: F64) -> F64:
    """Dyes of a reversal film: most where no light was; S-shaped, middle grey near 0.75."""
    over_grey = (log_exposure - np.log10(0.18)) * np.array(stock.gamma)
    densest, dye_at_grey = 3.1, 0.65
    return np.asarray(densest / (1.0 + (densest / dye_at_grey - 1.0) * np.exp(4.0 * over_grey / densest)))


def transmittances(stock: Stock, rig: Rig, amounts: F64) -> F64:
    """What the camera sees through the film, relative to the bare light, shape (..., 3)."""
    response = rig.response
    if stock.kind == "bw-negative":
        spectrum = np.ones((len(spectra.WAVELENGTHS_NM), 3)) / 3
    else:
        spectrum = spectra.dye_densities(stock)
    return _passed(amounts, spectrum, spectra.base_density(stock), response / response.sum(axis=0))


_AT_A_TIME = 16_384
"""Pixels whose spectra fit into the processor's cache."""


def _passed(amounts: F64, spectrum: F64, base: F64, weights: F64) -> F64:
    """Light that dyes let pass, weighted over the spectrum, shape (..., 3).

    Spectra are in single precision, which is finer than a sensor's noise by a thousand and takes a tenth of the time.
    """
    pixels = amounts.reshape(-1, 3)
    passed = np.empty((len(pixels), 3))
    exponents, thinnest = (-np.log(10.0) * spectrum.T).astype(np.float32), (-np.log(10.0) * base).astype(np.float32)
    for first in range(0, len(pixels), _AT_A_TIME):
        some = slice(first, first + _AT_A_TIME)
        light = pixels[some].astype(np.float32) @ exponents
        light += thinnest
        passed[some] = np.exp(light, out=light) @ weights.astype(np.float32)
    return passed.reshape(*amounts.shape[:-1], 3)


def base_transmittance(stock: Stock, rig: Rig) -> F64:
    """The clear base as the camera sees it, shape (3,)."""
    return transmittances(stock, rig, np.zeros(3))


def slide_xyz(stock: Stock, amounts: F64) -> F64:
    """XYZ of a slide on a D50 table, Y of the bare light = 1, shape (..., 3)."""
    observer = spectra.cmfs() * spectra.illuminant("D50")[:, None]
    return _passed(amounts, spectra.dye_densities(stock), spectra.base_density(stock), observer / observer[:, 1].sum())
