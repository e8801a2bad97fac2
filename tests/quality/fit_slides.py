"""Fit what is usual for slides: the module tethercap/convert/usual_slide_numbers.py.

Run ``python -m tests.quality.fit_slides --out tethercap/convert/usual_slide_numbers.py``; it takes a few minutes. Each
case is a drawn slide on a drawn rig. The numbers follow the rig straight, and are sought so that the colours of all
cases together are least off; what single cases would have liked better is the spread.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.quality import colours
from tests.quality.drawn import draw_case
from tests.quality.numbers_file import module_text
from tests.quality.slides import SlideSeen, look_at_slide
from tests.quality.spectra import F64
from tethercap.convert.exposure import scene_light
from tethercap.convert.least_squares import fit
from tethercap.convert.usual_film import SLIDE_NUMBERS, slide_model_of

FIRST_SEED = 1000
_START = np.concatenate([np.zeros(9), [-0.8, 0.0, -0.27, -0.34, 0.06, -0.5], np.zeros(18), [0.1]])
_REACH = np.concatenate([[0.1] * 3, [0.3] * 6, [1.0] * 6, [0.15] * 9, [0.1] * 6, [0.1] * 3, [0.1]])
_PULL = 0.3
_LARGE = 3.0
"""CIE L*a*b* from which on an error counts less than its square."""
_LEAST_SPREAD = 0.02


@dataclass(frozen=True)
class UsualSlide:
    """The distribution."""

    features: F64
    covariance: F64
    middle: F64
    per_feature: F64
    spread: F64


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
    return UsualSlide(features, np.cov(figures.T), slopes[0], slopes[1:], np.linalg.cholesky(covariance))


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
    )
    return module_text("a usual slide", "python -m tests.quality.fit_slides", tables)


def main() -> None:
    """Fit and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=240)
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    cases = [look_at_slide(draw_case(FIRST_SEED + number, "slide")) for number in range(options.cases)]
    sys.stderr.write("slides drawn\n")
    own = np.array([fit_case(seen) for seen in cases])
    options.out.write_text(written(learn(cases, own)), encoding="utf-8")


if __name__ == "__main__":
    main()
