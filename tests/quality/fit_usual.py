"""Fit what is usual for colour negatives: the numbers in tethercap/convert/usual_film_numbers.py.

Run ``python -m tests.quality.fit_usual --cases 1600 --out FILE``; it takes some ten minutes. Each case is a drawn film
on a drawn rig, of two families in turn (`drawn`, `coupled`), seeds from 1000 on; the check itself draws below that.

What is fitted is a normal distribution of films whose middle follows the rig. Curves come of greys alone, as they do
where only cards are known. Colours follow the rig and the curves straight, and are sought so that the colours of all
cases together are least off; what single cases would have liked better is their spread.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.quality import colours, film, spectra
from tests.quality.coupled import draw_coupled_case
from tests.quality.drawn import Case, draw_case
from tests.quality.numbers_file import module_text
from tests.quality.spectra import F64
from tethercap.convert.film_model import GREEN, FilmModel, second_order
from tethercap.convert.least_squares import fit
from tethercap.convert.usual_film import CURVE_NUMBERS, model_of

STOPS = (-1.0, 0.0, 1.0, 2.0, 3.0)
FIRST_SEED = 1000
_CURVES_START = np.array([0.0, 0.05, 0.07, -1.3, -1.35, -1.4, 0.0, 0.0, 0.0, 0.05, 0.05, 0.05])
_CURVES_REACH = np.array([0.2, 0.2, 0.2, 0.3, 0.3, 0.3, 0.4, 0.3, 0.3, 0.2, 0.2, 0.2])
_COLOURS_START = np.array([-0.3, 0.1, -0.6, -0.3, 0.2, -0.8, -0.4, -0.1, -0.04, -0.04, -0.06, -0.12] + [0.0] * 15)
_COLOURS_REACH = np.array([0.25] * 12 + [0.3] * 9 + [0.2] * 6)
_SHIFT_REACH = 0.5
_CURVE_NOISE, _STEP_NOISE = 0.006, 0.015
"""How nearly the curves meet greys: density between channels, log10 of exposure."""
_FAINT_DENSITY = 0.1
"""Below it a density tells exposure the less the fainter it is."""
_RIDGE, _PULL = 3.0, 0.3
_LARGE = 3.0
"""CIE L*a*b* from which on an error counts less than its square."""
_OWN_NOISE = 0.7
"""CIE L*a*b* that the best colours of a single case are off."""
_WIDER = 2.0
"""Factor on the variance of colours. Films far from the middle are more than a normal distribution has; with it, a
chart is met better on every family."""
_FURTHEST = 2.5
_LEAST_SPREAD = 0.02
_LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
_WHITE = 18
_CHART, _GREYS, _STRONG, _MUTED = 24, slice(18, 24), 24, 20
_GREY_STEPS = np.array([0.03, 0.09, 0.2, 0.36, 0.6, 0.9])


@dataclass(frozen=True)
class Seen:
    """What a case shows of known colours."""

    density: F64
    """Shape (exposures, colours, 3), the chart's first."""
    wanted: F64
    """Linear sRGB, shape (colours, 3)."""
    greys: F64
    """Density of even greys, shape (exposures, 6, 3)."""
    figures: F64
    """Of the rig, as `usual_film` takes them, shape (10,)."""


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
    """Photograph the chart, further colours and greys."""
    further = colours.further_colours(12, strong=_STRONG, muted=_MUTED, brightest=0.97)
    exposures = np.vstack(
        [
            film.layer_exposures(case.stock, spectra.chart_reflectances(), case.scene_light),
            film.rgb_exposures(case.stock, further, case.scene_light),
            _GREY_STEPS[:, None] * np.ones(3),
        ]
    )
    base = film.base_transmittance(case.stock, case.rig)
    rows = []
    for stops in STOPS:
        seen = film.transmittances(case.stock, case.rig, film.densities(case.stock, exposures, stops))
        glare = case.glare * (0.25 * base + 0.75 * seen[:_CHART].mean(axis=0))
        rows.append(-np.log10((seen + glare) / (base + glare)))
    density, greys = np.split(np.array(rows), [-len(_GREY_STEPS)], axis=1)
    wanted = np.vstack([colours.chart_linear_srgb(case.scene_light), further])
    return Seen(density, wanted, greys, figures_of(case, base))


def figures_of(case: Case, base: F64) -> F64:
    """Figures of a rig as `usual_film` measures them on files, shape (10,)."""
    camera, density = camera_to_srgb(case.rig), -np.log10(base)
    panel = np.log10(case.rig.response.sum(axis=0) / (case.rig.seen_by.T @ spectra.illuminant("D65")))
    off_diagonal = camera[[0, 0, 1, 1, 2, 2], [1, 2, 0, 2, 0, 1]]
    return np.concatenate([off_diagonal, density[[0, 2]] - density[1], panel[[0, 2]] - panel[1]])


def fit_curves(seen: Seen) -> F64:
    """Curves that make a case's greys grey and as far apart as they were exposed, shape (12,)."""
    exposed = np.log10(_GREY_STEPS) + np.array(STOPS)[:, None] * np.log10(2.0)

    def residuals(parameters: F64) -> F64:
        model = model_of(np.concatenate([parameters[1:], _COLOURS_START]))
        equal = _equalised(seen.greys, model)
        between = (equal[..., [0, 2]] - equal[..., [GREEN]]) / _CURVE_NOISE
        steps = np.log10(np.maximum(model.exposure(equal[..., GREEN]), 1e-6)) - exposed - _SHIFT_REACH * parameters[0]
        steps = steps / _STEP_NOISE * np.clip(equal[..., GREEN] / _FAINT_DENSITY, 0.1, 1.0)
        away = (parameters[1:] - _CURVES_START) / _CURVES_REACH
        return np.concatenate([between.ravel(), steps.ravel(), parameters[:1], away])

    return fit(residuals, np.concatenate([[0.0], _CURVES_START]), rounds=25)[1:]


def _equalised(density: F64, model: FilmModel) -> F64:
    return np.stack([model.equalised(density[..., channel], channel) for channel in range(3)], axis=-1)


class ColoursOf:
    """What a case's colours become with its own curves, for any matrices and bows."""

    def __init__(self, seen: Seen, curves: F64) -> None:
        self._curves = curves
        self._equal = _equalised(seen.density, model_of(np.concatenate([curves, _COLOURS_START])))
        self._terms = second_order(self._equal)
        self._white = seen.wanted[_WHITE] @ _LUMINANCE
        self._wanted = colours.lab_of_linear(seen.wanted)
        chroma = 1.0 / (1.0 + 0.045 * np.hypot(self._wanted[:, 1], self._wanted[:, 2]))
        trust = np.repeat([1.0, 0.6, 0.8], [_CHART, _STRONG, _MUTED])
        trust[_GREYS] = 2.0
        self._weights = trust[:, None] * np.stack([np.ones_like(chroma), chroma, chroma], axis=1)

    def distances(self, free: F64) -> F64:
        """CIE L*a*b* from what is wanted to what the 27 numbers make, weighed, shape (exposures, colours, 3)."""
        model = model_of(np.concatenate([self._curves, free]))
        layers = self._equal @ np.array(model.density_matrix).T + self._terms @ np.array(model.density_bows).T
        light = model.exposure(layers) @ np.array(model.light_matrix).T
        light = light * (self._white / (light[:, [_WHITE]] @ _LUMINANCE))[..., None]
        return np.asarray((colours.lab_of_linear(np.clip(light, 0.0, 1.3)) - self._wanted) * self._weights)

    def slopes(self, free: F64, step: float = 1e-4) -> tuple[F64, F64]:
        """Derivatives, shape (27, n), and distances, shape (n,); large ones count less."""
        rest = self.distances(free)
        robust = (1.0 + (np.linalg.norm(rest, axis=2, keepdims=True) / _LARGE) ** 2) ** -0.25
        rows = [(self.distances(free + nudge) - rest) / step * robust for nudge in step * np.eye(len(free))]
        return np.array(rows).reshape(len(rows), -1), (rest * robust).ravel()

    def best(self, start: F64) -> F64:
        """Numbers that suit this case best, shape (27,)."""

        def residuals(free: F64) -> F64:
            return np.concatenate([self.distances(free).ravel() / _OWN_NOISE, (free - start) / _COLOURS_REACH])

        return fit(residuals, start, rounds=8)


@dataclass(frozen=True)
class Usual:
    """The distribution, as `usual_film` takes it."""

    features: F64
    features_covariance: F64
    middle: F64
    per_feature: F64
    spread: F64


def learn(cases: list[Seen]) -> Usual:
    """Fit the distribution to cases."""
    figures = np.array([seen.figures for seen in cases])
    features, deviation = figures.mean(axis=0), figures.std(axis=0)
    rigs = np.clip((figures - features) / deviation, -_FURTHEST, _FURTHEST)
    curves = np.array([fit_curves(seen) for seen in cases])
    middle = curves.mean(axis=0)
    normal = rigs.T @ rigs + _RIDGE * np.eye(rigs.shape[1])
    slopes = np.linalg.solve(normal, rigs.T @ (curves - middle))
    left = curves - middle - rigs @ slopes
    of_curves = _spread(left, _LEAST_SPREAD / 2.0)
    away = np.clip(np.linalg.solve(of_curves, left.T).T, -3.0, 3.0)
    sys.stderr.write("curves fitted\n")

    known = np.column_stack([np.ones(len(cases)), rigs, away])
    seen_by_curves = [ColoursOf(seen, own) for seen, own in zip(cases, curves, strict=True)]
    followed = follow(seen_by_curves, known)
    sys.stderr.write("colours fitted\n")
    expected = known @ followed
    best = np.array([case.best(start) for case, start in zip(seen_by_curves, expected, strict=True)])
    spread = np.zeros((len(middle) + best.shape[1],) * 2)
    first = 1 + rigs.shape[1]
    spread[:CURVE_NUMBERS, :CURVE_NUMBERS] = of_curves
    spread[CURVE_NUMBERS:, :CURVE_NUMBERS] = followed[first:].T
    spread[CURVE_NUMBERS:, CURVE_NUMBERS:] = _spread(np.sqrt(_WIDER) * (best - expected), _LEAST_SPREAD)
    return Usual(
        features,
        np.cov(figures.T),
        np.concatenate([middle, followed[0]]),
        np.column_stack([slopes, followed[1:first]]),
        spread,
    )


def _spread(left: F64, least: float) -> F64:
    """Independent standard deviations of what is left, shape (cases, n): a lower triangle (n, n)."""
    covariance = left.T @ left / len(left) + least**2 * np.eye(left.shape[1])
    return np.asarray(np.linalg.cholesky(covariance), dtype=np.float64)


def follow(cases: list[ColoursOf], known: F64, rounds: int = 6) -> F64:
    """How the 27 numbers of colour follow what is known of each case, shape (cases, k), with the least errors; (k, 27).

    Gauss and Newton's method for all cases together; large errors count less.
    """
    size = len(_COLOURS_START)
    start = np.zeros((known.shape[1], size))
    start[0] = _COLOURS_START
    pull = np.full(start.size, _PULL * len(cases) / 0.1)
    followed = start.copy()
    for _ in range(rounds):
        normal, gradient = np.diag(pull), pull * (followed - start).ravel()
        for case, told in zip(cases, known, strict=True):
            jacobian, rest = case.slopes(told @ followed)
            normal += np.kron(np.outer(told, told), jacobian @ jacobian.T)
            gradient += np.kron(told, jacobian @ rest)
        followed = followed - np.linalg.solve(normal, gradient).reshape(-1, size)
    return followed


def written(usual: Usual) -> str:
    """The module's text."""
    lower = usual.spread[np.tril_indices(len(usual.spread))]
    size = len(usual.middle)
    tables = (
        ("FEATURES", usual.features, "Middle of the rig's figures: camera's matrix (6), base (2), panel (2)."),
        ("FEATURES_COVARIANCE", usual.features_covariance, "Shape (10, 10)."),
        ("MIDDLE", usual.middle, "The 39 numbers on the usual rig, see `usual_film.model_of`."),
        ("PER_FEATURE", usual.per_feature, "Shape (10, 39): what a standard deviation of each figure adds."),
        ("_LOWER", lower, "Of `SPREAD`, row by row."),
    )
    tail = (
        f"\nSPREAD = np.zeros(({size}, {size}))\nSPREAD[np.tril_indices({size})] = _LOWER\n"
        '"""Independent standard deviations, those that move the curves first."""\n'
    )
    return module_text("a usual colour negative", "python -m tests.quality.fit_usual", tables, tail)


def cases_to_fit(number: int) -> list[Seen]:
    """So many cases, of either family in turn."""
    seeds = range(FIRST_SEED, FIRST_SEED + number // 2)
    return [look_at(draw(seed)) for seed in seeds for draw in (draw_case, draw_coupled_case)]


def main() -> None:
    """Fit and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=1600)
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    options.out.write_text(written(learn(cases_to_fit(options.cases))), encoding="utf-8")


if __name__ == "__main__":
    main()
