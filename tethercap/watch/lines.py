"""Straight lines near one direction: steps of many segments that agree on one line.

Each segment's mean profile is differentiated and compressed, so that a strong short edge cannot outvote a weak
long one; summing the segments along every slope is a Radon transform near one axis. What comes out is the signed
share of the length along which a step is seen.
"""

from dataclasses import dataclass
from typing import NamedTuple

import cv2
import numpy as np
import numpy.typing as npt

from tethercap.pictures import F32Array

STEP_PX = 2
"""Half the distance over which a step is measured, small px: wide enough for soft edges, narrower than a gap."""
FULL_STEP = 8.0
"""A step of this many codes counts 0.7; weaker ones in proportion, stronger ones ever closer to 1."""
AROUND_PX = 8
"""A line stands out over the mean so far on both sides, small px."""
CREST = 0.75
"""Share of a peak from which on places belong to its top."""
SLOPE_SPREAD = np.float32(np.tan(np.radians(0.8)))
"""How far edges turn from the film's direction: keystone, and a gate set askew."""


class Line(NamedTuple):
    """One line: position = at + slope * (place along - middle), small px."""

    at: float
    slope: float


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """Candidate lines: position = at + slope * (place along the line - middle)."""

    at: F32Array
    """Where they cross the middle, small px, shape (n,)."""
    slope: F32Array
    """Change of position per small px along, shape (n,)."""
    support: F32Array
    """Signed share of the length with a step, -1..1: positive where it gets brighter with position, shape (n,)."""

    def __len__(self) -> int:
        return int(self.at.size)

    def line(self, index: int) -> Line:
        """One of them."""
        return Line(float(self.at[index]), float(self.slope[index]))


def steps(profiles: F32Array) -> F32Array:
    """Differentiate segment profiles and compress the steps.

    Parameters
    ----------
    profiles : ndarray
        Shape (segments, length, 3), 0..255.

    Returns
    -------
    ndarray
        Shape (segments, length), -1..1; zero at both ends.
    """
    return _compressed(_differences(profiles.mean(axis=2)))


def any_steps(profiles: F32Array) -> F32Array:
    """Compressed size of the largest step of any channel: pictures may differ in colour alone.

    Parameters and result as for `steps`, but 0..1.
    """
    return _compressed(np.abs(_differences(profiles)).max(axis=2))


def _differences(tones: F32Array) -> F32Array:
    found = np.zeros_like(tones)
    found[:, STEP_PX:-STEP_PX] = tones[:, 2 * STEP_PX :] - tones[:, : -2 * STEP_PX]
    return found


def _compressed(found: F32Array) -> F32Array:
    found = found / np.float32(FULL_STEP)
    return np.asarray(found / np.sqrt(1.0 + found * found), np.float32)


def standing_out(support: F32Array) -> F32Array:
    """Support of each line over that of its neighbourhood: leaves and text show steps everywhere.

    Parameters
    ----------
    support : ndarray
        As from `support_map`, shape (slopes, length).
    """
    return support - cv2.blur(support, (2 * AROUND_PX + 1, 1), borderType=cv2.BORDER_REFLECT)


def support_map(step_profiles: F32Array, centres: F32Array, middle: float, slopes: F32Array) -> F32Array:
    """Mean step along every line of the given slopes.

    Parameters
    ----------
    step_profiles : ndarray
        Shape (segments, length).
    centres : ndarray
        Place of each segment along the line, shape (segments,).
    middle : float
        Place along the line where positions are stated.
    slopes : ndarray
        Shape (slopes,).

    Returns
    -------
    ndarray
        Shape (slopes, length), -1..1.
    """
    segments, length = step_profiles.shape
    shifts = np.rint(slopes[:, None] * (centres - middle)[None, :]).astype(np.intp)
    pad = int(np.abs(shifts).max(initial=0))
    padded = np.zeros((segments, length + 2 * pad), np.float32)
    padded[:, pad : pad + length] = step_profiles
    starts = shifts + pad + (np.arange(segments) * padded.shape[1])[None, :]
    gathered = padded.ravel()[starts[:, :, None] + np.arange(length)]
    result: F32Array = gathered.mean(axis=1)
    return result


def peaks(strength: F32Array, *, least: float, apart: int, most: int) -> npt.NDArray[np.intp]:
    """Places of the highest values of a profile that are the highest within `apart` on both sides.

    Parameters
    ----------
    strength : ndarray
        Shape (length,).
    least : float
        Values below are not taken.
    apart : int
        Least distance between two places.
    most : int
        At most so many, strongest first.
    """
    padded = np.pad(strength, apart, constant_values=-np.inf)
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * apart + 1)
    places = np.flatnonzero((strength >= around.max(axis=1)) & (strength >= least))
    places = places[np.argsort(-strength[places], kind="stable")]
    chosen: list[int] = []
    for place in places.tolist():
        if all(abs(place - other) > apart for other in chosen):
            chosen.append(place)
        if len(chosen) == most:
            break
    return np.array(chosen, np.intp)


def candidate_lines(
    support: F32Array, slopes: F32Array, sign: int, *, least: float, most: int, likely: float | None = None
) -> Lines:
    """Pick lines of one polarity.

    Parameters
    ----------
    support : ndarray
        As from `support_map`.
    slopes : ndarray
        The slopes it was made for.
    sign : int
        +1 for lines that get brighter with position, -1 for darker.
    least, most
        As for `peaks`.
    likely : float or None
        Slope to prefer where several show about as much: what lies along a frame's edge is seldom parallel to it.
    """
    signed = support * sign
    preferred = signed
    if likely is not None:
        preferred = signed * np.exp(-0.5 * ((slopes - np.float32(likely)) / SLOPE_SPREAD) ** 2)[:, None]
    best = preferred.argmax(axis=0)
    strength = signed[best, np.arange(signed.shape[1])]
    places = peaks(strength, least=least, apart=3, most=most)
    return Lines(_crests(strength, places), slopes[best[places]], strength[places] * np.float32(sign))


def _crests(strength: F32Array, places: npt.NDArray[np.intp]) -> F32Array:
    """Middle of each peak's flat top, px: a step is as wide as it is measured over, and strong ones saturate."""
    around = places[:, None] + np.arange(-2 * STEP_PX, 2 * STEP_PX + 1)
    values = strength[np.clip(around, 0, len(strength) - 1)]
    weight = np.maximum(values - np.float32(CREST) * strength[places][:, None], 0)
    return np.asarray((weight * around).sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-6), np.float32)


def joined(first: Lines, second: Lines) -> Lines:
    """Add the second's lines that are not within 2 px of one of the first's, at half their support."""
    new = np.array([not np.any(np.abs(first.at - at) <= 2) for at in second.at], bool)
    return Lines(
        np.concatenate([first.at, second.at[new]]),
        np.concatenate([first.slope, second.slope[new]]),
        np.concatenate([first.support, second.support[new] * np.float32(0.5)]),
    )
