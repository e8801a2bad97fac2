"""A frame photographed in overlapping parts, put together: found by their detail, laid side by side, blended."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from tethercap.errors import ConversionError
from tethercap.geometry import SizePx
from tethercap.pictures import F32Array, F64Array, U8Array, U16Array

_MOST_FEATURES = 4000
"""Details looked for in a part: enough that some hundreds lie where two parts overlap by a fifth."""
_RATIO = 0.75
"""A match has to be so much nearer than the next best (Lowe, 2004, section 7.1: 0.8)."""
_FEWEST_MATCHES = 24
"""Details that have to agree on how two parts lie: six numbers, with some to spare against chance."""
_REPROJECTION_PX = 2.0
"""How far a detail may be off and still agree, px of the shrunk parts."""
_BAND_ROWS = 256
_FEATHER_PX = 96.0
"""A part's weight grows over so many px from its edge, so that no seam is seen."""
_MARGIN_ROWS = 4
"""Rows of a part beside those that are asked for, which a cubic needs and rounding may."""


@dataclass(frozen=True, slots=True, eq=False)
class Mosaic:
    """Where each part lies in the whole."""

    size: SizePx
    to_part: tuple[F64Array, ...]
    """Affine matrices (2, 3) from pixels of the whole to those of each part."""
    mismatch_px: float
    """Typical distance between matching details after laying the parts, px of the parts."""


def place_tiles(previews: Sequence[U8Array], sizes: Sequence[SizePx]) -> Mosaic:
    """Find how parts of one picture lie to each other.

    Parameters
    ----------
    previews : sequence of ndarray
        The parts in small, grey, uint8, at least two; all shrunk alike.
    sizes : sequence of SizePx
        The parts' full sizes.

    Raises
    ------
    ConversionError
        If a part overlaps none of the others enough to be laid.
    """
    found = [_features_of(preview) for preview in previews]
    scale = sizes[0].width_px / previews[0].shape[1]
    links: list[tuple[int, int, int, F64Array, float]] = []
    for one in range(len(previews)):
        for other in range(one + 1, len(previews)):
            link = _link(found[one], found[other], scale)
            if link is not None:
                count, matrix, mismatch = link
                links.append((count, one, other, matrix, mismatch))
    to_first, mismatch_px = _chain(len(previews), links)
    return _frame(to_first, sizes, mismatch_px)


@dataclass(frozen=True, slots=True, eq=False)
class _Features:
    """Details of a part that may be found again in another."""

    points_px: F64Array
    """Shape (n, 2), pixels of the preview."""
    descriptors: F32Array


def _features_of(preview: U8Array) -> _Features:
    points, descriptors = cv2.SIFT.create(nfeatures=_MOST_FEATURES).detectAndCompute(preview, np.empty(0, np.uint8))
    places = np.array([point.pt for point in points], np.float64).reshape(-1, 2)
    return _Features(places, np.asarray(descriptors if len(places) else np.empty((0, 128)), np.float32))


def _link(one: _Features, other: _Features, scale: float) -> tuple[int, F64Array, float] | None:
    """Matching details of two parts, the matrix (3, 3) from the other's pixels to the one's, and how well they fit."""
    if min(len(one.points_px), len(other.points_px)) < 2:
        return None
    pairs = cv2.BFMatcher(cv2.NORM_L2).knnMatch(other.descriptors, one.descriptors, k=2)
    good = [pair[0] for pair in pairs if len(pair) == 2 and pair[0].distance < _RATIO * pair[1].distance]
    if len(good) < _FEWEST_MATCHES:
        return None
    # Key points count pixel centres from 0, shrunk pictures from half a pixel.
    source = (other.points_px[[match.queryIdx for match in good]] + 0.5) * scale - 0.5
    target = (one.points_px[[match.trainIdx for match in good]] + 0.5) * scale - 0.5
    matrix, inliers = cv2.estimateAffine2D(
        source, target, method=cv2.RANSAC, ransacReprojThreshold=_REPROJECTION_PX * scale, maxIters=5000
    )
    if matrix is None or int(inliers.sum()) < _FEWEST_MATCHES:
        return None
    kept = inliers.ravel() > 0
    distance = np.hypot(*(source[kept] @ matrix[:, :2].T + matrix[:, 2] - target[kept]).T)
    return int(kept.sum()), np.vstack([matrix, [0.0, 0.0, 1.0]]), float(np.median(distance))


def _chain(count: int, links: list[tuple[int, int, int, F64Array, float]]) -> tuple[list[F64Array], float]:
    """Matrices (3, 3) from each part to the first, along the best links, and the worst mismatch among those."""
    placed: dict[int, F64Array] = {0: np.eye(3)}
    worst = 0.0
    while len(placed) < count:
        reaching = [link for link in links if (link[1] in placed) != (link[2] in placed)]
        if not reaching:
            lost = next(part for part in range(count) if part not in placed)
            raise ConversionError(
                f"Part {lost + 1} does not overlap the others enough to be laid beside them.",
                todo="Let the parts overlap by a third, and give only parts of one frame.",
            )
        _, one, other, matrix, mismatch = max(reaching, key=lambda link: link[0])
        if one in placed:
            placed[other] = placed[one] @ matrix
        else:
            placed[one] = placed[other] @ np.linalg.inv(matrix)
        worst = max(worst, mismatch)
    return [placed[part] for part in range(count)], worst


def _frame(to_first: Sequence[F64Array], sizes: Sequence[SizePx], mismatch_px: float) -> Mosaic:
    corners = []
    for matrix, size in zip(to_first, sizes, strict=True):
        rim = np.array([[0, 0, 1], [size.width_px - 1, 0, 1], [size.width_px - 1, size.height_px - 1, 1]])
        rim = np.vstack([rim, [0, size.height_px - 1, 1]])
        corners.append((rim @ matrix.T)[:, :2])
    low = np.floor(np.min([each.min(axis=0) for each in corners], axis=0))
    high = np.ceil(np.max([each.max(axis=0) for each in corners], axis=0))
    from_whole = np.array([[1.0, 0, low[0]], [0, 1.0, low[1]], [0, 0, 1.0]])
    to_part = tuple((np.linalg.inv(matrix) @ from_whole)[:2] for matrix in to_first)
    width, height = (high - low).astype(int) + 1
    return Mosaic(SizePx(int(width), int(height)), to_part, mismatch_px)


def blend_tiles(mosaic: Mosaic, tiles: Sequence[U16Array], put: Callable[[int, U16Array], None]) -> float:
    """Lay the parts and blend them where they overlap, a band of rows at a time.

    Parameters
    ----------
    mosaic : Mosaic
    tiles : sequence of ndarray
        Shape (height, width, 3), uint16; may be mapped from files.
    put : callable
        Takes a first row and rows of the whole.

    Returns
    -------
    float
        Typical difference between overlapping parts, share of full scale.
    """
    differences = []
    height = mosaic.size.height_px
    for first in range(0, height, _BAND_ROWS):
        last = min(first + _BAND_ROWS, height)
        total = np.zeros((last - first, mosaic.size.width_px, 3), np.float32)
        weight = np.zeros(total.shape[:2], np.float32)
        for matrix, tile in zip(mosaic.to_part, tiles, strict=True):
            laid = _laid(matrix, tile, first, last, mosaic.size.width_px)
            if laid is None:
                continue
            rows, share = laid
            both = (share > 0.2) & (weight > 0.2)
            if both.any():
                differences.append(float(np.median(np.abs(total[both] / weight[both][:, None] - rows[both]))))
            total += rows * share[..., None]
            weight += share
        rows_16 = np.rint(total / np.maximum(weight, np.float32(1e-6))[..., None])
        put(first, np.clip(rows_16, 0, 65535).astype(np.uint16))
    return float(np.median(differences)) / 65535.0 if differences else 0.0


def _laid(matrix: F64Array, tile: U16Array, first: int, last: int, width: int) -> tuple[F32Array, F32Array] | None:
    """Rows of one part in the whole, and their weight: less towards the part's edge."""
    height_px, width_px = tile.shape[:2]
    ends = np.array([[x, y, 1.0] for x in (0, width - 1) for y in (first, last - 1)]) @ matrix.T
    top = max(int(np.floor(ends[:, 1].min())) - _MARGIN_ROWS, 0)
    bottom = min(int(np.ceil(ends[:, 1].max())) + _MARGIN_ROWS + 1, height_px)
    if bottom - top < 2:
        return None
    shift_in = np.array([[1.0, 0, 0], [0, 1.0, first], [0, 0, 1.0]])
    mapping = (np.vstack([matrix, [0, 0, 1.0]]) @ shift_in)[:2]
    x_map, y_map = _coordinates(mapping, last - first, width)
    part = np.ascontiguousarray(tile[top:bottom])
    rows = cv2.remap(
        part, x_map, y_map - np.float32(top), cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )  # fmt: skip
    inside = np.minimum.reduce([x_map, y_map, width_px - 1 - x_map, height_px - 1 - y_map])
    share = np.clip((inside + 1.0) / _FEATHER_PX, 0.0, 1.0)
    # A last trace of weight keeps the rim of the whole from being empty.
    share = np.where(inside < -0.5, 0.0, np.maximum(share, 1e-3))
    return rows.astype(np.float32), share.astype(np.float32)


def _coordinates(mapping: F64Array, rows: int, columns: int) -> tuple[F32Array, F32Array]:
    y, x = np.mgrid[0:rows, 0:columns]
    return (
        (mapping[0, 0] * x + mapping[0, 1] * y + mapping[0, 2]).astype(np.float32),
        (mapping[1, 0] * x + mapping[1, 1] * y + mapping[1, 2]).astype(np.float32),
    )
