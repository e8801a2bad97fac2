"""How far the film moved between two live pictures.

First the whole-pixel shift by phase correlation (Kuglin and Hines, 1975); then its fraction by least squares on the
picture's gradients (Lucas and Kanade, 1981) together with a change of gain and offset, so that flicker and a hunting
exposure are not taken for movement.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import cv2
import numpy as np

from tethercap.pictures import F32Array

COARSE = 2
"""Further reduction for the whole-pixel shift."""
Opening = tuple[slice, slice]
"""Rows and columns."""


@dataclass(frozen=True, eq=False)
class OpenView:
    """The part of a small grey picture that lies inside the holder's opening."""

    grey: F32Array
    """The whole picture, shape (height, width), float32, 0..255."""
    opening: Opening

    @classmethod
    def of(cls, grey: F32Array, opening: Opening | None = None) -> "OpenView":
        """Cut a picture to the opening, where it is known, else to what is lit; to neither where that is too little."""
        rows, columns = opening or (lit_run(row_means(grey)), lit_run(column_means(grey)))
        if rows.stop - rows.start < 24 or columns.stop - columns.start < 48:
            rows, columns = slice(0, grey.shape[0]), slice(0, grey.shape[1])
        return cls(grey, (rows, columns))

    def through(self, opening: Opening) -> "OpenView":
        """Give the same picture in another opening."""
        return self if opening == self.opening else OpenView(self.grey, opening)

    @property
    def film(self) -> F32Array:
        """What is seen in the opening."""
        return self.grey[self.opening]

    @cached_property
    def texture(self) -> F32Array:
        """Its texture: asked for with this picture and with the next one."""
        return _texture(self.film)

    @cached_property
    def rows(self) -> F32Array:
        """Mean of each of its rows, shape (height,): asked for as often."""
        return row_means(self.film)

    def repeats(self, other: "OpenView") -> bool:
        """Whether two whole pictures are the same; a single row of them tells most that are not."""
        row = self.grey.shape[0] // 2
        return np.array_equal(self.grey[row], other.grey[row]) and np.array_equal(self.grey, other.grey)


@dataclass(frozen=True, slots=True)
class Shift:
    """Movement of the film between two pictures, small px."""

    x_px: float
    y_px: float
    noise_px: float
    """One standard deviation, from the residual."""
    trusted: bool
    """False at a scene cut, or where nothing with structure is in view."""
    repeated: bool = False
    """The picture is the same one again: it says nothing."""
    unlike: float = 0.0
    """Share of the texture's variance that this shift leaves unexplained."""


def measure_shift(
    before: OpenView, after: OpenView, window: F32Array, expected_x_px: float = 0.0, *, was_lost: bool = False
) -> Shift:
    """Measure the movement between two small grey pictures.

    Parameters
    ----------
    before, after : OpenView
        Of the same size; both are seen through the opening of `after`.
    window : ndarray
        Hann window for the coarse step, shape (height // 2, width // 2), float32.
    expected_x_px : float
        Movement between the two pictures before; tried first, so that film in steady motion needs no search.
    was_lost : bool
        It could not be told: then nothing is tried while nothing is in view that could be followed.

    Returns
    -------
    Shift
        Positive x: the film moved to the right.
    """
    if after.repeats(before):
        return Shift(0.0, 0.0, 0.0, trusted=True, repeated=True)
    if was_lost and _is_featureless(after.texture):
        return NO_SHIFT
    before = before.through(after.opening)
    gain = _row_gain(before.rows, after.rows)[:, None]
    # The texture is taken along rows, so that a gain for each row changes it as it does the picture.
    textures = before.texture, after.texture * gain
    best = _found(*textures, window, expected_x_px)
    if best.trusted and (abs(best.x_px) < MOVED_PX or best.unlike < EXPLAINED):
        return best
    if best.trusted:
        whole = {(round(best.x_px), round(best.y_px))}
    elif _is_featureless(textures[1]):
        return best
    else:
        whole = {(x, 0) for x in (round(expected_x_px), *_whole_by_columns(*textures, expected_x_px))}
    film = after.film * gain
    for x, y in whole:
        best = _better(best, _of_what_is_shared(before.film, film, x, y), expected_x_px)
    return best


def _found(one: F32Array, two: F32Array, window: F32Array, expected_x_px: float) -> Shift:
    """Find the shift between two textures, the expected one first."""
    best = _refined(one, two, round(expected_x_px), 0)
    if best.trusted and best.unlike < CLEARLY_ALIKE:
        return best
    if not best.trusted and _is_featureless(two):
        return best
    for x in {0, *_whole_by_columns(one, two, expected_x_px)} - {round(expected_x_px)}:
        best = _better(best, _refined(one, two, x, 0), expected_x_px)
    if not best.trusted:
        best = _better(best, _refined(one, two, *_whole(one, two, window)), expected_x_px)
    return best


def _better(one: Shift, two: Shift, expected_x_px: float) -> Shift:
    if not two.trusted:
        return one
    return two if not one.trusted or _cost(two, expected_x_px) < _cost(one, expected_x_px) else one


MOVED_PX, EXPLAINED = 4.0, 0.05
"""Film that moved further, and whose texture is explained less well, is measured once more on what both pictures
share: a picture that comes in at one side and one that goes out at the other change the means far from them."""


NO_SHIFT = Shift(0.0, 0.0, np.inf, trusted=False)


def _shared(one: F32Array, two: F32Array, x: int, y: int) -> tuple[F32Array, F32Array] | None:
    """Cut both pictures to the film they share after a whole-pixel shift; None where that is too little."""
    height, width = one.shape
    if abs(x) > 0.7 * width or abs(y) > 0.5 * height:
        return None
    before = one[max(0, -y) : height - max(0, y), max(0, -x) : width - max(0, x)]
    return before, two[max(0, y) : height - max(0, -y), max(0, x) : width - max(0, -x)]


def _of_what_is_shared(one: F32Array, two: F32Array, x: int, y: int) -> Shift:
    """The fraction to a whole-pixel shift, of textures taken only where both pictures show the same film."""
    shared = _shared(one, two, x, y)
    if shared is None:
        return NO_SHIFT
    shift = _fraction(_texture(shared[0]), _texture(shared[1]), 0, 0)
    return replace(shift, x_px=x + shift.x_px, y_px=y + shift.y_px)


CLEARLY_ALIKE = 0.15
"""Share of the texture left unexplained below which no other shift is tried."""


ONLY_NOISE = 0.9
"""What film shows is smooth over a pixel or two; of noise, differences between neighbours have twice the variance."""


def _is_featureless(texture: F32Array) -> bool:
    """Whether there is nothing to follow: bare light, or one tone."""
    spread, steps = float(np.vdot(texture, texture)), texture[:, 1:] - texture[:, :-1]
    return spread < LEAST_TEXTURE * texture.size or float(np.vdot(steps, steps)) > ONLY_NOISE * spread


def _refined(one: F32Array, two: F32Array, x: int, y: int) -> Shift:
    """The fraction to a whole-pixel shift, taken again from the next whole pixel if that is nearer."""
    tried = _fraction(one, two, x, y)
    if tried.trusted and max(abs(tried.x_px - x), abs(tried.y_px - y)) > 0.7:
        return _fraction(one, two, round(tried.x_px), round(tried.y_px))
    return tried


FAR_PX = 40.0
FAR_COST = 0.25


def _cost(shift: Shift, expected_x_px: float) -> float:
    """What speaks against a shift: what it leaves unexplained, and how suddenly the film would have changed its speed.

    Perforations all look alike, so that on film with little else a leap by some of them would explain as much.
    """
    return shift.unlike + FAR_COST * min(abs(shift.x_px - expected_x_px) / FAR_PX, 1.0)


def lit_run(profile: F32Array) -> slice:
    """Places inside the holder's opening, less a rim: the holder's own edges do not move with the film."""
    lit = np.flatnonzero(profile > 0.3 * float(profile.max()))
    return slice(int(lit[0]) + _RIM, int(lit[-1]) + 1 - _RIM) if lit.size > 2 * _RIM + 8 else slice(0, profile.size)


_RIM = 2
_WIDEST = 95
"""Structure along the film broader than so many px is left out: fall-off and reflections lie still while film moves."""


def _texture(grey: F32Array) -> F32Array:
    """What changes along the film: less the mean around each place in its row."""
    return np.asarray(grey - cv2.blur(grey, (min(_WIDEST, grey.shape[1] // 2 * 2 - 1), 1)), np.float32)


def _whole(before: F32Array, after: F32Array, window: F32Array) -> tuple[int, int]:
    size = (window.shape[1], window.shape[0])
    one, two = (cv2.resize(grey, size, interpolation=cv2.INTER_AREA) for grey in (before, after))
    (x, y), _ = cv2.phaseCorrelate(one, two, window)
    return round(x * before.shape[1] / size[0]), round(y * before.shape[0] / size[1])


_NEAR_PX = 8


def _whole_by_columns(before: F32Array, after: F32Array, expected_x_px: float) -> set[int]:
    """Shifts along x that make the mean columns most alike, of all and of those near the one expected: sees film with
    little on it, smeared by its own speed, and perforations that all look alike.
    """
    one, two = before.mean(axis=0), after.mean(axis=0)
    width = len(one)
    shifts = np.arange(-int(0.6 * width), int(0.6 * width) + 1)
    products = np.correlate(two, one, mode="full")[shifts + width - 1]
    squares_one = np.concatenate([[0.0], np.cumsum(one.astype(np.float64) ** 2)])
    squares_two = np.concatenate([[0.0], np.cumsum(two.astype(np.float64) ** 2)])
    right, left = np.maximum(shifts, 0), np.maximum(-shifts, 0)
    shared_one = squares_one[width - right] - squares_one[left]
    shared_two = squares_two[width - left] - squares_two[right]
    likeness = 2 * products / np.maximum(shared_one + shared_two, 1e-6)
    near = np.where(np.abs(shifts - expected_x_px) <= _NEAR_PX, likeness, -2.0)
    return {int(shifts[int(alike.argmax())]) for alike in (likeness, near)}


ALIKE_SHARE = 0.4
"""Share of the picture's variance that may be left over after a shift; pictures with nothing in common leave twice
the variance."""
LARGEST_GAIN = 0.5
"""Change of contrast between two pictures, as a share, that an exposure can make: more is another picture."""
LEAST_TEXTURE = 0.02
"""Variance of the texture, codes squared, below which nothing is in view that could be followed."""


def _fraction(before: F32Array, after: F32Array, whole_x: int, whole_y: int) -> Shift:
    """Refine a whole-pixel shift by one least-squares step over the pixels both pictures share."""
    shared = _shared(before, after, whole_x, whole_y)
    if shared is None:
        return NO_SHIFT
    one, two = shared
    design, change = _sampled(one, two)
    rows = design.reshape(4, -1)
    count = change.size
    normal, right = (rows @ rows.T).astype(np.float64), (rows @ change).astype(np.float64)
    spread = normal[2, 2] / count - (normal[2, 3] / count) ** 2
    structure = normal[0, 0] / count
    normal[np.arange(4), np.arange(4)] += np.array([1e-5, 1e-5, 1e-3, 1e-6]) * count
    solution = np.linalg.solve(normal, right)
    left_over = max(float(change @ change) - float(solution @ right), 0.0) / count
    noise_px = float(np.sqrt(left_over / max(structure * count, 1e-9)) * CORRELATED)
    unlike = left_over / max(spread, 1e-9)
    trusted = bool(
        np.abs(solution[:2]).max() < 1.6
        and abs(solution[2]) < LARGEST_GAIN
        and unlike < ALIKE_SHARE
        and spread > LEAST_TEXTURE
        and noise_px < 0.2
    )
    return Shift(whole_x + float(solution[0]), whole_y + float(solution[1]), noise_px, trusted, unlike=unlike)


SAMPLED_FROM = (1, 1), (3, 2)
"""First row and column of the places that are looked at, every fourth row and every second column: all columns in turn,
since the step of a sharp edge is in one column, and missing it film at rest would seem to creep."""


def _sampled(one: F32Array, two: F32Array) -> tuple[F32Array, F32Array]:
    """Slopes along and across, level and a constant at one place of four, shape (4, rows, columns); and the change."""
    high, wide = one.shape
    mean, columns = one + two, (wide - 2) // 2
    counts = [len(range(first, high - 1, 4)) for first, _ in SAMPLED_FROM]
    design = np.ones((4, sum(counts), columns), np.float32)
    change = np.empty(design.shape[1:], np.float32)
    done = 0
    for (first, column), count in zip(SAMPLED_FROM, counts, strict=True):
        into, down = slice(done, done + count), slice(first, high - 1, 4)
        left, here, right = (slice(at, at + 2 * columns - 1, 2) for at in (column - 1, column, column + 1))
        np.subtract(mean[down, left], mean[down, right], out=design[0, into])
        np.subtract(mean[first - 1 : high - 2 : 4, here], mean[first + 1 : high : 4, here], out=design[1, into])
        design[2, into] = one[down, here]
        np.subtract(two[down, here], one[down, here], out=change[into])
        done += count
    design[:2] *= np.float32(0.25)
    return design, change.ravel()


CORRELATED = 2.0
"""JPEG and sharpening tie neighbouring pixels together; the error is that of a picture with so many times fewer each
way."""


def _row_gain(before: F32Array, after: F32Array) -> F32Array:
    """Gain that gives rows of some means the ones they had before, shape (height,): takes out bands of flicker."""
    gain = (before + np.float32(4.0)) / (after + np.float32(4.0))
    return np.asarray(np.minimum(np.maximum(gain, np.float32(0.5)), np.float32(2.0)))


def row_means(grey: F32Array) -> F32Array:
    """Mean of each row, shape (height,)."""
    return np.asarray(cv2.reduce(grey, 1, cv2.REDUCE_AVG).ravel(), np.float32)


def column_means(grey: F32Array) -> F32Array:
    """Mean of each column, shape (width,)."""
    return np.asarray(cv2.reduce(grey, 0, cv2.REDUCE_AVG).ravel(), np.float32)
