"""What lies on both sides of a line: clear base, picture, darkness, light; and what that says for the line as a
frame's edge.

Everything here sees a negative: the bright side of an edge is clear base, the dark side picture. A slide is inverted
first.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tethercap.pictures import F32Array

BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.intp]
SEEN_STEP = 5.0
"""Codes from which on a step is taken for one; the mean of a segment has a noise of well under one code."""


LIT = 0.94
"""Share of the brightest light's level from which on a tone is bare light."""
LIT_CODES = 12.0
"""The same for a slide, seen the other way round: codes from black."""
FILM_SHARE = 0.35
LIGHT_OVER_BASE = 1.1
"""Bare light is told from base where it is so much brighter."""
COLOURED, OTHER_COLOUR = 1.3, 1.15
"""From so much between its channels on a base is coloured, and light beside it differs so much more in one channel
than in another."""
BLACK_SPREAD = 20.0
"""Codes by which the black of a slide differs from place to place, and by which small px mix it with the picture."""
MOST_FOGGED = 0.3
"""Share of its level that base keeps at least where it is followed around a frame; what is darker may be the holder."""
GRADUAL = 0.35
"""Share by which its tone may change from one segment to the next."""
LEAST_ALIKE = 3
"""So many segments must be like the base for it to be followed from them."""


@dataclass(frozen=True, slots=True, eq=False)
class SideTones:
    """Tones along the sides of hypothetical frames, clockwise from the top left of each; NaN where out of view."""

    outside: F32Array
    """Shape (frames, segments, 3)."""
    inside: F32Array
    """Shape (frames, segments, 3)."""
    side: IntArray
    """Which side each segment belongs to: 0 top, 1 right, 2 bottom, 3 left, shape (segments,)."""
    within: BoolArray
    """Which segments lie along the frame, and not beyond its ends, shape (frames, segments)."""


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


def base_tone(outside: F32Array, step: F32Array, light: float) -> F32Array:
    """Tone of the clear base: the middle one of the brighter half of all bright sides; NaN when there is none.

    Parameters
    ----------
    outside : ndarray
        Tones outside all four sides, shape (..., n, 3), NaN where out of view.
    step : ndarray
        By how much they are brighter than inside, shape (..., n), NaN where that is not known.
    light : float
        Level of bare light; what is so bright is base only where hardly anything else is.

    Returns
    -------
    ndarray
        Shape (..., 3), blue, green, red.
    """
    stepped = step > SEEN_STEP + 1
    bright = summed_up(outside)
    film = stepped & (bright < np.float32(3 * LIT * light))
    full = stepped & ~film
    count = np.maximum(stepped.sum(axis=-1), 1)
    mixed = (film.sum(axis=-1) > FILM_SHARE * count) & full.any(axis=-1)
    if mixed.any():
        mixed &= _is_light(_mean_where(outside, full), _mean_where(outside, film))
        stepped = np.where(mixed[..., None], film, stepped)
    middle = _middle_where(bright, stepped)
    upper = stepped & (bright >= np.float32(0.9) * middle[..., None])
    return _middle_where(np.swapaxes(outside, -1, -2), upper[..., None, :])


def _mean_where(tones: F32Array, chosen: BoolArray) -> F32Array:
    """Mean of the chosen tones of each row, shape (..., 3); 0 where none is chosen."""
    total = np.where(chosen[..., None], tones, np.float32(0)).sum(axis=-2)
    return np.asarray(total / np.maximum(chosen.sum(axis=-1), 1)[..., None], np.float32)


def _middle_where(values: F32Array, chosen: BoolArray) -> F32Array:
    """Middle one of the chosen values of each row, the upper of two, shape (...); NaN where none is chosen."""
    ordered = np.sort(np.where(chosen, values, np.float32(np.inf)), axis=-1)
    count = np.broadcast_to(chosen.sum(axis=-1), ordered.shape[:-1])
    middle = np.take_along_axis(ordered, np.minimum(count // 2, values.shape[-1] - 1)[..., None], axis=-1)[..., 0]
    return np.asarray(np.where(count > 0, middle, np.float32(np.nan)), np.float32)


def _is_light(brighter: F32Array, film: F32Array) -> BoolArray:
    """Whether what is brighter than some of the film is bare light, and not the same base where more light falls.

    Both of shape (..., 3); the answer of shape (...).
    """
    times = brighter / np.maximum(film, np.float32(1))
    coloured = film.max(axis=-1) > COLOURED * film.min(axis=-1)
    other_colour = times.max(axis=-1) > OTHER_COLOUR * times.min(axis=-1)
    return np.asarray(np.where(coloured, other_colour, times.mean(axis=-1) > LIGHT_OVER_BASE))


def like_base(tone: F32Array, base: F32Array, spread: float = 0.15, *, black: float | None = None) -> BoolArray:
    """Whether tones are those of clear base.

    Parameters
    ----------
    tone : ndarray
        Shape (..., 3).
    base : ndarray
        Shape (3,), or broadcastable to `tone`.
    spread : float
        How far the light may rise or fall across the field, as a share; the channels move together but for a little.
    black : float or None
        None for a negative; for a slide seen the other way round, the codes by which its black base may differ: that
        varies with the light too, but is little.
    """
    if black is not None:
        off = most(np.abs(tone - base))
        return np.asarray(off <= np.float32(black) + np.float32(spread) * most(np.float32(255) - base))
    base_mean = np.maximum(summed_up(base) / np.float32(3), np.float32(1))
    level = summed_up(tone) / (3 * base_mean)
    apart = most(np.abs(tone - level[..., None] * base))
    level_ok = np.abs(level - 1.0) <= spread + 5.0 / base_mean
    return np.asarray(level_ok & (apart <= 6.0 + 0.07 * most(base)))


def summed_up(tone: F32Array) -> F32Array:
    """Sum of the three channels, shape (...): several times quicker than along a last axis so short."""
    return np.asarray(tone[..., 0] + tone[..., 1] + tone[..., 2])


def most(tone: F32Array) -> F32Array:
    """Largest of the three channels, shape (...)."""
    return np.asarray(np.maximum(np.maximum(tone[..., 0], tone[..., 1]), tone[..., 2]))


def followed_base(outside: F32Array, alike: BoolArray, base: F32Array, ring: IntArray | None = None) -> BoolArray:
    """Follow the base of negatives around a frame: fogged by a leak or in a shadow it changes, but gradually.

    Parameters
    ----------
    outside : ndarray
        Tones outside, segment after segment around the frame, shape (n, 3), NaN where out of view.
    alike : ndarray
        Which of them are like the base, shape (n,).
    base : ndarray
        Tone of the clear base, shape (3,) or (n, 3).
    ring : ndarray, optional
        Number of the frame that each segment belongs to, one frame's after the other's, shape (n,); None is one frame.

    Returns
    -------
    ndarray
        Where there is base though it is not alike, shape (n,), bool.
    """
    level, base_level = summed_up(outside), summed_up(base)
    film = (level > np.float32(MOST_FOGGED) * base_level) & (level < np.float32(LIGHT_OVER_BASE) * base_level)
    strays = film & ~alike
    if not strays.any():
        return np.asarray(strays)
    one_back = np.arange(-1, len(outside) - 1)
    if ring is not None:
        starts = np.flatnonzero(np.diff(ring, prepend=-1))
        lengths = np.diff(starts, append=len(outside))
        one_back[starts] = starts + lengths - 1
    before = outside[one_back]
    gradual = most(np.abs(outside - before)) <= np.float32(GRADUAL) * most(np.maximum(outside, before))
    breaks = ~(gradual & film & film[one_back])
    # The last stretch around each frame goes on in its first.
    stretch: IntArray = np.cumsum(breaks)
    if ring is None:
        stretch %= max(int(stretch[-1]), 1)
    else:
        count = np.maximum(np.add.reduceat(breaks, starts, dtype=np.intp), 1)
        since_start = stretch - np.repeat(stretch[starts] - breaks[starts], lengths)
        stretch = np.repeat(np.cumsum(count) - count, lengths) + since_start % np.repeat(count, lengths)
    return np.asarray(strays & (np.bincount(stretch, alike)[stretch] >= LEAST_ALIKE))


def score_sides(tones: SideTones, *, inverted: bool, light: float) -> tuple[F32Array, F32Array]:
    """Judge what lies along the four sides of hypothetical frames.

    Parameters
    ----------
    tones : SideTones
        Beside each of them.
    inverted : bool
        True for a slide: what is dark then is light in truth, and no holder.
    light : float
        Level of bare light, which lies beyond the film's ends and through its holes.

    Returns
    -------
    scores : ndarray
        What makes a `SideScore`, of each side of each frame, shape (frames, 4, 5).
    base : ndarray
        Tone of the clear base its sides share, shape (frames, 3); NaN when there is none, and then its scores are zero.
    """
    outside, inside = tones.outside, tones.inside
    out_level, in_level = summed_up(outside) / np.float32(3), summed_up(inside) / np.float32(3)
    step = np.where(tones.within, out_level - in_level, np.float32(np.nan))
    any_step = most(np.abs(outside - inside))
    base = base_tone(outside, step, np.inf if inverted else light)
    beside, base_level = base[:, None, :], base.mean(axis=1)[:, None]
    visible = ~np.isnan(step)
    black = BLACK_SPREAD if inverted else None
    clear_out = like_base(outside, beside, black=black) & visible
    lit = out_level < np.float32(light + LIT_CODES) if inverted else out_level > np.float32(LIT * light)
    if not inverted:
        lit &= light > LIGHT_OVER_BASE * base_level
        clear_out &= ~lit | (out_level < np.float32(0.5) * (base_level + np.float32(light)))
        clear_out |= _followed_around(tones, clear_out, base) & ~lit
    dark = visible & (out_level < np.float32(0.3) * base_level) & (not inverted)
    shares = np.stack(
        [
            clear_out & (step > SEEN_STEP),
            (visible & ~clear_out & ~dark) | (clear_out & (step < -8.0)),
            dark,
            clear_out & (np.abs(step) <= SEEN_STEP),
            visible & ~dark & ~lit & ~clear_out & ~like_base(inside, beside, black=black) & (any_step > SEEN_STEP),
        ]
    ).astype(np.float32)
    of_side = (tones.side == np.arange(4)[:, None]).astype(np.float32)
    length = np.maximum(tones.within.astype(np.float32) @ of_side.T, 1)
    scores = (shares @ of_side.T / length).transpose(1, 2, 0)
    scores[np.isnan(base[:, 0])] = 0
    return np.asarray(scores, np.float32), base


def _followed_around(tones: SideTones, alike: BoolArray, base: F32Array) -> BoolArray:
    """As `followed_base`, shape (frames, segments)."""
    followed = np.zeros_like(alike)
    ring = np.nonzero(tones.within)[0]
    followed[tones.within] = followed_base(tones.outside[tones.within], alike[tones.within], base[ring], ring)
    return followed
