"""How a camera sees the film: holder, light, lens, exposure, noise, sharpening, JPEG; and where the frame's corners
land."""

from dataclasses import dataclass, field

import cv2
import numpy as np
import numpy.typing as npt

from tests.film_pictures.contents import noise_field

F32 = npt.NDArray[np.float32]
U8 = npt.NDArray[np.uint8]


@dataclass
class Holder:
    """An opaque mask over the film; places in mm in the view, around the view's middle."""

    width_mm: float
    height_mm: float
    x_mm: float = 0.0
    y_mm: float = 0.0
    tilt_deg: float = 0.0
    radius_mm: float = 0.5
    rough_mm: float = 0.0
    level: float = 0.002
    """Light reflected by it, share of bare light."""
    soft_mm: float = 0.05


@dataclass
class View:
    """The camera and the light."""

    width: int = 1024
    height: int = 680
    px_per_mm: float = 24.0
    turn_deg: float = 0.0
    """Of the camera against the film, clockwise as the picture shows it."""
    keystone: tuple[float, float] = (0.0, 0.0)
    """Convergence of horizontals and verticals, degrees."""
    distortion: float = 0.0
    """Radial, share of the half diagonal at the corner; positive is pincushion."""
    exposure: float = 1.0
    """Code-value-linear level of bare light; above 1 it clips."""
    white_balance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    curve: float = 2.2
    contrast: float = 0.0
    fall_off: float = 0.1
    uneven: float = 0.03
    flicker: float = 0.0
    flicker_phase: float = 0.0
    noise: float = 1.0
    blur_px: float = 0.6
    motion_px: float = 0.0
    sharpen: float = 0.0
    quality: int = 85
    bars_px: tuple[int, int] = (0, 0)
    """Letter-box bars: left and right, top and bottom."""
    glare: float = 0.0
    reflection: float = 0.0
    dust: int = 0
    hairs: int = 0
    prints: int = 0
    line_skip: int = 1
    bow_mm: float = 0.0
    holder: Holder | None = None
    hazards: list[str] = field(default_factory=list)


def homography(view: View, film_x_mm: float, film_y_mm: float) -> npt.NDArray[np.float64]:
    """Film mm to ideal view px; (film_x_mm, film_y_mm) lands in the view's middle."""
    turn = np.radians(view.turn_deg)
    scale = view.px_per_mm
    shift = np.array([[1, 0, -film_x_mm], [0, 1, -film_y_mm], [0, 0, 1.0]])
    rotate = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1.0]])
    spread_mm = view.width / scale
    kx, ky = (np.tan(np.radians(k)) / spread_mm for k in view.keystone)
    tilt = np.array([[1, 0, 0], [0, 1, 0], [kx, ky, 1.0]])
    to_px = np.array([[scale, 0, (view.width - 1) / 2], [0, scale, (view.height - 1) / 2], [0, 0, 1.0]])
    return np.asarray(to_px @ tilt @ rotate @ shift, np.float64)


def distort(view: View, points: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Where the lens puts ideal points, shape (..., 2)."""
    middle = np.array([(view.width - 1) / 2, (view.height - 1) / 2])
    half = np.hypot(*middle)
    centred = points - middle
    r2 = (centred**2).sum(axis=-1, keepdims=True) / half**2
    return np.asarray(centred * (1 + view.distortion * r2) + middle)


def project(view: View, points_mm: npt.ArrayLike, film_x_mm: float, film_y_mm: float) -> npt.NDArray[np.float64]:
    """Places in the picture of places on the film, px, shape (n, 2)."""
    points = np.asarray(points_mm, np.float64)
    homogeneous = np.column_stack([points, np.ones(len(points))]) @ homography(view, film_x_mm, film_y_mm).T
    return distort(view, homogeneous[:, :2] / homogeneous[:, 2:])


def _undistorted_grid(view: View) -> npt.NDArray[np.float64]:
    y, x = np.mgrid[0 : view.height, 0 : view.width].astype(np.float64)
    wanted = np.stack([x, y], axis=-1)
    if view.distortion == 0:
        return wanted
    middle = np.array([(view.width - 1) / 2, (view.height - 1) / 2])
    half = np.hypot(*middle)
    centred = wanted - middle
    guess = centred.copy()
    for _ in range(4):
        guess = centred / (1 + view.distortion * (guess**2).sum(axis=-1, keepdims=True) / half**2)
    return np.asarray(guess + middle)


def look(
    view: View,
    film: F32,
    film_left_mm: float,
    film_top_mm: float,
    film_scale: float,
    at_mm: tuple[float, float],
    rng: np.random.Generator,
) -> tuple[F32, F32]:
    """Light on the sensor, linear, before exposure and noise.

    Returns
    -------
    light : ndarray
        Shape (height, width, 3), red, green, blue.
    holder : ndarray
        Share of each pixel covered by the holder, shape (height, width).
    """
    grid = _undistorted_grid(view).reshape(-1, 2)
    back = np.linalg.inv(homography(view, *at_mm))
    homogeneous = np.column_stack([grid, np.ones(len(grid))]) @ back.T
    mm = (homogeneous[:, :2] / homogeneous[:, 2:]).reshape(view.height, view.width, 2)
    if view.bow_mm:
        mm = mm + view.bow_mm * np.sin((mm[..., 1:] - mm[..., 1:].mean()) / 12.0)
    map_x = ((mm[..., 0] - film_left_mm) * film_scale - 0.5).astype(np.float32)
    map_y = ((mm[..., 1] - film_top_mm) * film_scale - 0.5).astype(np.float32)
    ratio = film_scale / view.px_per_mm
    source = cv2.GaussianBlur(film, (0, 0), max(0.3, 0.35 * ratio)) if ratio > 0.8 else film
    light = cv2.remap(
        source, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=(1.0, 1.0, 1.0)
    )
    light = np.asarray(light, np.float32) * _lamp(view, rng)[..., None]
    cover = _holder_cover(view, rng)
    if view.holder is not None:
        light = light * (1 - cover[..., None]) + view.holder.level * cover[..., None]
    return light.astype(np.float32), cover


def _lamp(view: View, rng: np.random.Generator) -> F32:
    y, x = np.mgrid[-1 : 1 : complex(0, view.height), -1 : 1 : complex(0, view.width)].astype(np.float32)
    lamp = 1 - np.float32(view.fall_off) * (x * x + y * y) / 2
    lamp += np.float32(view.uneven) * noise_field(rng, view.width, view.height, view.width / 3)
    if view.flicker:
        lamp *= 1 + np.float32(view.flicker) * np.sin(y * np.float32(9.0) + np.float32(view.flicker_phase))
    return np.asarray(lamp, np.float32)


def _holder_cover(view: View, rng: np.random.Generator) -> F32:
    if view.holder is None:
        return np.zeros((view.height, view.width), np.float32)
    holder = view.holder
    y, x = np.mgrid[0 : view.height, 0 : view.width].astype(np.float32)
    x = (x - (view.width - 1) / 2) / view.px_per_mm - holder.x_mm
    y = (y - (view.height - 1) / 2) / view.px_per_mm - holder.y_mm
    cos, sin = np.float32(np.cos(np.radians(holder.tilt_deg))), np.float32(np.sin(np.radians(holder.tilt_deg)))
    x, y = x * cos + y * sin, y * cos - x * sin
    if holder.rough_mm:
        rough = np.float32(holder.rough_mm) * noise_field(rng, view.width, view.height, 18)
        x, y = x + rough, y + rough[::-1]
    dx, dy = np.abs(x) - holder.width_mm / 2 + holder.radius_mm, np.abs(y) - holder.height_mm / 2 + holder.radius_mm
    distance = (
        np.hypot(np.clip(dx, 0, None), np.clip(dy, 0, None)) + np.minimum(np.maximum(dx, dy), 0) - holder.radius_mm
    )
    width = max(holder.soft_mm, 1 / view.px_per_mm)
    return np.asarray(np.clip(distance / width + 0.5, 0, 1), np.float32)


def develop(view: View, light: F32, rng: np.random.Generator, *, noisy: bool = True) -> U8:
    """Turn light into the camera's live picture, before JPEG; shape (height, width, 3), blue, green, red, uint8."""
    light = _spoil(view, light, rng) if noisy else light
    if view.blur_px > 0.2:
        light = np.asarray(cv2.GaussianBlur(light, (0, 0), view.blur_px), np.float32)
    if view.motion_px > 1:
        length = max(2, round(view.motion_px))
        light = np.asarray(cv2.blur(light, (length, 1)), np.float32)
    light = light + np.float32(view.glare)
    light = light * np.array(view.white_balance, np.float32) * np.float32(view.exposure)
    if noisy and view.noise > 0:
        light = light + rng.normal(0, 0.004 * view.noise, light.shape).astype(np.float32) * np.sqrt(
            np.clip(light, 0.02, 1)
        )
    coded = np.clip(light, 0, 1) ** np.float32(1 / view.curve)
    coded = coded + np.float32(view.contrast) * (coded - 0.5) * coded * (1 - coded) * 4
    if view.sharpen:
        coded = coded + np.float32(view.sharpen) * (coded - cv2.GaussianBlur(coded, (0, 0), 1.3))
    if view.line_skip > 1:
        kept = coded[:: view.line_skip, :: view.line_skip]
        coded = cv2.resize(kept, (view.width, view.height), interpolation=cv2.INTER_LINEAR)
    picture = np.clip(coded * 255 + 0.5, 0, 255).astype(np.uint8)[..., ::-1].copy()
    bx, by = view.bars_px
    if bx:
        picture[:, :bx] = picture[:, view.width - bx :] = 0
    if by:
        picture[:by] = picture[view.height - by :] = 0
    return np.asarray(picture, np.uint8)


def _spoil(view: View, light: F32, rng: np.random.Generator) -> F32:
    """Dust, hairs, fingerprints, reflections."""
    veil = np.ones((view.height, view.width), np.float32)
    for _ in range(view.dust):
        centre = (int(rng.integers(view.width)), int(rng.integers(view.height)))
        cv2.circle(
            veil, centre, int(rng.integers(1, max(2, view.width // 250))), float(rng.uniform(0.2, 0.7)), -1, cv2.LINE_AA
        )
    for _ in range(view.hairs):
        start = rng.uniform((0, 0), (view.width, view.height))
        heading = np.cumsum(rng.normal(0, 0.25, 40)) + rng.uniform(0, 6.3)
        points = start + np.cumsum(np.stack([np.cos(heading), np.sin(heading)], 1) * view.width / 150, axis=0)
        cv2.polylines(
            veil, [points.astype(np.int32)], False, float(rng.uniform(0.2, 0.6)), int(rng.integers(1, 4)), cv2.LINE_AA
        )
    light = light * veil[..., None]
    y, x = np.mgrid[0 : view.height, 0 : view.width].astype(np.float32)
    for _ in range(view.prints):
        cx, cy, r = rng.uniform(0, view.width), rng.uniform(0, view.height), view.width * rng.uniform(0.05, 0.12)
        d = np.hypot(x - cx, (y - cy) * 0.8)
        light = light * (1 - 0.15 * (np.sin(d * 60 / r) > 0) * (d < r))[..., None].astype(np.float32)
    if view.reflection:
        cx, cy, r = rng.uniform(0, view.width), rng.uniform(0, view.height), view.width * rng.uniform(0.05, 0.2)
        light = light + np.float32(view.reflection) * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * r * r))[..., None]
    return np.asarray(light, np.float32)


def as_jpeg(view: View, picture: U8) -> bytes:
    """Encode as the camera would."""
    done, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, view.quality])
    assert done
    return data.tobytes()
