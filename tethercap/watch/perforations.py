"""Rows of perforations: scale, direction and the strip's middle. Never the frame's edge: cameras differ in it."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from tethercap.film.formats import FilmFormat, Perforations
from tethercap.pictures import F32Array

LEAST_AMPLITUDE = 5.0
"""Codes of the first harmonic from which on a row counts; holes of bare light over clear base give 20 and more."""
LEAST_COHERENCE = 0.75
"""How well neighbouring rows of pixels agree in phase: 1 for straight-sided holes, small for texture."""


LEAST_APART = 0.8
"""Rows may lie nearer together than their holes do by this share: a holder often covers the outer part of the holes."""
MIDDLE_OFF_MM = 7.0
"""A single row of holes is believed only where it puts the strip's middle so near the view's."""


C64Array = npt.NDArray[np.complex64]


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
    rows_y: tuple[float, ...] = ()
    """Where the rows were seen, small px."""
    film_share: float = 0.5
    """Level of the film between the holes over that of the light in them: black film is a slide."""
    is_exact: bool = False
    """The strip's middle is told by the sides of the holes that face it, and not by as much as is seen of the holes."""


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
    level: F32Array = np.asarray(
        cv2.warpAffine(
            grey, shear, (width, height), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE
        ),
        np.float32,
    )
    if px_per_mm is None:
        scales = np.geomspace(width / 130.0, width / 22.0, 90).astype(np.float32)
    else:
        scales = (px_per_mm * np.linspace(0.97, 1.03, 7)).astype(np.float32)
    tones = _harmonic(level, scales * np.float32(holes.pitch_mm), middle_x)
    best: tuple[float, PerforationRows] | None = None
    for index, scale in enumerate(scales):
        found = _rows_at(level, tones[:, index], film_format, holes, float(scale), slope, partly=px_per_mm is None)
        if found is not None and (best is None or found[0] > best[0]):
            best = found
    if best is None:
        return None
    rows = _with_measured_pitch(level, best[1], holes, middle_x)
    rows = rows if px_per_mm is not None else _with_counted_pitch(level, rows, holes)
    return _with_measured_middle(level, rows, film_format.strip_width_mm, holes)


def _with_measured_middle(
    level: F32Array, rows: PerforationRows, strip_width_mm: float, holes: Perforations
) -> PerforationRows:
    """Take the strip's middle from the sides of the holes that face it: a holder often covers the others."""
    half_px = (strip_width_mm / 2 - holes.edge_mm - holes.across_mm) * rows.px_per_mm
    inward = [1 if row < rows.middle_y else -1 for row in rows.rows_y]
    pitch_px = np.array([holes.pitch_mm * rows.px_per_mm], np.float32)
    tone = _harmonic(level, pitch_px, (level.shape[1] - 1) / 2)[:, 0]
    sides = [_inner_side(level, tone, rows, row, way, holes) for row, way in zip(rows.rows_y, inward, strict=True)]
    middles = [side + way * half_px for side, way in zip(sides, inward, strict=True) if side is not None]
    if not middles or max(middles) - min(middles) > SIDES_APART_MM * rows.px_per_mm:
        return rows
    return replace(rows, middle_y=sum(middles) / len(middles), is_exact=True)


def _inner_side(
    level: F32Array, tone: C64Array, rows: PerforationRows, row: float, inward: int, holes: Perforations
) -> float | None:
    """Where the holes of a row end towards the strip's middle, small px; None where that is not seen.

    `tone` is the harmonic at the rows' pitch: each row has a phase of its own, as both need not be seen equally far.
    """
    height, width = level.shape
    pitch_px = holes.pitch_mm * rows.px_per_mm
    start = int(np.clip(round(row), 0, height - 1))
    tall = max(3, int(0.7 * holes.across_mm * rows.px_per_mm))
    places = (width - 1) / 2 + _phase(tone, row, tall, pitch_px) + pitch_px * np.arange(-60, 61)
    places = places[(places > pitch_px / 2) & (places < width - 1 - pitch_px / 2)]
    across = level[start]
    places = places[across[np.rint(places).astype(np.intp)] > LIT * float(np.percentile(level, 99.5))]
    if len(places) < LEAST_SIDES:
        return None
    half = max(1, int(0.25 * holes.along_mm * rows.px_per_mm))
    columns = np.rint(places[:, None] + np.arange(-half, half + 1)).astype(np.intp)
    reach = round((0.5 * holes.across_mm + BEYOND_SIDE_MM) * rows.px_per_mm) + 2
    stop = start + inward * reach
    if not 0 <= stop < height:
        return None
    profile = level[start:stop:inward][:, columns.ravel()].mean(axis=1)
    film = float(np.median(across[np.rint(places + pitch_px / 2).astype(np.intp)]))
    half_way = (float(profile[0]) + film) / 2
    below = np.flatnonzero(profile < half_way)
    if len(below) == 0 or below[0] == 0 or film > FILM_LEVEL * profile[0]:
        return None
    last = int(below[0])
    before, after = float(profile[last - 1]), float(profile[last])
    return start + inward * (last - 1 + (before - half_way) / (before - after))


SIDES_APART_MM = 0.5
"""How far two rows may differ about the strip's middle."""
LEAST_SIDES = 2
"""So many holes must be seen to tell where they end."""
BEYOND_SIDE_MM = 0.5
"""How far beyond a whole hole's half its side is looked for: nearer than the frame."""
FILM_LEVEL = 0.97
"""Film between holes is darker than the light in them by so much at least."""


def _with_measured_pitch(
    level: F32Array, rows: PerforationRows, holes: Perforations, middle_x: float
) -> PerforationRows:
    """Take the scale from the pitch along the film alone, between the steps of the search."""
    scales = (rows.px_per_mm * np.linspace(0.93, 1.07, 57)).astype(np.float32)
    tall = max(1, int(0.25 * holes.across_mm * rows.px_per_mm))
    places = [y for y in rows.rows_y if 0 <= y < level.shape[0]]
    strips = [level[max(0, round(y) - tall) : round(y) + tall + 1].mean(axis=0, keepdims=True) for y in places]
    strength = np.abs(_harmonic(np.concatenate(strips), scales * np.float32(holes.pitch_mm), middle_x)).sum(axis=0)
    top = int(strength.argmax())
    if 0 < top < len(scales) - 1:
        before, here, after = (float(value) for value in strength[top - 1 : top + 2])
        bend = before - 2 * here + after
        step = float(scales[1] - scales[0])
        measured = float(scales[top]) + (0.5 * step * (before - after) / bend if bend < 0 else 0.0)
        return replace(rows, px_per_mm=measured)
    return rows


def _with_counted_pitch(level: F32Array, rows: PerforationRows, holes: Perforations) -> PerforationRows:
    """Take the scale from the holes themselves where some in a row are seen: a holder that cuts a row off shifts its
    harmonic.
    """
    pitch_px = holes.pitch_mm * rows.px_per_mm
    tall = max(1, int(0.25 * holes.across_mm * rows.px_per_mm))
    pitches = []
    for y in (round(row) for row in rows.rows_y if 0 <= row < level.shape[0]):
        strip = level[max(0, y - tall) : y + tall + 1].mean(axis=0)
        lit = np.concatenate([[False], strip > np.float32(LIT) * strip.max(), [False]])
        turns = np.diff(lit.astype(np.int8))
        starts, ends = np.flatnonzero(turns > 0), np.flatnonzero(turns < 0)
        is_hole = np.abs((ends - starts) / (holes.along_mm * rows.px_per_mm) - 1) < HOLE_OFF
        centres = ((starts + ends) / 2)[is_hole]
        if len(centres) >= LEAST_HOLES:
            number = np.rint((centres - centres[0]) / pitch_px)
            pitches.append(float(np.polyfit(number, centres, 1)[0]))
    measured = float(np.mean(pitches)) / holes.pitch_mm if pitches else 0.0
    near = abs(measured / rows.px_per_mm - 1) < COUNTED_OFF
    return replace(rows, px_per_mm=measured) if near else rows


HOLE_OFF = 0.4
"""How far the width of a hole may be off, as a share."""
COUNTED_OFF = 0.08
"""And the scale that holes are counted by from that of their harmonic."""


def _harmonic(level: F32Array, pitches_px: F32Array, middle_x: float) -> C64Array:
    """First harmonic of every pixel row at each pitch, complex, shape (height, pitches)."""
    width = level.shape[1]
    window = np.hanning(width).astype(np.float32)
    window /= window.sum()
    angle = (2 * np.pi * (np.arange(width) - middle_x)[:, None] / pitches_px[None, :]).astype(np.float32)
    waves = np.concatenate([np.cos(angle), -np.sin(angle)], axis=1) * window[:, None]
    both = (level - (level @ window)[:, None]) @ waves
    count = len(pitches_px)
    return np.asarray(both[:, :count] + 1j * both[:, count:], np.complex64)


def _rows_at(
    level: F32Array,
    tone: C64Array,
    film_format: FilmFormat,
    holes: Perforations,
    scale: float,
    slope: float,
    *,
    partly: bool,
) -> tuple[float, PerforationRows] | None:
    """Find rows at one scale, with their strength; `partly` also those that a holder hides to the left and right."""
    tall = max(3, int(0.7 * holes.across_mm * scale))
    box = np.ones(tall) / tall
    coherent = np.abs(np.convolve(tone, box, mode="same"))
    total = np.convolve(np.abs(tone), box, mode="same")
    strength = np.where(coherent > LEAST_COHERENCE * total, coherent, 0.0)
    half_mm = film_format.strip_width_mm / 2 - holes.edge_mm - holes.across_mm / 2
    away = half_mm * scale
    light = float(np.percentile(level, 99.5))
    pair = _best_pair(strength, 2 * away * LEAST_APART, 2 * away * 1.02)
    if pair is not None and min(strength[pair[0]], strength[pair[1]]) > LEAST_AMPLITUDE:
        upper, lower = pair
        pitch_px = holes.pitch_mm * scale
        films = [_film_share(level, row, _phase(tone, row, tall, pitch_px), pitch_px, light, partly) for row in pair]
        if None not in films:
            both = float(min(strength[upper], strength[lower]))
            share = sum(film for film in films if film is not None) / 2
            rows = PerforationRows(scale, (upper + lower) / 2, slope, 2, (float(upper), float(lower)), share)
            return 2.0 * both, rows
    row = int(strength.argmax())
    if strength[row] > LEAST_AMPLITUDE * 1.5 and coherent[row] > 0.9 * total[row]:
        phase = _phase(tone, row, tall, holes.pitch_mm * scale)
        middle = row + (away if row < level.shape[0] / 2 else -away)
        likely = abs(middle - level.shape[0] / 2) < MIDDLE_OFF_MM * scale
        film = _film_share(level, row, phase, holes.pitch_mm * scale, light, partly) if likely else None
        if film is not None:
            return float(strength[row]), PerforationRows(scale, middle, slope, 1, (float(row),), film)
    return None


def _best_pair(strength: np.ndarray, least_px: float, most_px: float) -> tuple[int, int] | None:
    """Find the two pixel rows, so far apart, whose weaker one is strongest."""
    height = strength.shape[0]
    best: tuple[float, int, int] | None = None
    for apart in range(max(1, round(least_px)), round(most_px) + 1):
        if apart >= height:
            break
        weaker = np.minimum(strength[:-apart], strength[apart:])
        upper = int(weaker.argmax())
        if best is None or weaker[upper] > best[0]:
            best = float(weaker[upper]), upper, upper + apart
    return None if best is None else best[1:]


def _phase(tone: C64Array, row: float, tall: int, pitch_px: float) -> float:
    """Place of the hole nearest the middle column, px from it."""
    start = max(0, int(row - tall / 2))
    angle = float(np.angle(tone[start : start + tall].sum()))
    return -angle / (2 * np.pi) * pitch_px


def _film_share(level: F32Array, row: float, phase: float, pitch_px: float, light: float, partly: bool) -> float | None:
    """Level of the film between a row's holes over that in them; None unless they are bare light on darker film."""
    height, width = level.shape
    y = int(np.clip(round(row), 0, height - 1))
    middle = (width - 1) / 2
    places = middle + phase + pitch_px * np.arange(-60, 61)
    between = places + pitch_px / 2
    inside = level[y, np.rint(places[(places > 3) & (places < width - 4)]).astype(np.intp)]
    outside = level[y, np.rint(between[(between > 3) & (between < width - 4)]).astype(np.intp)]
    lit = np.flatnonzero(inside > LIT * light)
    in_a_row = len(lit) >= LEAST_HOLES and len(lit) == lit[-1] - lit[0] + 1
    if not partly or not in_a_row or np.delete(inside, lit).max(initial=0) > HID * light:
        return _share_between(inside, outside, light)
    # A holder hides the row to the left and to the right, and is as dark as the film of a slide.
    shown = places[(places > 3) & (places < width - 4)][lit]
    gaps = level[y, np.rint((shown[1:] + shown[:-1]) / 2).astype(np.intp)]
    return _share_between(inside[lit], gaps, light)


LEAST_HOLES = 4
"""So many holes in a row must be seen where the rest is hidden."""
LIT, HID = 0.85, 0.4
"""Shares of the light that holes let through at least, and that a holder does at most."""


def _share_between(inside: F32Array, outside: F32Array, light: float) -> float | None:
    """Level between holes over that in them; None unless they are bare light on film that is darker and even."""
    if inside.size < 3 or outside.size < 2:
        return None
    bright, film = float(np.median(inside)), float(np.median(outside))
    uneven = max(float(np.median(np.abs(inside - bright))), float(np.median(np.abs(outside - film))))
    if bright > LIT * light and bright > film + 6 and uneven < 0.2 * (bright - film) + 1.0:
        return film / bright
    return None
