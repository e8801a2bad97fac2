"""The copy stand: where points of the film come to lie in the view, holder, light panel, lens.

Table coordinates are mm in the plane of the film, origin where the camera's axis meets it, x right, y down.
"""

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from tests.film_pictures.third_hand.strip import Raster
from tethercap.pictures import F32Array, F64Array

FloatArray = npt.NDArray[np.floating]


@dataclass(frozen=True, slots=True)
class Pose:
    """How the film lies on the table: its origin, and turned clockwise."""

    x_mm: float
    y_mm: float
    turn_deg: float


@dataclass(frozen=True, slots=True)
class Opening:
    """Hole of the holder, its middle and half sizes in table coordinates."""

    x_mm: float
    y_mm: float
    half_x_mm: float
    half_y_mm: float
    corner_mm: float
    turn_deg: float
    soft_mm: float
    """Its edge is above or below the plane of sharpness."""


@dataclass(frozen=True, slots=True)
class Optics:
    """Camera over the table."""

    width_px: int
    height_px: int
    bar_x_px: int
    bar_y_px: int
    """Black bars on both sides, inside the width and height."""
    mm_per_px: float
    roll_deg: float
    keystone_x: float
    keystone_y: float
    """Change of scale along x and y, a mm."""
    distortion: float
    """Share by which the corners of the view are drawn in (+) or out."""
    curl: float
    """Share by which the middle of the film's width is nearer to the lens."""
    blur_mm: float
    """Deviation of the blur of lens and sensor, on the film."""
    corner_blur: float
    """Times so much in the corners of the view."""
    defocus_mm: float
    """Radius of the disk of a lens out of focus."""
    vignette: float
    """Share of light lost in the corners."""

    @property
    def middle_px(self) -> F64Array:
        """Middle of the view, pixel centres at whole numbers."""
        return np.array([(self.width_px - 1) / 2, (self.height_px - 1) / 2])

    @property
    def half_diagonal_px(self) -> float:
        """Half the diagonal of the picture between the bars."""
        return float(np.hypot(self.width_px - 2 * self.bar_x_px, self.height_px - 2 * self.bar_y_px)) / 2


def to_table(optics: Optics, x_px: FloatArray, y_px: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Points of the view on the table, mm."""
    x, y = x_px - (optics.width_px - 1) / 2, y_px - (optics.height_px - 1) / 2
    stretch = 1 + optics.distortion * (x * x + y * y) / optics.half_diagonal_px**2
    x, y = x * stretch * optics.mm_per_px, y * stretch * optics.mm_per_px
    roll = np.radians(optics.roll_deg)
    c, s = float(np.cos(roll)), float(np.sin(roll))
    x, y = c * x + s * y, c * y - s * x
    # Inverse of a view whose scale falls with 1 + kx X + ky Y.
    far = 1 / (1 - optics.keystone_x * x - optics.keystone_y * y)
    return x * far, y * far


def to_film(optics: Optics, pose: Pose, x_mm: FloatArray, y_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Points of the table on the film, mm."""
    turn = np.radians(pose.turn_deg)
    c, s = float(np.cos(turn)), float(np.sin(turn))
    x, y = x_mm - pose.x_mm, y_mm - pose.y_mm
    u, v = c * x + s * y, c * y - s * x
    nearer = 1 - optics.curl * np.maximum(1 - (v / 17.5) ** 2, 0)
    return u + x_mm * (nearer - 1), v * nearer


def to_view(optics: Optics, pose: Pose, film_mm: F64Array) -> F64Array:
    """Points of the film, (n, 2), in the view, (n, 2): the way there backwards, by Newton's method."""
    px = np.tile(optics.middle_px, (len(film_mm), 1))

    def there(p: F64Array) -> F64Array:
        return np.stack(to_film(optics, pose, *to_table(optics, p[:, 0], p[:, 1])), axis=1)

    right, down = np.array([0.5, 0.0]), np.array([0.0, 0.5])
    for _ in range(5):
        now = there(px)
        across = np.stack([there(px + right) - there(px - right), there(px + down) - there(px - down)], axis=2)
        px = px + np.linalg.solve(across, (film_mm - now)[:, :, None])[:, :, 0]
    return px


def grid(optics: Optics, finer: int) -> tuple[F32Array, F32Array]:
    """Middles of all pixels of the view, each divided into finer x finer: x, y in px, height x width."""
    x = (np.arange(optics.width_px * finer, dtype=np.float32) + 0.5) / finer - 0.5
    y = (np.arange(optics.height_px * finer, dtype=np.float32) + 0.5) / finer - 0.5
    xs, ys = np.meshgrid(x, y)
    return xs.astype(np.float32), ys.astype(np.float32)


def look_up(piece: Raster, u_mm: FloatArray, v_mm: FloatArray) -> F32Array:
    """Light through the film at points of it; beside the raster there is no film."""
    x = ((u_mm - piece.u0_mm) * piece.px_per_mm).astype(np.float32)
    y = ((v_mm - piece.v0_mm) * piece.px_per_mm).astype(np.float32)
    seen = cv2.remap(piece.through, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=(1.0, 1.0, 1.0))
    return np.asarray(seen, np.float32)


def opened(opening: Opening | None, x_mm: FloatArray, y_mm: FloatArray) -> F32Array:
    """Share of light that the holder lets pass."""
    if opening is None:
        return np.ones(x_mm.shape, np.float32)
    turn = np.radians(opening.turn_deg)
    c, s = float(np.cos(turn)), float(np.sin(turn))
    x, y = x_mm - opening.x_mm, y_mm - opening.y_mm
    x, y = c * x + s * y, c * y - s * x
    dx, dy, r = opening.half_x_mm - np.abs(x), opening.half_y_mm - np.abs(y), opening.corner_mm
    inside = np.where((dx < r) & (dy < r), r - np.hypot(r - dx, r - dy), np.minimum(dx, dy))
    free: F32Array = np.clip(0.5 + inside / opening.soft_mm, 0, 1).astype(np.float32)
    return free


def vignetting(optics: Optics, x_px: FloatArray, y_px: FloatArray) -> F32Array:
    """Share of light that the lens keeps."""
    x, y = x_px - (optics.width_px - 1) / 2, y_px - (optics.height_px - 1) / 2
    off = np.hypot(x, y) / optics.half_diagonal_px
    kept: F32Array = (1 - optics.vignette * off**2).astype(np.float32)
    return kept


def blurred(optics: Optics, light: F32Array, finer: int) -> F32Array:
    """As the lens throws it on the sensor; softer towards the corners."""
    px = finer / optics.mm_per_px
    if optics.defocus_mm * px > 0.7:
        r = optics.defocus_mm * px
        n = int(np.ceil(r)) + 1
        y, x = np.mgrid[-n : n + 1, -n : n + 1]
        disk = np.clip(r + 0.5 - np.hypot(x, y), 0, 1).astype(np.float32)
        light = np.asarray(cv2.filter2D(light, -1, disk / disk.sum(), borderType=cv2.BORDER_REPLICATE), np.float32)
    blur = max(optics.blur_mm * px, 0.25)
    sharp = np.asarray(cv2.GaussianBlur(light, (0, 0), blur, borderType=cv2.BORDER_REPLICATE), np.float32)
    if optics.corner_blur <= 1.05:
        return sharp
    extra = optics.blur_mm * px * float(np.sqrt(optics.corner_blur**2 - 1))
    soft = cv2.GaussianBlur(sharp, (0, 0), max(extra, 0.25), borderType=cv2.BORDER_REPLICATE)
    height, width = light.shape[:2]
    y, x = np.meshgrid(np.linspace(-1, 1, height), np.linspace(-1, 1, width), indexing="ij")
    share = np.clip((x * x + y * y) / 2, 0, 1).astype(np.float32)
    share = share[:, :, None] if light.ndim == 3 else share
    mixed: F32Array = sharp * (1 - share) + soft * share
    return mixed
