"""Film formats and film kinds: sizes in millimetres, and how light becomes density and density becomes transmittance.

Sizes: 135 film and its KS-1870 perforations as published for SMPTE ST 119 and the 135 format; 120 frames are the
nominal sizes of ISO 732; gaps, gate radii and 120's width are common practice without a source.  Densities: masked base
R 0.25, G 0.65, B 0.95, negative gamma 0.6, slide gamma 1.7, black-and-white base plus fog 0.28: usual
figures, from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

FloatPicture = NDArray[np.float32]

FILM_135_WIDTH_MM = 34.975
FILM_120_WIDTH_MM = 61.5
PERFORATION_PITCH_MM = 4.750
PERFORATION_ALONG_MM = 1.981
PERFORATION_ACROSS_MM = 2.794
PERFORATION_EDGE_MM = 2.01
"""Film edge to the near side of a perforation."""
PERFORATION_RADIUS_MM = 0.51

GREY = 0.18
"""Reflectance of the grey card that a correctly exposed frame is placed by."""


@dataclass(frozen=True)
class FilmFormat:
    """A frame size on a film, and the holder and camera distance that suit it.

    Attributes
    ----------
    along_mm, across_mm : float
        Frame size along and across the film.
    gap_mm, gap_spread_mm : float
        Mean gap between frames and its standard deviation (the advance of a camera is never exact).
    opening_along_mm, opening_across_mm : float
        The holder's opening: larger than the frame, so that a rim of rebate is seen.
    view_width_mm : float
        What the camera's picture covers from left to right; its height is 2/3 of it.
    """

    id: str
    along_mm: float
    across_mm: float
    gap_mm: float
    gap_spread_mm: float
    film_width_mm: float
    perforated: bool
    opening_along_mm: float
    opening_across_mm: float
    view_width_mm: float
    frames_per_strip: int

    @property
    def pitch_mm(self) -> float:
        """Mean distance from one frame to the next."""
        return self.along_mm + self.gap_mm


def _on_135(name: str, along: float, gap: float, spread: float, opening: float, view: float, frames: int) -> FilmFormat:
    return FilmFormat(name, along, 24.0, gap, spread, FILM_135_WIDTH_MM, True, opening, 27.2, view, frames)


def _on_120(name: str, along: float, gap: float, opening: float, view: float, frames: int) -> FilmFormat:
    return FilmFormat(name, along, 56.0, gap, 0.5, FILM_120_WIDTH_MM, False, opening, 59.0, view, frames)


FORMATS: dict[str, FilmFormat] = {
    film_format.id: film_format
    for film_format in (
        _on_135("135-36x24", 36.0, 2.0, 0.12, 40.2, 42.0, 6),
        _on_135("135-18x24", 18.0, 1.0, 0.08, 21.0, 42.0, 12),
        _on_135("135-65x24", 65.0, 4.6667, 0.2, 69.0, 74.0, 3),
        _on_120("120-6x4.5", 41.5, 3.5, 46.0, 92.0, 4),
        _on_120("120-6x6", 56.0, 6.0, 60.0, 92.0, 3),
        _on_120("120-6x7", 70.0, 5.0, 74.0, 92.0, 3),
        _on_120("120-6x9", 84.0, 6.0, 88.5, 94.0, 2),
    )
}


@dataclass(frozen=True)
class FilmKind:
    """How one sort of film answers light.

    Attributes
    ----------
    base_density : tuple of float
        Density of unexposed, developed film (for a slide: of fully exposed film) in R, G, B.
    max_density : float
        Highest image density above the base.
    grey_log_exposure : float
        How far (log10) the grey card lies above the foot of the curve (slide: below its clear end).
    layers : tuple
        3x3, scene linear RGB to exposure of the layers sensitive to R, G, B; rows sum to 1.
    dyes : tuple
        3x3, image density of the three layers to density in R, G, B.
    light_gain : float
        Panel level, as part of sensor saturation, that exposes this film well at f/8, 1/30 s, ISO 100.
    grain_density : float
        Standard deviation of density at density 1 over a square of 7 micrometres.
    """

    id: str
    negative: bool
    monochrome: bool
    base_density: tuple[float, float, float]
    gamma: float
    max_density: float
    grey_log_exposure: float
    bend: float
    layers: tuple[tuple[float, float, float], ...]
    dyes: tuple[tuple[float, float, float], ...]
    light_gain: float
    grain_density: float


_PANCHROMATIC = ((0.30, 0.50, 0.20),) * 3
_SEPARATED = ((0.94, 0.05, 0.01), (0.03, 0.93, 0.04), (0.01, 0.06, 0.93))
_OVERLAPPING = ((0.72, 0.24, 0.04), (0.06, 0.90, 0.04), (0.02, 0.10, 0.88))
# A mask cancels most of the dyes' unwanted absorption, but not what the cyan dye takes from green; where layers hold
# each other back while they are developed, a share is below nothing.  Of the size that spectra give; invented.
_MASKED_DYES = ((1.10, 0.01, -0.07), (0.22, 0.87, -0.01), (-0.15, 0.02, 1.19))
_NEUTRAL = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))

KINDS: dict[str, FilmKind] = {
    kind.id: kind
    for kind in (
        FilmKind("colour-negative", True, False, (0.25, 0.65, 0.95), 0.60, 2.0, 1.10, 0.28,
                 _OVERLAPPING, _MASKED_DYES, 2.2, 0.030),
        FilmKind("bw-negative", True, True, (0.28, 0.28, 0.28), 0.60, 2.0, 1.10, 0.25,
                 _PANCHROMATIC, _NEUTRAL, 1.45, 0.045),
        FilmKind("slide", False, False, (0.12, 0.12, 0.12), 1.70, 3.2, 0.55, 0.22,
                 _SEPARATED, _NEUTRAL, 0.92, 0.025),
    )
}  # fmt: skip


def image_density(log_exposure: FloatPicture, kind: FilmKind) -> FloatPicture:
    """Characteristic curve of one layer: straight in the middle, with a soft foot and a soft shoulder.

    Parameters
    ----------
    log_exposure : float32, any shape
        log10 of exposure relative to the grey card.
    kind : FilmKind

    Returns
    -------
    float32, same shape
        Density above the base, 0 to `max_density`.
    """
    direction = 1.0 if kind.negative else -1.0
    toe = np.float32(kind.bend * kind.gamma)
    straight = (direction * log_exposure + kind.grey_log_exposure) * np.float32(kind.gamma)
    foot = _soft_positive(straight, toe)
    return np.asarray(kind.max_density - _soft_positive(kind.max_density - foot, toe), dtype=np.float32)


def _soft_positive(value: FloatPicture, bend: np.float32) -> FloatPicture:
    """0 far below zero, the value itself far above, a bend of width `bend` between."""
    return np.asarray(bend * cv2.log(1.0 + cv2.exp(value / bend)).reshape(value.shape), dtype=np.float32)


def transmittance(scene: FloatPicture, kind: FilmKind) -> FloatPicture:
    """Developed film's transmittance for a scene.

    Parameters
    ----------
    scene : float32 (h, w, 3)
        Linear RGB (primaries of IEC 61966-2-1), 0.18 = grey card, 0 = no light at all.
    kind : FilmKind

    Returns
    -------
    float32 (h, w, 3)
        Transmittance 0 to 1 in the same primaries, base included.
    """
    developed = np.empty(scene.shape, np.float32)
    for top in range(0, scene.shape[0], _BAND_ROWS):
        band = slice(top, top + _BAND_ROWS)
        developed[band] = _develop(scene[band], kind)
    return developed


_BAND_ROWS = 24
"""Rows developed at a time: few enough that all intermediate results stay in the processor's cache."""


def _develop(scene: FloatPicture, kind: FilmKind) -> FloatPicture:
    exposure = cv2.transform(scene, np.array(kind.layers, np.float32) / np.float32(GREY))
    log_exposure = cv2.log(np.maximum(exposure, np.float32(1e-5))) * np.float32(1.0 / np.log(10.0))
    density = image_density(log_exposure, kind)
    mixed = cv2.transform(density, np.array(kind.dyes, np.float32)) + np.array(kind.base_density, np.float32)
    return np.asarray(cv2.exp(mixed * np.float32(-np.log(10.0))), dtype=np.float32)


def rebate_transmittance(kind: FilmKind) -> tuple[float, float, float]:
    """Transmittance of film that saw no light: the base of a negative, the black of a slide."""
    dark = transmittance(np.zeros((1, 1, 3), np.float32), kind)
    return float(dark[0, 0, 0]), float(dark[0, 0, 1]), float(dark[0, 0, 2])
