"""What the set-up screen measures on live pictures: framing, focus, light. Pure; arrays in, values out."""

from dataclasses import dataclass, field

import cv2
import numpy as np

from tethercap.geometry import SizePx
from tethercap.pictures import F32Array, U8Array
from tethercap.watch.sighting import FrameEdges

_PAST_PEAK = 0.8
"""Share of the best under which focus has surely been turned away; noise and grain alone stay above it."""
PLACES = ("middle", "top left", "top right", "bottom right", "bottom left")
_PATCH_SHARE = 0.18
"""Side of a focus patch, share of the frame's height."""
_FLAT_CONTRAST = 1.5
"""Mean detail, levels of 255, under which a patch has nothing to focus on."""


@dataclass(frozen=True, slots=True)
class Framing:
    """How the frame fills the view."""

    fills: float
    """Share of the view's width or height that the frame takes, the larger of both."""
    margin_mm: tuple[float, float, float, float]
    """Room left, right, top, bottom between frame and view; negative where it is cut off."""
    px_per_mm: float


def measure_framing(edges: FrameEdges, view: SizePx) -> Framing:
    """Measure how much of the view the frame takes."""
    corners = edges.corners.as_array()
    left, top = corners.min(axis=0)
    right, bottom = corners.max(axis=0)
    margins = np.array([left + 0.5, view.width_px - 0.5 - right, top + 0.5, view.height_px - 0.5 - bottom])
    fills = max((right - left) / view.width_px, (bottom - top) / view.height_px)
    left_mm, right_mm, top_mm, bottom_mm = (float(margin) for margin in margins * edges.mm_per_px)
    return Framing(float(fills), (left_mm, right_mm, top_mm, bottom_mm), 1 / edges.mm_per_px)


def _patch_centres(view: SizePx, edges: FrameEdges | None) -> F32Array:
    """Middle and four places toward the corners, shape (5, 2)."""
    if edges is None:
        rim = np.array([[0.1, 0.1], [0.9, 0.1], [0.9, 0.9], [0.1, 0.9]]) * (view.width_px, view.height_px)
    else:
        rim = edges.corners.as_array()
    middle = rim.mean(axis=0)
    return np.vstack([middle, middle + (rim - middle) * 0.78]).astype(np.float32)


def measure_focus(pixels_bgr: U8Array, edges: FrameEdges | None) -> tuple[float | None, ...]:
    """Fine detail at five places of the frame: middle, then clockwise from the top left.

    Returns
    -------
    tuple of float or None
        Root mean square of the second difference over the patch's mean level, so that brighter light alone changes
        nothing; None where there is nothing to focus on.
    """
    height, width = pixels_bgr.shape[:2]
    side = max(16, int(_PATCH_SHARE * height))
    sharp: list[float | None] = []
    for x_px, y_px in _patch_centres(SizePx(width, height), edges).tolist():
        patch = cv2.getRectSubPix(pixels_bgr, (side, side), (x_px, y_px))
        grey = cv2.cvtColor(patch, cv2.COLOR_BGR2GRAY).astype(np.float32)
        detail = np.asarray(cv2.Laplacian(grey, cv2.CV_32F))
        energy = float(np.sqrt(np.mean(detail**2)))
        sharp.append(energy / max(float(grey.mean()), 1.0) if energy > _FLAT_CONTRAST else None)
    return tuple(sharp)


@dataclass(slots=True)
class BestFocus:
    """Remembers the best each place has reached, so that passing the peak shows."""

    best: list[float] = field(default_factory=lambda: [0.0] * len(PLACES))
    passed_peak: bool = False
    """Something was clearly sharper before than after: there was a peak."""

    def shares(self, sharp: tuple[float | None, ...]) -> tuple[float | None, ...]:
        """Take a measurement in; give each place's share of its best, 0..1."""
        shares: list[float | None] = []
        for index, value in enumerate(sharp):
            if value is not None:
                self.best[index] = max(self.best[index], value)
            shares.append(None if value is None else value / self.best[index])
        self.passed_peak = self.passed_peak or any(share is not None and share < _PAST_PEAK for share in shares)
        return tuple(shares)

    def forget(self) -> None:
        """Begin again, after film or lens changed."""
        self.best = [0.0] * len(PLACES)
        self.passed_peak = False


@dataclass(frozen=True, slots=True, eq=False)
class Light:
    """How the live view is exposed."""

    histogram: F32Array
    """Share of pixels per channel and level, shape (3, 64): red, green, blue."""
    clipped: tuple[float, float, float]
    """Share of pixels at 250 or above inside the frame."""
    dark: float
    """Share of pixels under 5 in all channels inside the frame."""
    brightest: tuple[float, float, float]
    """Level that one pixel in a hundred passes, 0..255."""


def measure_light(pixels_bgr: U8Array, edges: FrameEdges | None) -> Light:
    """Count the live view's levels, inside the frame where one was found."""
    height, width = pixels_bgr.shape[:2]
    cut = pixels_bgr
    if edges is not None:
        corners = edges.corners.as_array()
        (left, top), (right, bottom) = corners.min(axis=0), corners.max(axis=0)
        x_from, x_to = int(np.clip(left, 0, width - 2)), int(np.clip(right, 2, width))
        y_from, y_to = int(np.clip(top, 0, height - 2)), int(np.clip(bottom, 2, height))
        if x_to > x_from and y_to > y_from:
            cut = pixels_bgr[y_from:y_to, x_from:x_to]
    sample = cut[::2, ::2].reshape(-1, 3)[:, ::-1]
    counts = np.stack([np.bincount(sample[:, channel] >> 2, minlength=64) for channel in range(3)])
    clipped = (sample >= 250).mean(axis=0)
    brightest = np.percentile(sample, 99, axis=0)
    return Light(
        histogram=(counts / len(sample)).astype(np.float32),
        clipped=(float(clipped[0]), float(clipped[1]), float(clipped[2])),
        dark=float((sample.max(axis=1) < 5).mean()),
        brightest=(float(brightest[0]), float(brightest[1]), float(brightest[2])),
    )
