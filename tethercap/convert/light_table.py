"""Film as it lies on a light table: the RAW's own colours, nothing inverted, one frame's stretch of the strip."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from tethercap.convert import spaces
from tethercap.convert.flat_field import colour_planes
from tethercap.film.formats import FilmFormat
from tethercap.geometry import QuadPx, RectPx
from tethercap.pictures import ColourSpace, F32Array, F64Array, RawPicture, U8Array

_HOLDER_LIGHT = 0.99
"""Brightest light is taken at this quantile of what may be bare light, perforations and the gaps of the holder."""
_BARE_SHARE = 0.002
_DARK_SHARE, _LIT_SHARE = 0.02, 0.005
"""Light under this share of the bare light is none; a row of the picture is lit where more than such a share is."""
_LEVELS = 4096


@dataclass(frozen=True, slots=True)
class Stretch:
    """The part of the strip that belongs to one frame, mm around the frame."""

    along_mm: float
    """Film before and after the picture."""
    across_mm: float
    """Film above and below it."""


def stretch_of(film_format: FilmFormat) -> Stretch:
    """Film that belongs to a frame: half the gap at either end, and the whole width of the strip."""
    across = (film_format.strip_width_mm - film_format.across_mm) / 2
    return Stretch(film_format.gap_mm / 2, across)


def lit_part(raw: RawPicture) -> RectPx:
    """Find the opening of the holder: the part of a picture, mosaic pixels, beyond which it is dark all along."""
    green = cv2.resize(_half_size(raw)[..., 1], None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    lit = green > _DARK_SHARE * bare_light(raw)[1]
    rows, columns = (np.flatnonzero(lit.mean(axis=axis) > _LIT_SHARE) for axis in (1, 0))
    if not rows.size or not columns.size:
        return RectPx(0, 0, raw.size.width_px, raw.size.height_px)
    scale = 8
    left, top = int(columns[0]) * scale, int(rows[0]) * scale
    return RectPx(left, top, (int(columns[-1]) + 1) * scale - left, (int(rows[-1]) + 1) * scale - top)


def stretch_seen(frames: Sequence[QuadPx], seen: RectPx, film_format: FilmFormat) -> Stretch:
    """Film around the frame that every one of some pictures shows, at most what belongs to a frame.

    Parameters
    ----------
    frames : sequence of QuadPx
        Corners of each frame in its picture, mosaic pixels.
    seen : RectPx
        Part of the pictures that shows film, such as `lit_part`.
    film_format : FilmFormat
    """
    stretch = stretch_of(film_format)
    along, across = stretch.along_mm, stretch.across_mm
    for corners in frames:
        points = corners.as_array()
        width_mm, _, lies_along = _lying(points, film_format)
        beside, above = _seen_mm(points, seen, width_mm)
        along = min(along, beside if lies_along else above)
        across = min(across, above if lies_along else beside)
    return Stretch(along, across)


def show_on_light_table(
    raw: RawPicture,
    corners: QuadPx | None,
    film_format: FilmFormat,
    long_side_px: int,
    *,
    stretch: Stretch | None = None,
    white: F64Array | None = None,
) -> U8Array:
    """Render a frame's stretch of film, the bare light white.

    Parameters
    ----------
    raw : RawPicture
    corners : QuadPx or None
        The picture on the film, mosaic pixels; None shows all that the camera saw.
    film_format : FilmFormat
    long_side_px : int
        Size of what is rendered.
    stretch : Stretch, optional
        Film around the frame; None shows what belongs to the frame, as far as the picture has it.
    white : ndarray, optional
        Counts over black of the light, red, green, blue, shape (3,); None takes the brightest part of the picture,
        lifted where that is clear film rather than bare light.

    Returns
    -------
    ndarray
        Shape (height, width, 3), uint8, sRGB, blue-green-red. What lies beyond the camera's view is white.
    """
    rgb = _half_size(raw)
    light = bare_light(raw) if white is None else white
    seen = np.asarray(np.clip(rgb / light.astype(np.float32), 0.0, 1.0), np.float32)
    srgb = cv2.transform(seen, _camera_to_srgb(raw))
    index = np.clip(srgb * (_LEVELS - 1) + 0.5, 0, _LEVELS - 1).astype(np.uint16)
    curve = spaces.SPACES[ColourSpace.SRGB].curve.encode(np.arange(_LEVELS) / (_LEVELS - 1))
    encoded = np.clip(np.rint(curve * 255), 0, 255).astype(np.uint8)[index]
    picture = np.ascontiguousarray(encoded[..., ::-1])
    if corners is None:
        factor = long_side_px / max(picture.shape[:2])
        size = (max(round(picture.shape[1] * factor), 1), max(round(picture.shape[0] * factor), 1))
        return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)
    around = stretch or stretch_seen([corners], RectPx(0, 0, *raw.size), film_format)
    return _cut(picture, corners.scaled(0.5), film_format, around, long_side_px)


def _half_size(raw: RawPicture) -> F32Array:
    sums: list[list[F32Array]] = [[], [], []]
    for plane, channel in zip(colour_planes(raw), raw.pattern.ravel(), strict=True):
        sums[int(channel)].append(plane)
    planes = [np.asarray(sum(found) / len(found), np.float32) for found in sums]
    return np.asarray(np.dstack(planes), np.float32)


def bare_light(raw: RawPicture) -> F64Array:
    """Counts over black of the brightest part of a picture of film, red, green, blue, shape (3,).

    Perforations and gaps show the light itself. A picture that shows none of it is scaled by its clear film, and looks
    a little brighter than it would on the table.
    """
    planes = colour_planes(raw)
    light = np.zeros(3)
    for plane, channel in zip(planes, raw.pattern.ravel(), strict=True):
        small = plane[::4, ::4]
        brightest = float(np.quantile(small, 1.0 - _BARE_SHARE))
        lit = small[small > 0.8 * brightest]
        light[int(channel)] = max(light[int(channel)], float(np.quantile(lit, _HOLDER_LIGHT)) if lit.size else 1.0)
    return np.maximum(light, 1.0)


def _camera_to_srgb(raw: RawPicture) -> F32Array:
    if raw.camera_to_xyz is None:
        return np.eye(3, dtype=np.float32)
    matrix = np.linalg.inv(spaces.rgb_to_xyz(ColourSpace.SRGB)) @ raw.camera_to_xyz
    return np.asarray(matrix / matrix.sum(axis=1, keepdims=True), np.float32)


def _lying(points: F64Array, film_format: FilmFormat) -> tuple[float, float, bool]:
    """Width and height of the frame as the picture shows it, mm, and whether the film runs from left to right."""
    top, right = np.hypot(*(points[1] - points[0])), np.hypot(*(points[2] - points[1]))
    # The film runs from left to right unless the frame's sides fit better the other way round.
    lies_along = bool((top > right) == (film_format.along_mm > film_format.across_mm))
    sides = film_format.along_mm, film_format.across_mm
    return (*(sides if lies_along else sides[::-1]), lies_along)


def _cut(picture: U8Array, corners: QuadPx, film_format: FilmFormat, stretch: Stretch, long_side_px: int) -> U8Array:
    points = corners.as_array()
    width_mm, height_mm, lies_along = _lying(points, film_format)
    margin_x, margin_y = stretch.along_mm, stretch.across_mm
    if not lies_along:
        margin_x, margin_y = margin_y, margin_x
    scale = long_side_px / max(width_mm + 2 * margin_x, height_mm + 2 * margin_y)
    frame = np.array([[0, 0], [width_mm, 0], [width_mm, height_mm], [0, height_mm]])
    target = (frame + np.array([margin_x, margin_y])) * scale - 0.5
    mapping = cv2.getPerspectiveTransform(points.astype(np.float32), target.astype(np.float32))
    size = (round((width_mm + 2 * margin_x) * scale), round((height_mm + 2 * margin_y) * scale))
    reduced, mapping = _reduce(picture, mapping)
    cut = cv2.warpPerspective(
        reduced, mapping, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=(255, 255, 255)
    )
    return np.asarray(cut, np.uint8)


def _seen_mm(points: F64Array, seen: RectPx, width_mm: float) -> tuple[float, float]:
    """Film that the picture shows beside and above or below the frame on both sides, mm."""
    mm_per_px = width_mm / max(float(np.hypot(*(points[1] - points[0]))), 1.0)
    (left, top), (right, bottom) = points.min(axis=0), points.max(axis=0)
    beside = min(left - seen.x_px, seen.x_px + seen.width_px - 1 - right)
    above = min(top - seen.y_px, seen.y_px + seen.height_px - 1 - bottom)
    return max(beside, 0.0) * mm_per_px, max(above, 0.0) * mm_per_px


def _reduce(picture: U8Array, mapping: np.ndarray) -> tuple[U8Array, np.ndarray]:
    """Halve the picture while the mapping shrinks it by more than two, so that fine detail does not alias."""
    while abs(np.linalg.det(mapping[:2, :2])) < 0.2 and min(picture.shape[:2]) > 64:
        half = (picture.shape[1] // 2, picture.shape[0] // 2)
        picture = np.asarray(cv2.resize(picture, half, interpolation=cv2.INTER_AREA), np.uint8)
        mapping = mapping @ np.array([[2.0, 0, 0.5], [0, 2.0, 0.5], [0, 0, 1.0]])
    return picture, mapping
