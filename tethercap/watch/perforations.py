"""Rows of perforations: scale, direction and the strip's middle. Never the frame's edge: that differs from camera to camera."""

from dataclasses import dataclass

import cv2
import numpy as np

from tethercap.film.formats import FilmFormat, Perforations
from tethercap.pictures import F32Array

LEAST_AMPLITUDE = 5.0
"""Codes of the first harmonic from which on a row counts; holes of bare light over clear base give 20 and more."""
LEAST_COHERENCE = 0.75
"""How well neighbouring rows of pixels agree in phase: 1 for straight-sided holes, small for texture."""


MIDDLE_OFF_MM = 7.0
"""A single row of holes is believed only where it puts the strip's middle so near the view's."""


@dataclass(frozen=True, slots=True)
class PerforationRows:
    """What the perforations say."""

    px_per_mm: float
    """Small px, from their pitch."""
    middle_y: float
    """The strip's middle at the middle column, small px."""
    slope: float
    rows_seen: int
    """1 or 2."""
    phase_px: float
    """Centre of the hole nearest the middle column, small px from that column."""


def find_perforations(
    grey: F32Array, film_format: FilmFormat, slope: float, px_per_mm: float | None
) -> PerforationRows | None:
    """Find one or two rows of perforations.

    Parameters
    ----------
    grey : ndarray
        Reduced view, not inverted, shape (height, width), float32.
    film_format : FilmFormat
        Says pitch and place of the perforations; formats without any give None.
    slope : float
        Direction of the film, rise over run.
    px_per_mm : float or None
        Scale of the reduced view to a few percent; None tries all that are plausible.

    Returns
    -------
    PerforationRows or None
        None where no row is in sight.
    """
    holes = film_format.perforations
    if holes is None:
        return None
    height, width = grey.shape
    middle_x = (width - 1) / 2
    shear = np.array([[1, 0, 0], [slope, 1, -slope * middle_x]], np.float32)
    level = cv2.warpAffine(grey, shear, (width, height), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE)
    if px_per_mm is None:
        scales = np.geomspace(width / 130.0, width / 22.0, 90).astype(np.float32)
    else:
        scales = (px_per_mm * np.linspace(0.97, 1.03, 7)).astype(np.float32)
    tones = _harmonic(level, scales * np.float32(holes.pitch_mm), middle_x)
    best: tuple[float, PerforationRows] | None = None
    for index, scale in enumerate(scales):
        found = _rows_at(level, tones[:, index], film_format, holes, float(scale), slope)
        if found is not None and (best is None or found[0] > best[0]):
            best = found
    return None if best is None else best[1]


def _harmonic(level: F32Array, pitches_px: F32Array, middle_x: float) -> np.ndarray:
    """First harmonic of every pixel row at each pitch, complex, shape (height, pitches)."""
    width = level.shape[1]
    window = np.hanning(width).astype(np.float32)
    window /= window.sum()
    x = (np.arange(width) - middle_x).astype(np.float32)
    waves = np.exp(np.complex64(-2j * np.pi) * x[:, None] / pitches_px[None, :]) * window[:, None]
    centred = level - (level @ window)[:, None]
    return np.asarray(centred.astype(np.complex64) @ waves.astype(np.complex64))


def _rows_at(
    level: F32Array, tone: np.ndarray, film_format: FilmFormat, holes: Perforations, scale: float, slope: float
) -> tuple[float, PerforationRows] | None:
    tall = max(3, int(0.7 * holes.across_mm * scale))
    box = np.ones(tall) / tall
    coherent = np.abs(np.convolve(tone, box, mode="same"))
    total = np.convolve(np.abs(tone), box, mode="same")
    strength = np.where(coherent > LEAST_COHERENCE * total, coherent, 0.0)
    half_mm = film_format.strip_width_mm / 2 - holes.edge_mm - holes.across_mm / 2
    away = half_mm * scale
    middles = np.arange(level.shape[0], dtype=np.float64)
    upper = np.interp(middles - away, middles, strength, left=0, right=0)
    lower = np.interp(middles + away, middles, strength, left=0, right=0)
    both = np.minimum(upper, lower)
    y = int(both.argmax())
    light = float(np.percentile(level, 99.5))
    if both[y] > LEAST_AMPLITUDE:
        phase = _phase(tone, y - away, tall, holes.pitch_mm * scale)
        if _is_light(level, y - away, phase, holes.pitch_mm * scale, light):
            return 2.0 * float(both[y]), PerforationRows(scale, float(y), slope, 2, phase)
    row = int(strength.argmax())
    if strength[row] > LEAST_AMPLITUDE * 1.5 and coherent[row] > 0.9 * total[row]:
        phase = _phase(tone, row, tall, holes.pitch_mm * scale)
        middle = row + (away if row < level.shape[0] / 2 else -away)
        likely = abs(middle - level.shape[0] / 2) < MIDDLE_OFF_MM * scale
        if likely and _is_light(level, row, phase, holes.pitch_mm * scale, light):
            return float(strength[row]), PerforationRows(scale, middle, slope, 1, phase)
    return None


def _phase(tone: np.ndarray, row: float, tall: int, pitch_px: float) -> float:
    """Place of the hole nearest the middle column, px from it."""
    start = max(0, int(row - tall / 2))
    angle = float(np.angle(tone[start : start + tall].sum()))
    return -angle / (2 * np.pi) * pitch_px


def _is_light(level: F32Array, row: float, phase: float, pitch_px: float, light: float) -> bool:
    """Whether the bright parts of a row are bare light, and the parts between clearly darker."""
    height, width = level.shape
    y = int(np.clip(round(row), 0, height - 1))
    middle = (width - 1) / 2
    places = middle + phase + pitch_px * np.arange(-60, 61)
    between = places + pitch_px / 2
    inside = level[y, np.rint(places[(places > 3) & (places < width - 4)]).astype(np.intp)]
    outside = level[y, np.rint(between[(between > 3) & (between < width - 4)]).astype(np.intp)]
    if inside.size < 3 or outside.size < 2:
        return False
    bright, between_tone = float(np.median(inside)), float(np.median(outside))
    uneven = max(float(np.median(np.abs(inside - bright))), float(np.median(np.abs(outside - between_tone))))
    return bright > 0.85 * light and bright > between_tone + 6 and uneven < 0.2 * (bright - between_tone) + 1.0
