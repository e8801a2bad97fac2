"""A RAW as the eye of the edge finder wants it: small, display-encoded, blue-green-red."""

import cv2
import numpy as np

from tethercap.pictures import F32Array, RawPicture, U8Array

_LUT_SIZE = 4096


def _encode_lut() -> U8Array:
    """Display encoding of 0..1 in steps of 1/4095; sRGB (IEC 61966-2-1)."""
    linear = np.linspace(0.0, 1.0, _LUT_SIZE)
    encoded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(encoded * 255), np.uint8)


_ENCODE = _encode_lut()


def raw_planes(raw: RawPicture) -> F32Array:
    """Average each 2 × 2 cell of the mosaic to one linear pixel per colour.

    Returns
    -------
    ndarray
        Shape (height // 2, width // 2, 3), float32, order red, green, blue; 0 = black,
        1 = saturation. Not white-balanced.
    """
    height, width = (raw.mosaic.shape[0] // 2) * 2, (raw.mosaic.shape[1] // 2) * 2
    planes = np.zeros((3, height // 2, width // 2), np.float32)
    counts = np.zeros(3)
    for row in (0, 1):
        for column in (0, 1):
            colour = int(raw.pattern[row, column])
            black = float(raw.black[row, column])
            cell = raw.mosaic[row:height:2, column:width:2].astype(np.float32)
            cell -= np.float32(black)
            cell *= np.float32(1.0 / (raw.white - black))
            planes[colour] += cell
            counts[colour] += 1
    for plane, count in zip(planes, counts, strict=True):
        if count > 1:
            plane /= np.float32(count)
    return np.asarray(cv2.merge(list(planes)), np.float32)


def raw_to_view(raw: RawPicture, reduction: int = 2, *, planes: F32Array | None = None) -> U8Array:
    """Render a RAW for the edge finder.

    Parameters
    ----------
    raw : RawPicture
    reduction : int
        2, 4 or 8 mosaic pixels to one pixel of the view along each side.
    planes : ndarray, optional
        What `raw_planes` gave, where it was asked already; not changed.

    Returns
    -------
    ndarray
        Shape (height // reduction, width // reduction, 3), uint8, display-encoded, blue-green-red. White-balanced
        with the file's own neutral and scaled so that the brightest 0.1 % come to 245, as a live view would show it.
    """
    if planes is None:
        planes = raw_planes(raw)
    if reduction > 2:
        factor = reduction // 2
        size = (planes.shape[1] // factor, planes.shape[0] // factor)
        whole = planes[: size[1] * factor, : size[0] * factor]
        planes = np.asarray(cv2.resize(whole, size, interpolation=cv2.INTER_AREA), np.float32)
    balanced = planes * raw.daylight_multipliers.astype(np.float32)
    top = float(np.percentile(balanced[::8, ::8].max(axis=2), 99.9))
    gain = 0.913 / top if top > 1e-4 else 1.0  # 0.913 linear is code 245
    index = np.clip(balanced * np.float32(gain * (_LUT_SIZE - 1)), 0, _LUT_SIZE - 1).astype(np.uint16)
    return np.ascontiguousarray(_ENCODE[index][:, :, ::-1])
