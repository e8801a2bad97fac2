"""How far the film moved between two live pictures, and whether it lies still.

First the whole-pixel shift by phase correlation (Kuglin and Hines, 1975); then its fraction by least squares on the
picture's gradients (Lucas and Kanade, 1981) together with a change of gain and offset, so that flicker and a hunting
exposure are not taken for movement.
"""

from collections import deque
from dataclasses import dataclass, replace

import cv2
import numpy as np

from tethercap.pictures import F32Array
from tethercap.watch.sighting import Motion

_COARSE = 2
"""Further reduction for the whole-pixel shift."""


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
    before: F32Array,
    after: F32Array,
    window: F32Array,
    expected_x_px: float = 0.0,
    opening: tuple[slice, slice] | None = None,
) -> Shift:
    """Measure the movement between two small grey pictures.

    Parameters
    ----------
    before, after : ndarray
        Shape (height, width), float32, 0..255.
    window : ndarray
        Hann window for the coarse step, shape (height // 2, width // 2), float32.
    expected_x_px : float
        Movement between the two pictures before; tried first, so that film in steady motion needs no search.
    opening : tuple of slice or None
        Rows and columns inside the holder's opening, where they are known; None takes what is lit in `after`.

    Returns
    -------
    Shift
        Positive x: the film moved to the right.
    """
    change = cv2.norm(before, after, cv2.NORM_L1) / before.size
    if change == 0.0:
        return Shift(0.0, 0.0, 0.0, trusted=True, repeated=True)
    rows, columns = opening or (lit_run(_row_means(after)), lit_run(_column_means(after)))
    if rows.stop - rows.start < 24 or columns.stop - columns.start < 48:
        rows, columns = slice(0, before.shape[0]), slice(0, before.shape[1])
    one, two = before[rows, columns], after[rows, columns]
    two = two * _row_gain(one, two)
    textures = _texture(one), _texture(two)
    best = _found(*textures, window, expected_x_px)
    if best.trusted and (abs(best.x_px) < MOVED_PX or best.unlike < EXPLAINED):
        return best
    if best.trusted:
        return _better(best, _of_what_is_shared(one, two, round(best.x_px), round(best.y_px)), expected_x_px)
    if not _is_featureless(textures[1]):
        for x in {round(expected_x_px), *_whole_by_columns(*textures, expected_x_px)}:
            best = _better(best, _of_what_is_shared(one, two, x, 0), expected_x_px)
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
    mean = one + two
    high, wide = one.shape[0] // 2 * 2 - 1, one.shape[1] // 2 * 2 - 1
    here = slice(1, high, 2), slice(1, wide, 2)
    design = np.empty((4, high // 2, wide // 2), np.float32)
    np.subtract(mean[1:high:2, : wide - 1 : 2], mean[1:high:2, 2 : wide + 1 : 2], out=design[0])
    np.subtract(mean[: high - 1 : 2, 1:wide:2], mean[2 : high + 1 : 2, 1:wide:2], out=design[1])
    design[:2] *= np.float32(0.25)
    design[2], design[3] = one[here], 1.0
    rows = design.reshape(4, -1)
    change = (two[here] - one[here]).ravel()
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


CORRELATED = 2.0
"""JPEG and sharpening tie neighbouring pixels together; the error is that of a picture with so many times fewer each
way."""


def _row_gain(before: F32Array, after: F32Array) -> F32Array:
    """Gain that gives every row of `after` the mean it had before, shape (height, 1): takes out bands of flicker."""
    one, two = _row_means(before)[:, None], _row_means(after)[:, None]
    return np.asarray(np.clip((one + 4.0) / (two + 4.0), 0.5, 2.0), np.float32)


def _row_means(grey: F32Array) -> F32Array:
    return np.asarray(cv2.reduce(grey, 1, cv2.REDUCE_AVG).ravel(), np.float32)


def _column_means(grey: F32Array) -> F32Array:
    return np.asarray(cv2.reduce(grey, 0, cv2.REDUCE_AVG).ravel(), np.float32)


RESTING_SHARE = 0.5
"""Share of the speed that would blur, below which the film counts as having come to rest."""
CREEPING_SHARE = 1.0
"""The same for film that creeps to rest, slower from picture to picture: a hand that turns round is slow too, but only
until the next picture."""


ACROSS_COUNTS = 0.3
"""Weight of movement across the film: it lies between guides, and what bands of flicker leave behind is across."""
ACROSS_OVER = 3
"""It is averaged over so many pictures: bands that run through the picture push it to and fro. Film that has stopped
shows none in the last picture, whatever the mean."""
REST_DRIFT_S = 0.1
"""Film at rest stays within what the fastest still film goes in this time; creeping further is no rest."""
FORGETS = 0.997
"""How much of the light once seen at a place is still believed a picture later: half after eight seconds."""


TREMBLING_COUNTS = 0.75
"""Film in a trembling hand is hardly slower than what counts as rest, and turns round and round: staying in its place
it rests all the same, only later."""


@dataclass(slots=True)
class _Stay:
    """Since when the film lies at one place."""

    since_s: float | None = None
    at_px: float = 0.0

    def lasts(self, lies: bool, along_px: float, drift_px: float, at_s: float, elapsed_s: float) -> float:
        """Take in a picture; how long the film lies by now, s, 0 where it does not, or has crept away."""
        if not lies:
            self.since_s = None
            return 0.0
        if self.since_s is None or abs(along_px - self.at_px) > drift_px:
            self.since_s, self.at_px = at_s - elapsed_s, along_px
        return at_s - self.since_s


class MotionMeter:
    """Follows the film from picture to picture."""

    def __init__(self) -> None:
        self._before: F32Array | None = None
        self._window: F32Array | None = None
        self._lit: tuple[F32Array, F32Array] | None = None
        self._at_s = 0.0
        self._shift_px = 0.0
        self._along_mm_s = 0.0
        self._across_mm_s: deque[float] = deque(maxlen=ACROSS_OVER)
        self._rest, self._trembling = _Stay(), _Stay()
        self.along_px = 0.0
        """Sum of all movement along x since the start, small px."""
        self.across_px = 0.0
        self.lost = True
        """The last two pictures had nothing in common."""
        self.repeated = False
        """The last picture was the one before again."""

    def copy_of_last(self) -> F32Array | None:
        """The last picture taken in, to compare later ones with."""
        return None if self._before is None else self._before.copy()

    def update(self, grey: F32Array, at_s: float, mm_per_small_px: float, still_mm_s: float) -> Motion | None:
        """Take in one picture.

        Parameters
        ----------
        grey : ndarray
            Reduced picture, shape (height, width), float32; used again with the next one, so it must stay until then.
        at_s : float
            When it was taken, s.
        mm_per_small_px : float
            Scale.
        still_mm_s : float
            Speed that counts as rest.

        Returns
        -------
        Motion or None
            None for the first picture, and for one that repeats the one before.
        """
        before, self.repeated = self._before, False
        if before is None or self._window is None or before.shape != grey.shape or at_s <= self._at_s:
            self._start(grey, at_s)
            return None
        shift = measure_shift(before, grey, self._window, self._shift_px, self._opening(grey))
        if shift.repeated:
            self.repeated, self._before = True, grey
            return None
        elapsed_s = at_s - self._at_s
        self._before, self._at_s = grey, at_s
        self._shift_px = shift.x_px if shift.trusted else 0.5 * self._shift_px
        self.lost = not shift.trusted
        if self.lost:
            self._rest, self._trembling = _Stay(), _Stay()
            return Motion(0.0, 0.0, float("inf"), still=False, still_for_s=0.0)
        self.along_px += shift.x_px
        self.across_px += shift.y_px
        return self._speed(shift, at_s, elapsed_s, mm_per_small_px, still_mm_s)

    def _opening(self, grey: F32Array) -> tuple[slice, slice]:
        """Rows and columns inside the opening: what was lit lately, so that dense film beside bare light is too."""
        profiles = _row_means(grey), _column_means(grey)
        if self._lit is None:
            self._lit = profiles
        for lit, profile in zip(self._lit, profiles, strict=True):
            lit *= np.float32(FORGETS)
            np.maximum(lit, profile, out=lit)
        return lit_run(self._lit[0]), lit_run(self._lit[1])

    def _start(self, grey: F32Array, at_s: float) -> None:
        self._before, self._at_s, self._lit = grey, at_s, None
        size = (max(8, grey.shape[1] // _COARSE), max(8, grey.shape[0] // _COARSE))
        self._window = cv2.createHanningWindow(size, cv2.CV_32F).astype(np.float32)
        self._rest, self._trembling = _Stay(), _Stay()

    def _speed(self, shift: Shift, at_s: float, elapsed_s: float, mm_per_px: float, still_mm_s: float) -> Motion:
        along, across = shift.x_px * mm_per_px / elapsed_s, shift.y_px * mm_per_px / elapsed_s
        noise = shift.noise_px * mm_per_px / elapsed_s
        self._across_mm_s.append(across)
        going_across = min(abs(across), abs(sum(self._across_mm_s)) / ACROSS_OVER)
        now = max(abs(along), ACROSS_COUNTS * going_across)
        still = now <= still_mm_s + 2.0 * noise
        # A hand that turns round is slow for a moment, but never without acceleration: rest is asked for, not slowness.
        slows = along * self._along_mm_s >= 0.0 and abs(along) <= abs(self._along_mm_s) + noise
        self._along_mm_s = along
        share = CREEPING_SHARE if slows else RESTING_SHARE
        resting = still and now <= max(share * still_mm_s, 3.0 * noise + 0.01)
        drift_px = (REST_DRIFT_S * still_mm_s + 3.0 * noise * elapsed_s) / mm_per_px
        still_for = max(
            self._rest.lasts(resting, self.along_px, drift_px, at_s, elapsed_s),
            TREMBLING_COUNTS * self._trembling.lasts(still, self.along_px, drift_px, at_s, elapsed_s),
        )
        return Motion(along, across, noise, still=still, still_for_s=still_for)
