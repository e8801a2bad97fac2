"""Fit what is usual for colour negatives: the numbers in tethercap/convert/usual_film_numbers.py.

Run ``python -m tests.quality.fit_usual --cases 900 --out FILE``; it takes half an hour. Each case is a drawn film on a
drawn rig, seeds from 1000 on; the check itself draws below that. For each the film model is sought that explains
colours at five exposures; a normal distribution of those, its middle following the rig, is what comes out. The colours
of the middle are then turned so that the error is least where only the curves are known.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.quality import colours, film, spectra
from tests.quality.drawn import Case, draw_case
from tests.quality.numbers_file import module_text
from tests.quality.spectra import F64
from tethercap.convert.exposure import scene_light
from tethercap.convert.least_squares import fit
from tethercap.convert.usual_film import CURVE_NUMBERS, model_of

STOPS = (-1.0, 0.0, 1.0, 2.0, 3.0)
FIRST_SEED = 1000
_NUMBERS = 39
_START = np.concatenate(
    [
        np.log([1.0, 1.05, 1.07]),
        [-1.3, -1.35, -1.4, 0.0, 0.0, 0.0],
        [0.05] * 3,
        [-0.15, -0.05, -0.1, -0.15, -0.05, -0.2],
        [-0.4, -0.1, -0.04, -0.04, -0.06, -0.12],
        np.zeros(15),
    ]
)
_REACH = np.concatenate([[0.2] * 3, [0.3] * 3, [0.4], [0.3] * 2, [0.15] * 3, [0.25] * 12, [0.3] * 9, [0.2] * 6])
_LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
_WHITE = 18
_GREYS = slice(18, 24)


@dataclass(frozen=True)
class Seen:
    """What a case shows of known colours."""

    density: F64
    """Shape (exposures, colours, 3)."""
    wanted: F64
    """Linear sRGB, shape (colours, 3)."""
    figures: F64
    """Of the rig, as `usual_film` takes them, shape (8,)."""


def camera_to_srgb(rig: film.Rig) -> F64:
    """Balanced camera RGB to linear sRGB as a RAW file's matrix has it, fitted to the chart under daylight."""
    weights = rig.seen_by * spectra.illuminant("D65")[:, None]
    seen = (spectra.chart_reflectances() @ weights) / weights[:, 1].sum()
    xyz = colours.xyz_of_linear(colours.chart_linear_srgb("D65"))
    to_camera = np.linalg.lstsq(xyz, seen, rcond=None)[0].T
    white = colours.xyz_of_linear(np.ones(3))
    from_xyz = np.linalg.inv(colours.xyz_of_linear(np.eye(3)).T)
    return np.asarray(from_xyz @ np.linalg.inv(to_camera) @ np.diag(to_camera @ white))


def look_at(case: Case) -> Seen:
    """Photograph the chart and further colours."""
    further = colours.further_colours(12, strong=40, muted=30, brightest=0.97)
    exposures = np.vstack(
        [
            film.layer_exposures(case.stock, spectra.chart_reflectances(), case.scene_light),
            film.rgb_exposures(case.stock, further, case.scene_light),
        ]
    )
    base = film.base_transmittance(case.stock, case.rig)
    rows = []
    for stops in STOPS:
        seen = film.transmittances(case.stock, case.rig, film.densities(case.stock, exposures, stops))
        glare = case.glare * (0.25 * base + 0.75 * seen[:24].mean(axis=0))
        rows.append(-np.log10((seen + glare) / (base + glare)))
    wanted = np.vstack([colours.chart_linear_srgb(case.scene_light), further])
    camera, density = camera_to_srgb(case.rig), -np.log10(base)
    figures = [*camera[[0, 0, 1, 1, 2, 2], [1, 2, 0, 2, 0, 1]], density[0] - density[1], density[2] - density[1]]
    return Seen(np.array(rows), wanted, np.array(figures))


def distances(seen: Seen, numbers: F64, *, trimmed: bool) -> F64:
    """CIE L*a*b* from what is wanted to what a film model makes, shape (exposures, colours, 3), chroma weighed."""
    light = scene_light(seen.density, model_of(numbers)) / (2.0 ** np.array(STOPS))[:, None, None]
    if trimmed:
        white = light[:, [_WHITE]] @ _LUMINANCE
        light = light * (seen.wanted[_WHITE] @ _LUMINANCE) / white[..., None]
    wanted = colours.lab_of_linear(seen.wanted)
    weight = 1.0 / (1.0 + 0.045 * np.hypot(wanted[:, 1], wanted[:, 2]))
    got = colours.lab_of_linear(np.clip(light, 0.0, 1.3))
    return np.asarray((got - wanted) * np.stack([np.ones_like(weight), weight, weight], axis=1))


def trust() -> F64:
    """How much each colour counts, shape (94, 1): greys most."""
    weights = np.ones((94, 1))
    weights[_GREYS], weights[24:64], weights[64:] = 2.0, 0.6, 0.8
    return weights


def fit_case(seen: Seen, middle: F64, inverse: F64, noise: float) -> F64:
    """Numbers of the film that explains a case, drawn to `middle` as `inverse` (of the spread) says, shape (39,)."""

    def residuals(numbers: F64) -> F64:
        misfit = distances(seen, numbers, trimmed=False) * trust() / noise
        return np.concatenate([misfit.ravel(), inverse @ (numbers - middle)])

    return fit(residuals, middle, rounds=25)


@dataclass(frozen=True)
class Usual:
    """The distribution."""

    features: F64
    features_covariance: F64
    middle: F64
    per_feature: F64
    covariance: F64

    def at(self, figures: F64) -> F64:
        """Middle for a rig."""
        return self.middle + self.standard(figures) @ self.per_feature

    def standard(self, figures: F64) -> F64:
        """A rig's figures in standard deviations."""
        return np.asarray((figures - self.features) / np.sqrt(np.diag(self.features_covariance)))


def learn(cases: list[Seen], numbers: F64, ridge: float = 3.0) -> Usual:
    """Regress numbers, shape (cases, 39), on the rigs' figures; what is left is the spread."""
    figures = np.array([seen.figures for seen in cases])
    standard = (figures - figures.mean(axis=0)) / figures.std(axis=0)
    middle = numbers.mean(axis=0)
    normal = standard.T @ standard + ridge * np.eye(standard.shape[1])
    slopes = np.linalg.solve(normal, standard.T @ (numbers - middle))
    return Usual(figures.mean(axis=0), np.cov(figures.T), middle, slopes, _spread(numbers - middle - standard @ slopes))


def _spread(left: F64) -> F64:
    return np.asarray(left.T @ left / len(left) + 0.02**2 * np.eye(_NUMBERS))


def turn_colours(usual: Usual, cases: list[Seen], numbers: F64, rounds: int = 4) -> Usual:
    """Turn the middle's colours so that errors are least with each case's own curves; large ones count less."""
    free = slice(CURVE_NUMBERS, _NUMBERS)
    size = _NUMBERS - CURVE_NUMBERS
    known = [np.concatenate([[1.0], usual.standard(seen.figures)]) for seen in cases]
    start = np.vstack([usual.middle[free], usual.per_feature[:, free]])
    turned, pull = start.copy(), 0.3 * len(cases) * np.tile(1.0 / np.diag(usual.covariance)[free], len(start))
    for _ in range(rounds):
        normal, gradient = np.diag(pull), (pull * (turned - start).ravel())
        for seen, rig, own in zip(cases, known, numbers, strict=True):
            here = np.concatenate([own[:CURVE_NUMBERS], rig @ turned])
            jacobian, rest = _slopes(seen, here)
            normal = normal + np.kron(np.outer(rig, rig), jacobian @ jacobian.T)
            gradient = gradient + np.kron(rig, jacobian @ rest)
        turned = turned - np.linalg.solve(normal, gradient).reshape(-1, size)
    middle, slopes = usual.middle.copy(), usual.per_feature.copy()
    middle[free], slopes[:, free] = turned[0], turned[1:]
    left = numbers - middle - np.array([rig[1:] for rig in known]) @ slopes
    return Usual(usual.features, usual.features_covariance, middle, slopes, _spread(left))


def _slopes(seen: Seen, numbers: F64, step: float = 1e-4) -> tuple[F64, F64]:
    rest = distances(seen, numbers, trimmed=True) * trust()
    robust = (1.0 + (np.linalg.norm(rest, axis=2, keepdims=True) / 3.0) ** 2) ** -0.25
    rows = []
    for place in range(CURVE_NUMBERS, _NUMBERS):
        nudged = numbers.copy()
        nudged[place] += step
        rows.append((distances(seen, nudged, trimmed=True) * trust() - rest) / step * robust)
    return np.array(rows).reshape(len(rows), -1), (rest * robust).ravel()


def written(usual: Usual) -> str:
    """The module's text."""
    lower = np.asarray(np.linalg.cholesky(usual.covariance)[np.tril_indices(_NUMBERS)], dtype=np.float64)
    tables = (
        ("FEATURES", usual.features, "Middle of the rig's figures: camera matrix off the diagonal (6), base (2)."),
        ("FEATURES_COVARIANCE", usual.features_covariance, "Shape (8, 8)."),
        ("MIDDLE", usual.middle, "The 39 numbers on the usual rig, see `usual_film.model_of`."),
        ("PER_FEATURE", usual.per_feature, "Shape (8, 39): what a standard deviation of each figure adds."),
        ("_LOWER", lower, "Of `SPREAD`, row by row."),
    )
    tail = (
        f"\nSPREAD = np.zeros(({_NUMBERS}, {_NUMBERS}))\nSPREAD[np.tril_indices({_NUMBERS})] = _LOWER\n"
        '"""Independent standard deviations, those that move the curves first."""\n'
    )
    return module_text("a usual colour negative", "python -m tests.quality.fit_usual", tables, tail)


def main() -> None:
    """Fit and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=900)
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    cases = [look_at(draw_case(FIRST_SEED + number)) for number in range(options.cases)]
    sys.stderr.write("cases drawn; first fit\n")
    first = np.array([fit_case(seen, _START, np.diag(1.0 / _REACH), 2.0) for seen in cases])
    rough = learn(cases, first)
    inverse = np.linalg.inv(np.linalg.cholesky(rough.covariance))
    numbers = np.array([fit_case(seen, rough.at(seen.figures), inverse, 3.0) for seen in cases])
    usual = turn_colours(learn(cases, numbers), cases, numbers)
    options.out.write_text(written(usual), encoding="utf-8")


if __name__ == "__main__":
    main()
