"""Pictures of filed frames, small enough for the screens: read in worker threads, never on the live path."""

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from tethercap.errors import TethercapError
from tethercap.image_files.jpeg import decode_positive
from tethercap.image_files.raw import read_raw
from tethercap.pictures import F32Array, RawPicture, U8Array
from tethercap.tui.roll_cards import FrameCard

_STOPS_SHOWN = 12


def small_jpeg(path: Path, long_side_px: int) -> U8Array:
    """Read a proof at no more than about `long_side_px`, BGR in sRGB.

    Raises
    ------
    UnreadablePictureError
    OSError
    """
    return small_of(path.read_bytes(), long_side_px)


def small_of(content: bytes, long_side_px: int) -> U8Array:
    """Decode a JPEG as `small_jpeg` reads one."""
    picture = decode_positive(content, 8)
    for reduced in (4, 2, 1):
        if max(picture.shape[:2]) >= long_side_px:
            break
        picture = decode_positive(content, reduced)
    return shrunk(picture, long_side_px)


def shrunk(picture_bgr: U8Array, long_side_px: int) -> U8Array:
    """Shrink by area means so that the longer side is `long_side_px`; smaller pictures stay."""
    height, width = picture_bgr.shape[:2]
    factor = long_side_px / max(height, width)
    if factor >= 1:
        return picture_bgr
    size = (max(1, round(width * factor)), max(1, round(height * factor)))
    return np.asarray(cv2.resize(picture_bgr, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def negative_of(raw: RawPicture) -> U8Array:
    """The mosaic as the eye would see the film: a pixel for each 2 x 2 cell, scaled to the brightest, gamma 2.2."""
    mosaic = raw.mosaic[: raw.mosaic.shape[0] // 2 * 2, : raw.mosaic.shape[1] // 2 * 2]
    planes = np.zeros((3, mosaic.shape[0] // 2, mosaic.shape[1] // 2), dtype=np.float32)
    counts = np.bincount(raw.pattern.reshape(-1), minlength=3)
    for row in range(2):
        for column in range(2):
            channel = int(raw.pattern[row, column])
            level = mosaic[row::2, column::2].astype(np.float32) - np.float32(raw.black[row, column])
            planes[channel] += level / np.float32(counts[channel])
    planes *= np.asarray(raw.daylight_multipliers, dtype=np.float32)[:, None, None]
    top = max(float(np.percentile(planes[:, ::8, ::8], 99.7)), 1.0)
    shown = 255 * np.clip(planes / top, 0, 1) ** (1 / 2.2)
    return np.ascontiguousarray(shown[::-1].transpose(1, 2, 0)).astype(np.uint8)


def picture_of(card: FrameCard, long_side_px: int, *, negative: bool = False) -> U8Array | None:
    """Picture of a frame: its positive, else its RAW as a negative; None where there is none or it cannot be read."""
    try:
        if card.proof is not None and not negative and card.proof.exists():
            return small_jpeg(card.proof, long_side_px)
        if card.raw is not None and card.raw.exists():
            return shrunk(negative_of(read_raw(card.raw)), long_side_px)
    except (TethercapError, OSError):
        return None
    return None


@dataclass(frozen=True, slots=True, eq=False)
class RawStudy:
    """What the large view shows of a RAW."""

    histogram: F32Array
    """Share of samples per channel and bin, shape (3, bins): red, green, blue; bins are `stops` below saturation."""
    clipped: tuple[float, float, float]
    """Share of samples at saturation."""
    sharpness: F32Array
    """Fine detail by place, shape (rows, columns), 0..1 of the strongest."""


def study_raw(raw: RawPicture, *, bins: int = 96, tiles: tuple[int, int] = (24, 36)) -> RawStudy:
    """Count a RAW's levels in stops below saturation, and measure fine detail over the picture.

    Parameters
    ----------
    bins : int
        Over twelve stops.
    tiles : tuple of int
        Rows and columns of the sharpness map.
    """
    histogram = np.zeros((3, bins), dtype=np.float32)
    clipped = []
    for channel in range(3):
        levels = np.concatenate(
            [
                (raw.mosaic[row::2, column::2].astype(np.float32) - raw.black[row, column]).reshape(-1)[::3]
                for row in range(2)
                for column in range(2)
                if raw.pattern[row, column] == channel
            ]
        )
        span = raw.white - float(raw.black.mean())
        stops = np.log2(np.maximum(levels / span, 2.0**-_STOPS_SHOWN))
        counts, _ = np.histogram(stops, bins=bins, range=(-_STOPS_SHOWN, 0))
        histogram[channel] = counts / max(len(levels), 1)
        clipped.append(float(np.mean(levels >= 0.995 * span)))
    return RawStudy(histogram, (clipped[0], clipped[1], clipped[2]), _sharpness(raw, tiles))


def _sharpness(raw: RawPicture, tiles: tuple[int, int]) -> F32Array:
    greens = np.argwhere(raw.pattern == 1)[0]
    green = raw.mosaic[greens[0] :: 2, greens[1] :: 2].astype(np.float32)
    level = np.log2(
        np.maximum(green - np.float32(raw.black.mean()), 1.0)
    )  # detail in stops: film's contrast, not its light
    energy = np.abs(cv2.Laplacian(cv2.GaussianBlur(level, (3, 3), 0), cv2.CV_32F))
    tiled = np.asarray(cv2.resize(energy, (tiles[1], tiles[0]), interpolation=cv2.INTER_AREA), dtype=np.float32)
    return tiled / max(float(tiled.max()), 1e-6)
