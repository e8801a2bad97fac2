"""What lies on both sides of a line: clear base, picture, darkness, light; and what that says for the line as a frame's edge.

Everything here sees a negative: the bright side of an edge is clear base, the dark side picture. A slide is inverted first.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tethercap.pictures import F32Array

BoolArray = npt.NDArray[np.bool_]
SEEN_STEP = 5.0
"""Codes from which on a step is taken for one; the mean of a segment has a noise of well under one code."""


@dataclass(frozen=True, slots=True, eq=False)
class SideTones:
    """Tones along one side of a hypothetical frame, in equal shares of its length; NaN where out of view."""

    outside: F32Array
    """Shape (segments, 3)."""
    inside: F32Array
    """Shape (segments, 3)."""


@dataclass(frozen=True, slots=True)
class SideScore:
    """Shares of one side's length, 0..1 each."""

    seen: float = 0.0
    """Clear base outside, darker inside."""
    against: float = 0.0
    """Something outside that is not clear base nor dark, or a step the wrong way."""
    dark: float = 0.0
    """Darkness outside: holder, or dense picture."""
    clear: float = 0.0
    """Clear base on both sides."""
    any_step: float = 0.0
    """A step either way between two pictures: what is left of an edge where frames touch."""


def base_tone(sides: tuple[SideTones, ...]) -> F32Array:
    """Tone of the clear base: the middle one of the brighter half of all bright sides; NaN when there is none.

    Returns
    -------
    ndarray
        Shape (3,), blue, green, red.
    """
    outside = np.concatenate([side.outside for side in sides])
    inside = np.concatenate([side.inside for side in sides])
    step = outside.mean(axis=1) - inside.mean(axis=1)
    stepped = outside[step > SEEN_STEP + 1]
    if len(stepped) == 0:
        return np.full(3, np.nan, np.float32)
    bright = stepped.mean(axis=1)
    upper = stepped[bright >= np.median(bright) * 0.9]
    return np.asarray(np.median(upper, axis=0), np.float32)


def like_base(tone: F32Array, base: F32Array, spread: float = 0.15) -> BoolArray:
    """Whether tones are those of clear base.

    Parameters
    ----------
    tone : ndarray
        Shape (..., 3).
    base : ndarray
        Shape (3,), or broadcastable to `tone`.
    spread : float
        How far the light may rise or fall across the field, as a share; the channels move together but for a little.
    """
    base_mean = base.mean(axis=-1)
    level = tone.mean(axis=-1) / np.maximum(base_mean, 1.0)
    apart = np.abs(tone - level[..., None] * base).max(axis=-1)
    level_ok = np.abs(level - 1.0) <= spread + 5.0 / np.maximum(base_mean, 1.0)
    return np.asarray(level_ok & (apart <= 6.0 + 0.07 * base.max(axis=-1)))


def score_side(tones: SideTones, base: F32Array) -> SideScore:
    """Judge what lies along one side."""
    count = len(tones.outside)
    if count == 0 or bool(np.isnan(base).any()):
        return SideScore()
    visible = ~(np.isnan(tones.outside[:, 0]) | np.isnan(tones.inside[:, 0]))
    out_tone, in_tone = tones.outside[visible], tones.inside[visible]
    clear_out = like_base(out_tone, base)
    step = out_tone.mean(axis=1) - in_tone.mean(axis=1)
    dark = out_tone.mean(axis=1) < 0.3 * base.mean()
    wrong_way = clear_out & (step < -8.0)
    return SideScore(
        seen=float((clear_out & (step > SEEN_STEP)).sum() / count),
        against=float((~clear_out & ~dark).sum() / count) + float(wrong_way.sum() / count),
        dark=float(dark.sum() / count),
        clear=float((clear_out & (np.abs(step) <= SEEN_STEP)).sum() / count),
        any_step=float((~dark & (np.abs(step) > SEEN_STEP)).sum() / count),
    )
