"""RAW pictures of invented film, made directly as arrays: what the film model says is what is there."""

from dataclasses import dataclass

import numpy as np

from tests.unit.image_files.dng_writer import BLACK, WHITE, mosaic_of
from tethercap.convert.film_model import IDENTITY, FilmModel, curve
from tethercap.geometry import QuadPx
from tethercap.pictures import F64Array, RawPicture

BASE_COUNTS = np.array([9000.0, 6000.0, 2600.0])
"""Counts over black through clear film: an orange mask."""
PLAIN = FilmModel(
    gamma=(0.58, 0.62, 0.66), speed=(-1.28, -1.35, -1.42), toe=0.2, density_matrix=IDENTITY, light_matrix=IDENTITY
)
"""A film without overlap of dyes or sensitivities."""


@dataclass(frozen=True)
class Shot:
    """A RAW and what it shows."""

    raw: RawPicture
    corners: QuadPx
    scene: F64Array
    """Linear scene light inside the frame, shape (height, width, 3)."""


def density_of(light: F64Array, model: FilmModel = PLAIN) -> F64Array:
    """Density over base of linear scene light, white of a normal exposure = 1."""
    x = np.log10(np.maximum(light, 1e-6))
    return np.stack([curve(x[..., k], model.gamma[k], model.speed[k], model.toe) for k in range(3)], axis=-1)


def raw_of(counts: F64Array, *, pattern: tuple[int, int, int, int] = (0, 1, 1, 2)) -> RawPicture:
    """A RAW of counts over black, shape (height, width, 3)."""
    return RawPicture(
        mosaic=mosaic_of(counts, pattern),
        pattern=np.array(pattern, np.uint8).reshape(2, 2),
        black=np.full((2, 2), float(BLACK)),
        white=float(WHITE),
        camera_to_xyz=None,
        daylight_multipliers=np.array([1.9, 1.0, 1.5]),
    )


def shoot(
    scene: F64Array,
    *,
    model: FilmModel = PLAIN,
    rim_px: int = 96,
    falloff: F64Array | None = None,
    pattern: tuple[int, int, int, int] = (0, 1, 1, 2),
) -> Shot:
    """Lay a scene on film with clear rebate around it, and copy it.

    Parameters
    ----------
    scene : ndarray
        Linear light, shape (height, width, 3), both even.
    falloff : ndarray, optional
        Light of the rig at each pixel of the whole picture, 1 = full.
    """
    height, width = scene.shape[:2]
    density = np.zeros((height + 2 * rim_px, width + 2 * rim_px, 3))
    density[rim_px : rim_px + height, rim_px : rim_px + width] = density_of(scene, model)
    counts = BASE_COUNTS * 10.0**-density
    if falloff is not None:
        counts = counts * falloff[..., None]
    low, right, bottom = rim_px - 0.5, rim_px + width - 0.5, rim_px + height - 0.5
    corners = QuadPx.from_array([[low, low], [right, low], [right, bottom], [low, bottom]])
    return Shot(raw_of(counts, pattern=pattern), corners, scene)


def grey_wedge(height: int = 256, width: int = 384) -> F64Array:
    """Greys from 0.01 to 0.9, brighter to the right."""
    ramp = np.geomspace(0.01, 0.9, width)
    return np.repeat(np.broadcast_to(ramp, (height, width))[..., None], 3, axis=2)


def colour_patches(seed: int = 4, rows: int = 4, columns: int = 6, side: int = 64) -> F64Array:
    """Patches of random colours, the first white."""
    values = np.random.default_rng(seed).uniform(0.03, 0.8, (rows, columns, 3))
    values[0, 0] = 0.9
    return np.repeat(np.repeat(values, side, axis=0), side, axis=1)
