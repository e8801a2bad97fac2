"""Fit what is usual for slides: the module tethercap/convert/usual_slide_numbers.py.

Run ``python -m tests.quality.fit_slides FOLDER --out tethercap/convert/usual_slide_numbers.py`` on a folder of
photographs, as for `tests.quality.fit_exposure`; it takes some ten minutes. First come drawn slides on drawn rigs: the
numbers follow the rig straight, and are sought so that the colours of all cases together are least off; what single
cases would have liked better is the spread. Then come rolls of photographs, on film and rigs that are drawn otherwise:
the numbers follow the tint that greys of a roll have by the first ones, and move once for all rolls.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from tests.quality import colours
from tests.quality.drawn import draw_case
from tests.quality.fit_exposure import photographs_in
from tests.quality.numbers_file import module_text
from tests.quality.slides import FRAMES, SlideSeen, draw_slide, frames_on_slide, look_at_slide
from tests.quality.spectra import F64
from tethercap.convert.exposure import scene_light
from tethercap.convert.least_squares import fit
from tethercap.convert.slide_cast import believed, cast_of_frames
from tethercap.convert.usual_film import SLIDE_NUMBERS, slide_model_of

FIRST_SEED = 1000
_START = np.concatenate([np.zeros(9), [-0.8, 0.0, -0.27, -0.34, 0.06, -0.5], np.zeros(18), [0.1]])
_REACH = np.concatenate([[0.1] * 3, [0.3] * 6, [1.0] * 6, [0.15] * 9, [0.1] * 6, [0.1] * 3, [0.1]])
_PULL = 0.3
_HELD, _ROUNDS = 1e-3, 6
"""How firmly numbers stay where they are when rolls move them, for each roll."""
_LARGE = 3.0
"""CIE L*a*b* from which on an error counts less than its square."""
_LEAST_SPREAD = 0.02
_FURTHEST = 2.5
"""Standard deviations beyond which a rig's figures are taken as being there, as in `usual_film`."""


@dataclass(frozen=True)
class Roll:
    """A slide, and photographs on the same film and rig."""

    slide: SlideSeen
    frames: list[F64]
    """Densities over the bare light, each of shape (rows, columns, 3)."""


@dataclass(frozen=True)
class UsualSlide:
    """The distribution, and what rolls tell of it."""

    features: F64
    covariance: F64
    middle: F64
    per_feature: F64
    spread: F64
    cast: F64
    cast_spread: F64
    per_cast: F64

    def of_rig(self, figures: F64) -> F64:
        """Numbers that follow a rig's figures."""
        away = (figures - self.features) / np.sqrt(np.diag(self.covariance))
        return np.asarray(self.middle + away.clip(-_FURTHEST, _FURTHEST) @ self.per_feature)


def distances(seen: SlideSeen, numbers: F64) -> F64:
    """CIE L*a*b* from what is wanted to what the numbers make, chroma weighed, the chart's colours most; (n, 3)."""
    wanted = colours.lab_of_linear(np.maximum(seen.wanted, 1e-5))
    chroma = 1.0 / (1.0 + 0.045 * np.hypot(wanted[:, 1], wanted[:, 2]))
    trust = np.full(len(wanted), 0.5)
    half = len(wanted) // 2
    trust[:24] = trust[half : half + 24] = 1.5
    weights = trust[:, None] * np.stack([np.ones_like(chroma), chroma, chroma], axis=1)
    got = colours.lab_of_linear(np.maximum(scene_light(-np.log10(seen.transmittance), slide_model_of(numbers)), 1e-5))
    return np.asarray((got - wanted) * weights)


def fit_case(seen: SlideSeen) -> F64:
    """Numbers that explain one case."""
    return fit(
        lambda numbers: np.concatenate([distances(seen, numbers).ravel(), (numbers - _START) / _REACH]),
        _START,
        rounds=12,
    )


def learn(cases: list[SlideSeen], own: F64, rounds: int = 5) -> UsualSlide:
    """Seek numbers that follow the rigs' figures, shape (1 + 8, 34), so that errors are least."""
    figures = np.array([seen.figures for seen in cases])
    features, deviation = figures.mean(axis=0), figures.std(axis=0)
    rigs = np.column_stack([np.ones(len(cases)), (figures - features) / deviation])
    ridge = np.diag([0.0] + [3.0] * (rigs.shape[1] - 1))
    start = np.linalg.solve(rigs.T @ rigs + ridge, rigs.T @ own)
    pull = _PULL * len(cases) * np.tile(1.0 / (np.var(own - rigs @ start, axis=0) + _LEAST_SPREAD**2), len(start))
    slopes = start.copy()
    for _ in range(rounds):
        normal, gradient = np.diag(pull), pull * (slopes - start).ravel()
        for seen, rig in zip(cases, rigs, strict=True):
            jacobian, rest = _linearised(seen, rig @ slopes)
            normal += np.kron(np.outer(rig, rig), jacobian @ jacobian.T)
            gradient += np.kron(rig, jacobian @ rest)
        slopes = slopes - np.linalg.solve(normal, gradient).reshape(slopes.shape)
    left = own - rigs @ slopes
    covariance = left.T @ left / len(left) + _LEAST_SPREAD**2 * np.eye(SLIDE_NUMBERS)
    untold = np.zeros(4), np.ones(4), np.zeros((4, SLIDE_NUMBERS))
    return UsualSlide(features, np.cov(figures.T), slopes[0], slopes[1:], np.linalg.cholesky(covariance), *untold)


def draw_roll(seed: int, scenes: list[F64]) -> Roll:
    """A slide and photographs on it; the same seed gives the same ones."""
    case, rng = draw_slide(seed), np.random.default_rng([seed, 31])
    chosen = [scenes[number][::2, ::2] for number in rng.permutation(len(scenes))[:FRAMES]]
    frames = [-np.log10(np.maximum(seen, 1e-4)) for seen, _ in frames_on_slide(case, chosen, rng)]
    return Roll(look_at_slide(case), frames)


def learn_of_rolls(usual: UsualSlide, rolls: list[Roll]) -> UsualSlide:
    """Move the numbers by what rolls tell, so that their colours are least off."""
    casts = _casts(usual, rolls)
    rows = np.column_stack([np.ones(len(rolls)), believed(_standard(casts))])
    slides = [roll.slide for roll in rolls]
    slopes = _descend(slides, rows, np.array([usual.of_rig(slide.figures) for slide in slides]))
    moved = replace(usual, middle=usual.middle + slopes[0], per_cast=slopes[1:])
    cast, spread = _most(_casts(moved, rolls))
    return replace(moved, cast=cast, cast_spread=spread)


def _casts(usual: UsualSlide, rolls: list[Roll]) -> F64:
    return np.array([cast_of_frames(roll.frames, slide_model_of(usual.of_rig(roll.slide.figures))) for roll in rolls])


def _most(casts: F64) -> tuple[F64, F64]:
    """Middle and spread of most; films of a strong tint have no part in it."""
    middle = np.median(casts, axis=0)
    return middle, 1.4826 * np.median(np.abs(casts - middle), axis=0)


def _standard(casts: F64) -> F64:
    middle, spread = _most(casts)
    return np.asarray((casts - middle) / spread)


def _descend(cases: list[SlideSeen], rows: F64, before: F64) -> F64:
    """Slopes, shape (k, 34), on rows of shape (cases, k), which added to the numbers before make colours least off.

    Marquardt's damping, as in `tethercap.convert.least_squares`, with the sums kept case by case.
    """
    slopes, damping = np.zeros((rows.shape[1], SLIDE_NUMBERS)), 1e-2
    held = np.tile(_HELD * len(cases) / _REACH**2, len(slopes))
    cost, normal, gradient = _sums(cases, rows, slopes, before)
    for _ in range(_ROUNDS):
        tied = normal + np.diag(held + damping * np.diag(normal))
        moved = slopes - np.linalg.solve(tied, gradient + held * slopes.ravel()).reshape(slopes.shape)
        there = _sums(cases, rows, moved, before)
        sys.stderr.write(f"error {there[0] / len(cases):.2f}\n")
        if there[0] >= cost:
            damping *= 10.0
            continue
        slopes, (cost, normal, gradient), damping = moved, there, damping / 5.0
    return slopes


def _sums(cases: list[SlideSeen], rows: F64, slopes: F64, before: F64) -> tuple[float, F64, F64]:
    """Squared errors, large ones less, and the normal equations of all cases."""
    cost, normal, gradient = 0.0, np.zeros((slopes.size, slopes.size)), np.zeros(slopes.size)
    for seen, row, numbers in zip(cases, rows, before, strict=True):
        jacobian, rest = _linearised(seen, numbers + row @ slopes)
        cost += float(rest @ rest)
        normal += np.kron(np.outer(row, row), jacobian @ jacobian.T)
        gradient += np.kron(row, jacobian @ rest)
    return cost, normal, gradient


def _linearised(seen: SlideSeen, numbers: F64, step: float = 1e-4) -> tuple[F64, F64]:
    rest = distances(seen, numbers)
    robust = (1.0 + (np.linalg.norm(rest, axis=1, keepdims=True) / _LARGE) ** 2) ** -0.25
    nudges = step * np.eye(SLIDE_NUMBERS)
    rows = [((distances(seen, numbers + nudge) - rest) / step * robust).ravel() for nudge in nudges]
    return np.array(rows), (rest * robust).ravel()


def written(usual: UsualSlide) -> str:
    """The module's text."""
    tables = (
        ("FEATURES", usual.features, "Middle of the rig's figures: camera matrix off the diagonal (6), panel (2)."),
        ("FEATURES_COVARIANCE", usual.covariance, "Shape (8, 8)."),
        ("MIDDLE", usual.middle, "The 34 numbers on the usual rig, see `usual_film.slide_model_of`."),
        ("PER_FEATURE", usual.per_feature, "Shape (8, 34): what a standard deviation of each figure adds."),
        ("SPREAD", usual.spread, "Shape (34, 34): independent standard deviations."),
        ("CAST", usual.cast, "Shape (4,): what `slide_cast.cast_of_frames` finds on most rolls."),
        ("CAST_SPREAD", usual.cast_spread, "Shape (4,): its standard deviations."),
        ("PER_CAST", usual.per_cast, "Shape (4, 34): what a standard deviation of each adds."),
    )
    return module_text("a usual slide", "python -m tests.quality.fit_slides", tables)


def main() -> None:
    """Fit and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, help="photographs")
    parser.add_argument("--cases", type=int, default=240)
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    seeds = range(FIRST_SEED, FIRST_SEED + options.cases)
    cases = [look_at_slide(draw_case(seed, "slide")) for seed in seeds]
    sys.stderr.write("slides drawn\n")
    usual = learn(cases, np.array([fit_case(seen) for seen in cases]))
    scenes = list(photographs_in(options.folder).values())
    usual = learn_of_rolls(usual, [draw_roll(seed, scenes) for seed in seeds])
    options.out.write_text(written(usual), encoding="utf-8")


if __name__ == "__main__":
    main()
