"""How far an answer may be trusted, from the evidence for it: a logistic model fitted on generated pictures.

The features are shares and ratios, so that they mean the same for every format, view size and camera.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from tethercap.pictures import F32Array
from tethercap.watch.judging import Hypothesis
from tethercap.watch.refine import SideFit
from tethercap.watch.within import NO_BORDERS, Borders

SHARPEST_PX = 0.5
"""Edges are not told to be sharper."""
GATE_OFF_MM = 0.4
"""So far off the strip's middle cameras put their frames."""
SEEN_LEAST = 0.08
"""Share of its length below which an edge is not called seen, and is placed by the model."""

FEATURES = (
    "better long edge", "better short edge", "worse long edge", "worse short edge", "one long edge unseen",
    "one short edge unseen", "size off", "shape off", "base uneven", "ragged", "brighter inside", "against", "dark",
    "clear", "long edges not parallel", "short edges not parallel", "not square", "strip middle known",
    "off strip middle", "weakest contrast", "touching", "slide", "corner only", "long edge unseen in view",
    "short edge unseen in view", "search score", "border across", "border along", "border where short edge unseen",
    "border where long edge unseen", "middle off", "outdone", "slide, clear", "slide, worse short edge",
    "slide, border across", "weaker way", "gap within", "slide, gap within", "touching, seen least",
    "unseen in the dark", "unseen in the clear", "unseen against", "white beside", "beyond middle",
    "unequally soft", "gap within, short edge unseen", "middle off, strip known",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Fitted:
    """A hypothesis after its edges were fitted."""

    hypothesis: Hypothesis
    corners: F32Array
    """Shape (4, 2), full px."""
    fits: tuple[SideFit, ...]
    """Top, right, bottom, left."""
    px_per_mm: float
    """Full px, as assumed."""
    strip_off_mm: float | None
    """Frame's middle off the strip's, where perforations tell it."""
    exact_off_mm: float | None = None
    """The same by perforations in view that tell the middle to a tenth, also where it was found without them."""
    light_inside: bool = False
    """The inside of a would-be slide is nothing but the light."""
    borders: Borders = NO_BORDERS
    middle_off: float = 0.0
    """Frame's middle above or below the view's, as a share of its height."""
    outdone: float = 0.0
    """By how many edges' length another place shows more."""
    rivals: float = 0.0
    """Odds of other places of the same frame: only one of them can be right."""
    kind_sure: float = 1.0
    """How likely the film is of the kind that it was taken for, 0..1."""
    is_scaled: bool = True
    """Its scale is known, by what was said or by perforations, and not only what makes it fit."""
    is_named: bool = True
    """Its format was said."""

    @property
    def seen_in_all(self) -> float:
        """Length of edges seen, in edges."""
        h = self.hypothesis
        return sum(fit.seen_share * (0.5 if t else 1.0) for fit, t in zip(self.fits, h.touching, strict=True))

    @cached_property
    def angles_deg(self) -> tuple[float, float, float, float]:
        """Direction of each side against its nominal one, clockwise positive."""
        along = np.roll(self.corners, -1, axis=0) - self.corners
        angles = np.degrees(np.arctan2(along[:, 1], along[:, 0])) - 90.0 * np.arange(4)
        a, b, c, d = ((angles + 180.0) % 360.0 - 180.0).tolist()
        return a, b, c, d

    @cached_property
    def odds(self) -> float:
        """Odds of it by its own evidence; 0 where something speaks against it that nothing outweighs."""
        if not is_believable(self):
            return 0.0
        return odds(features(self), 0.0 if self.is_scaled else _unconfirmed(self))

    @property
    def sure(self) -> float:
        """Confidence in it, 0..1: at most one of several places is right, or none."""
        return self.kind_sure * self.odds / (1 + self.odds + self.rivals)


def is_seen(fit: SideFit) -> bool:
    """Whether an edge itself says where it is."""
    return fit.seen_share >= SEEN_LEAST


def features(fitted: Fitted) -> F32Array:
    """Evidence as numbers, in the order of `FEATURES`, shape (len(FEATURES),)."""
    h, fits, borders = fitted.hypothesis, fitted.fits, fitted.borders
    top, right, bottom, left = (fit.seen_share for fit in fits)
    seen = [is_seen(fit) for fit in fits]
    long_missing, short_missing = not (seen[0] and seen[2]), not (seen[1] and seen[3])
    size_off, shape_off = _size(fitted, long_missing=long_missing, short_missing=short_missing)
    angles = fitted.angles_deg
    tones = [fit.outside for fit, s, touches in zip(fits, seen, h.touching, strict=True) if s and not touches]
    uneven = float(np.ptp(np.array(tones), axis=0).max() / max(float(np.mean(tones)), 20.0)) if len(tones) > 1 else 0.0
    ragged = max((fit.ragged_px for fit, s in zip(fits, seen, strict=True) if s), default=0.0) / fitted.px_per_mm
    contrast = min((fit.contrast for fit, s in zip(fits, seen, strict=True) if s), default=1.0)
    clear = sum(s.clear for s in h.sides)
    unseen = [side for side, s in zip(h.sides, seen, strict=True) if not s]
    strip_off = abs(fitted.strip_off_mm) if fitted.strip_off_mm is not None else 0.0
    return np.array(
        [
            max(top, bottom), max(left, right), min(top, bottom), min(left, right), long_missing, short_missing,
            min(size_off, 0.1) * 10, min(shape_off, 0.1) * 10, min(uneven, 0.6), min(ragged, 0.3) * 5,
            min(h.brighter_inside, 0.1),
            sum(s.against for s in h.sides), sum(s.dark for s in h.sides), clear,
            0.0 if long_missing else min(abs(angles[0] - angles[2]), 3.0),
            0.0 if short_missing else min(abs(angles[1] - angles[3]), 3.0),
            min(abs((angles[0] + angles[2] - angles[1] - angles[3]) / 2), 3.0),
            fitted.strip_off_mm is not None, min(strip_off, 1.5), np.log10(max(contrast, 1.0)), any(h.touching),
            h.inverted,
            long_missing and short_missing,
            _unseen_in_view(fits[0]) + _unseen_in_view(fits[2]),
            _unseen_in_view(fits[1]) + _unseen_in_view(fits[3]), float(np.clip(h.score, -1, 4)),
            borders.across, borders.along, borders.across * short_missing, borders.along * long_missing,
            min(fitted.middle_off, 0.5), float(np.clip(fitted.outdone, -1.5, 1.5)), h.inverted * clear,
            h.inverted * min(left, right), h.inverted * borders.across, min(max(top, bottom), max(left, right)),
            borders.gap, h.inverted * borders.gap,
            min((fit.seen_share for fit, t in zip(fits, h.touching, strict=True) if t), default=0.0),
            sum(side.dark for side in unseen), sum(side.clear for side in unseen), sum(side.against for side in unseen),
            _white_beside(fitted),
            max(min(abs(fitted.exact_off_mm or 0.0), 1.5) - GATE_OFF_MM, 0.0),
            _unequally_soft(fitted),
            borders.gap * short_missing,
            min(fitted.middle_off, 0.5) * (fitted.strip_off_mm is not None),
        ],
        np.float32,
    )  # fmt: skip


def _unequally_soft(fitted: Fitted) -> float:
    """How much softer one edge is than another, as the logarithm of the ratio of their spreads.

    One gate cut them all: what is softer is likely part of the picture, or light.
    """
    spreads = [
        max(fit.spread_px, SHARPEST_PX)
        for fit, touches in zip(fitted.fits, fitted.hypothesis.touching, strict=True)
        if is_seen(fit) and not touches
    ]
    return min(float(np.log(max(spreads) / min(spreads))), 2.0) if spreads else 0.0


def _unseen_in_view(fit: SideFit) -> float:
    """Share of an unseen edge that lies in the view, 0..1: out of the view nothing can be expected."""
    return 0.0 if is_seen(fit) else float(fit.visible.mean())


def _white_beside(fitted: Fitted) -> float:
    """Share of the edges seen that have white beside them: light beyond the film, or base the camera is balanced on."""
    tones = [float(fit.outside.min()) for fit in fitted.fits if is_seen(fit)]
    if fitted.hypothesis.inverted or not tones:
        return 0.0
    return sum(tone > LIGHT_TONE for tone in tones) / len(tones)


def _size(fitted: Fitted, *, long_missing: bool, short_missing: bool) -> tuple[float, float]:
    """Size against the one assumed, and shape against the format's, as shares; 0 where not measured."""
    tl, tr, br, bl = fitted.corners.astype(np.float64)
    width = float(np.hypot(*(tr - tl)) + np.hypot(*(br - bl))) / 2
    height = float(np.hypot(*(bl - tl)) + np.hypot(*(br - tr))) / 2
    f = fitted.hypothesis.film_format
    off_width = abs(width / (f.along_mm * fitted.px_per_mm) - 1)
    off_height = abs(height / (f.across_mm * fitted.px_per_mm) - 1)
    size_off = max(0.0 if short_missing else off_width, 0.0 if long_missing else off_height)
    shape_off = 0.0 if short_missing or long_missing else abs((width / height) / (f.along_mm / f.across_mm) - 1)
    return size_off, shape_off


WEIGHTS: tuple[float, ...] = (
    -1.728, -1.549, 1.084, 0.404, 0.960, -0.414, -6.746, -10.124, -6.771, -1.938, -30.993, 1.028, 1.548, 1.072,
    -0.688, -0.017, -3.093, 1.299, 0.000, 0.000, -0.877, -0.404, 0.327, -3.327, -2.465, 0.628, -1.147, 1.378, -1.154,
    -2.478, -7.289, -1.551, 0.372, 0.163, 0.603, 3.406, -0.225, 0.048, -0.155, 0.891, 0.298, -0.676, -0.991, -6.213,
    -1.781, -1.429, 2.926,
)  # fmt: skip
"""Fitted by penalised maximum likelihood on pictures of four drawings, tests/film_pictures, tests/film_second,
tests/film_pictures/third_hand and one that is kept apart; each is judged on seeds that had no part in it. What speaks
against an answer by its nature (edges out of parallel, a size that is off) is held not to speak for it."""
BIAS = 0.300
"""A little less than was fitted: it is worse to see a frame where there is none than to ask about one."""


OF_ANY_SHAPE = -2.0
"""Log odds of a place whose format and scale are both what makes it fit: many rectangles have some format's shape."""


HIDDEN_IN_BLACK = -1.0
"""And of a slide with an edge unseen: it might go on in the black, or lie the other way round."""


def _unconfirmed(fitted: Fitted) -> float:
    """Log odds of what nothing confirms where the scale is only what makes a frame fit."""
    hidden = fitted.hypothesis.inverted and not all(is_seen(fit) for fit in fitted.fits)
    return (0.0 if fitted.is_named else OF_ANY_SHAPE) + (HIDDEN_IN_BLACK if hidden else 0.0)


def odds(evidence: F32Array, off: float = 0.0) -> float:
    """Answers with this evidence that are right over those that are not; `off` is added to the logarithm."""
    return float(np.exp(BIAS + off + float(evidence @ np.array(WEIGHTS, np.float32))))


RUNS_ON = 0.6
"""Share of what is in view of an edge that must be seen where the frame is known by one corner alone."""
BLACK_BANDS = 1.2
"""Shares of its height and of its length, summed, along which black runs straight inside a would-be slide that holds
its own rebate and the gap to a neighbour."""
LEAST_EDGES, LEAST_LENGTH = 2, 1.5
"""With no more edges than these, or less than so many edges' length seen of more, white beside half of them is more
likely light beyond the film's end and through its holes than base."""
OUT_OF_PARALLEL_DEG = 2.5
"""Opposite edges of a frame are nearer to parallel than this: keystone of a degree, and a gate set askew."""
LIGHT_TONE = 235.0
"""Code in all channels from which on a tone is that of bare light, or of a base the camera is balanced on."""


def is_believable(fitted: Fitted) -> bool:
    """Whether nothing speaks against an answer that no amount of other evidence outweighs.

    A frame is placed each way by an edge; the inside of a slide is not bare light; two edges, or as little of more, are
    not enough where white lies beside them; opposite edges are about parallel; and a frame known by one corner alone
    shows both edges of it all the way to where they leave the view. A slide whose scale is not known has no straight
    black bands across it both ways.
    """
    seen = [is_seen(fit) for fit in fitted.fits]
    if fitted.light_inside or not ((seen[0] or seen[2]) and (seen[1] or seen[3])):
        return False
    if fitted.hypothesis.inverted and not fitted.is_scaled and sum(fitted.borders[:2]) > BLACK_BANDS:
        return False
    few = sum(seen) == LEAST_EDGES or fitted.seen_in_all < LEAST_LENGTH
    if few and _white_beside(fitted) >= 0.5:
        return False
    angles = fitted.angles_deg
    if any(seen[a] and seen[a + 2] and abs(angles[a] - angles[a + 2]) > OUT_OF_PARALLEL_DEG for a in (0, 1)):
        return False
    if seen[0] != seen[2] and seen[1] != seen[3]:
        runs = (fit.seen.sum() / max(fit.visible.sum(), 1) for fit, s in zip(fitted.fits, seen, strict=True) if s)
        return bool(min(runs) >= RUNS_ON)
    return True
