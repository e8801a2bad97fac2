"""Where the ideal step lies in bands that are sampled across an edge, and how soft the edge is.

The place in one segment is that of the ideal step with the same sum of light (moment preserving: Tabatabai and
Mitchell, 1984), which averages a ragged edge instead of choosing one of its teeth, and does not move with symmetric
blur, since a lens spreads light.
"""

from typing import Any

import numpy as np
import numpy.typing as npt

from tethercap.pictures import F32Array
from tethercap.watch.tones import BoolArray

FULL_CODE = 253.0
"""Code from which on a channel is full: compression rounds some codes off."""
END = 2
"""Samples on either side of a window's outer end that say what the tone is there."""


def summed(bands: F32Array) -> F32Array:
    """Sums across each band from its outer end, shape (sides, segments, across + 1, ...)."""
    total = np.empty((*bands.shape[:2], bands.shape[2] + 1, *bands.shape[3:]), np.float32)
    total[:, :, 0] = 0
    np.cumsum(bands, axis=2, out=total[:, :, 1:])
    return total


def at(values: npt.NDArray[Any], best: npt.NDArray[np.intp]) -> npt.NDArray[Any]:
    """Values of each segment at its own place: shape (sides, segments, ...)."""
    sides, segments = best.shape
    return np.asarray(values[np.arange(sides)[:, None], np.arange(segments), best])


def step_place(bands: F32Array, best: npt.NDArray[np.intp], window: int, *, inverted: bool) -> F32Array:
    """Place of the ideal step within the two windows around `best`, in samples, shape (sides, segments).

    A lens spreads light, not codes: the place is where half of the light is, and display codes are about its square
    root. Channels that are full on the bright side say nothing of where that is. The tones on both sides are read at
    the windows' outer ends, where a soft edge does not reach.
    """
    codes = np.float32(255.0) - bands if inverted else bands
    brightest = codes.max(axis=1).max(axis=1) * np.float32(1 / FULL_CODE)
    room = np.minimum(np.maximum(1 - brightest * brightest, np.float32(0.01)), np.float32(0.1))
    light = codes * codes
    light *= room[:, None, None, :]
    total = summed(light[..., 0] + light[..., 1] + light[..., 2])
    tones = _means_around(total)
    place = _moment_place(total, tones, best, window)
    # The steepest place in codes lies off the middle of a soft edge: the windows are laid around what was found.
    last = np.float32(bands.shape[2] - 2 * window)
    centred = np.minimum(np.maximum(np.rint(place - window + 0.5), np.float32(0)), last).astype(np.intp)
    return _moment_place(total, tones, np.where(np.abs(centred - best) < window, centred, best), window)


def _moment_place(total: F32Array, tones: F32Array, first: npt.NDArray[np.intp], window: int) -> F32Array:
    """Place of the ideal step with the same sum as the light in the two windows from `first` on."""
    last = first + 2 * window
    low, apart = at(tones, last), at(tones, first)
    apart -= low
    apart[np.abs(apart) < 1e-3] = 1e-3
    sums = at(total, last) - at(total, first)
    return np.asarray(first + (sums - np.float32(2 * window) * low) / apart - 0.5, np.float32)


def _means_around(total: F32Array) -> F32Array:
    """Mean of the few samples around each place between samples, of the shape of their sums."""
    places = np.arange(total.shape[2])
    start, stop = np.maximum(places - END, 0), np.minimum(places + END, total.shape[2] - 1)
    return np.asarray((total[:, :, stop] - total[:, :, start]) / (stop - start).astype(np.float32))


def spread(grey: F32Array, best: npt.NDArray[np.intp], kept: BoolArray, window: int) -> F32Array:
    """Spread of the mean profile, segments laid over each other by their own places, in samples, shape (sides,).

    The step between the windows over the steepest slope is 2.5 spreads where the windows are wide, and comes near a
    window's width where they are not; a straight line between follows the Gaussian's to a tenth from 1 to 4 spreads.
    """
    across = grey.shape[2]
    around = np.clip(best[..., None] + np.arange(2 * window), 0, across - 1)
    profiles = np.take_along_axis(grey, around, axis=2)
    mean = (profiles * kept[..., None]).sum(axis=1) / np.maximum(kept.sum(axis=1), 1)[:, None]
    size = np.abs(mean[:, :window].mean(axis=1) - mean[:, window:].mean(axis=1))
    slope = np.abs(mean[:, 2:] - mean[:, :-2]).max(axis=1) / 2
    filled = np.minimum(size / (window * np.maximum(slope, 1e-3)), 1.0)
    return np.asarray(window / (0.7 + 5.9 * (1.0 - filled)), np.float32)
