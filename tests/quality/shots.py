"""Copies of invented film as RAW files: uneven light, glare, grain, photon and read noise, Bayer mosaic, DNG."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import tifffile

from tests.quality import colours, film, spectra
from tests.quality.spectra import F64, Stock

WIDTH_PX, HEIGHT_PX = 1200, 800
FRAME = (90, 70, 1020, 660)
"""Picture on the film: left, top, width, height; clear film around it."""
BLACK, WHITE = 512, 16383
_FULL_WELL_E = 40000.0
_GRAIN = 0.012
USUAL_GLARE = 0.004
"""Share of the mean light that lies over everything."""


@dataclass(frozen=True)
class Roll:
    """A stock on a rig: what all its shots share."""

    stock: Stock
    rig: film.Rig
    uneven: float = 0.12
    scene_light: str = "D55"
    glare: float = USUAL_GLARE
    seed: int = 0

    @property
    def light(self) -> F64:
        """Counts over black that the bare light gives, at the middle, R G B; clear film is well exposed then."""
        base = film.base_transmittance(self.stock, self.rig) if self.stock.kind != "slide" else np.ones(3)
        response = self.rig.response.sum(axis=0)
        return np.asarray(0.72 * (WHITE - BLACK) * response / (response * base).max())

    def shoot(self, path: Path, linear_srgb: F64, stops: float = 0.0, *, spectral: F64 | None = None) -> None:
        """Expose a frame, copy it, write the DNG.

        Parameters
        ----------
        linear_srgb : ndarray
            The scene, shape (height, width, 3) of FRAME's size; or patches where `spectral` is given.
        stops : float
            Exposure over normal.
        spectral : ndarray, optional
            Layer exposures of each pixel, instead of those of `linear_srgb`.
        """
        exposures = spectral if spectral is not None else film.rgb_exposures(self.stock, linear_srgb, self.scene_light)
        amounts = film.densities(self.stock, exposures, stops)
        rng = np.random.default_rng(self.seed + int(100 * stops) + 1000)
        grain = _GRAIN * np.sqrt(np.maximum(amounts, 0.05)) * rng.standard_normal(amounts.shape)
        left, top, width, height = FRAME
        rebate = np.full(3, float(film.densities(self.stock, np.full((1, 3), 1e-6))[0].mean()))
        whole = np.broadcast_to(rebate, (HEIGHT_PX, WIDTH_PX, 3)).copy()
        whole[top : top + height, left : left + width] = amounts + grain
        write_dng(
            path, self._expose(film.transmittances(self.stock, self.rig, whole), rng), self._neutral(), self._matrix()
        )

    def shoot_light(self, path: Path) -> None:
        """Photograph the bare light, at an exposure that does not clip."""
        rng = np.random.default_rng(self.seed)
        even = np.ones((HEIGHT_PX, WIDTH_PX, 3))
        level = 0.8 * (WHITE - BLACK) / self.light.max()
        write_dng(path, self._expose(level * even, rng), self._neutral(), self._matrix())

    def _falloff(self) -> F64:
        y, x = np.mgrid[0:HEIGHT_PX, 0:WIDTH_PX]
        radius = np.hypot((x - 0.55 * WIDTH_PX) / WIDTH_PX, (y - 0.45 * HEIGHT_PX) / WIDTH_PX)
        return np.asarray(1.0 - self.uneven * (radius / 0.6) ** 2)

    def _expose(self, transmittance: F64, rng: np.random.Generator) -> F64:
        light = transmittance * self._falloff()[..., None]
        light = light + self.glare * light.mean(axis=(0, 1))
        mosaic = np.empty((HEIGHT_PX, WIDTH_PX))
        for (row, column), channel in {(0, 0): 0, (0, 1): 1, (1, 0): 1, (1, 1): 2}.items():
            mosaic[row::2, column::2] = (light[..., channel] * self.light[channel])[row::2, column::2]
        electrons = mosaic / (WHITE - BLACK) * _FULL_WELL_E
        noisy = electrons + np.sqrt(electrons + 9.0) * rng.standard_normal(mosaic.shape)
        return np.clip(np.rint(noisy * (WHITE - BLACK) / _FULL_WELL_E + BLACK), 0, WHITE)

    def _neutral(self) -> F64:
        response = self.rig.response.sum(axis=0)
        return np.asarray(response / response[1])

    def _matrix(self) -> F64:
        """XYZ to camera as DNG wants it, fitted to the ColorChecker under daylight."""
        weights = self.rig.seen_by * spectra.illuminant("D65")[:, None]
        seen = (spectra.chart_reflectances() @ weights) / weights.sum(axis=0)
        xyz = colours.xyz_of_linear(colours.chart_linear_srgb("D65"))
        fitted, *_ = np.linalg.lstsq(xyz, seen * weights.sum(axis=0) / weights[:, 1].sum(), rcond=None)
        return np.asarray(fitted.T)


def write_dng(path: Path, mosaic: F64, neutral: F64, xyz_to_camera: F64) -> None:
    """Write a Bayer DNG (RGGB) that LibRaw opens."""
    tags = [
        (50706, "B", 4, b"\1\4\0\0", True),
        (50708, "s", 0, "Invented Camera", True),
        (33421, "H", 2, (2, 2), True),
        (33422, "B", 4, bytes([0, 1, 1, 2]), True),
        (50714, "H", 1, BLACK, True),
        (50717, "H", 1, WHITE, True),
        (50721, "2i", 9, _rationals(xyz_to_camera.ravel()), True),
        (50778, "H", 1, 21, True),
        (50728, "2I", 3, _rationals(neutral), True),
    ]
    tifffile.imwrite(path, mosaic.astype(np.uint16), photometric=32803, extratags=tags, metadata=None)


def _rationals(values: F64) -> tuple[int, ...]:
    return tuple(number for value in values for number in (round(float(value) * 100000), 100000))


def photograph(name: str) -> F64:
    """An open photograph from scikit-image as linear sRGB of FRAME's size, shape (height, width, 3)."""
    import skimage

    picture = np.asarray(cv2.imread(str(Path(skimage.__file__).parent / "data" / name)), dtype=np.float64)
    _, _, width, height = FRAME
    factor = max(width / picture.shape[1], height / picture.shape[0])
    large = cv2.resize(
        picture, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC
    )
    y, x = (large.shape[0] - height) // 2, (large.shape[1] - width) // 2
    cut = large[y : y + height, x : x + width, ::-1]
    return colours.srgb_decode(np.asarray(np.clip(cut / 255.0, 0.0, 1.0)))


PHOTOGRAPHS = ("astronaut.png", "chelsea.png", "coffee.png", "rocket.jpg", "motorcycle_left.png")
"""A portrait, an animal, a still life, a launch at dusk, an interior; free licences, see the package."""


def chart_picture(patches: F64, background: F64) -> F64:
    """Lay 24 patch values out as a chart on a background, shape of FRAME (height, width, channels)."""
    _, _, width, height = FRAME
    picture = np.broadcast_to(background, (height, width, patches.shape[1])).copy()
    for number, (x, y, side) in enumerate(chart_places()):
        picture[y : y + side, x : x + side] = patches[number]
    return picture


def chart_places() -> list[tuple[int, int, int]]:
    """Left, top, side of each patch inside FRAME."""
    side, gap = 140, 16
    left, top = (FRAME[2] - 6 * side - 5 * gap) // 2, (FRAME[3] - 4 * side - 3 * gap) // 2
    return [(left + c * (side + gap), top + r * (side + gap), side) for r in range(4) for c in range(6)]
