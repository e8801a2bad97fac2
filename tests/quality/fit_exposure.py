"""Fit where the bright end of a photograph lies: four numbers of tethercap/convert/exposure.py.

Run ``python -m tests.quality.fit_exposure FOLDER --lightly FOLDER`` on folders of photographs, finished by people, as
PNG or JPEG; those of the second count a fifth. Each is put on drawn films at drawn exposures and read back with nothing
and with a chart known, and as the silver of black-and-white film would have seen it; the numbers are fitted with the
chart, so that they are of photographs and not of films. Printed are those for all, and how far the gain is off on other
films for photographs that were left out, a tenth of them at a time. The numbers in use come of 207 open photographs: of
scikit-image, scikit-learn, matplotlib, imageio and the JPEG XL test data, and of the Debian packages lomiri-wallpapers,
mate-backgrounds and plasma-workspace-wallpapers; lightly, since they are chosen for their mood, of the backgrounds of
three other desktops and of the tutorials of scikit-image.
"""

from __future__ import annotations

import argparse
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from tests.quality import colours, film
from tests.quality.drawn import Case, draw_case
from tests.quality.fit_usual import look_at
from tests.quality.score import say
from tests.quality.spectra import F64
from tethercap.convert.calibrate import fit_chart
from tethercap.convert.charts import CHART_EDITIONS, GREY_PATCHES
from tethercap.convert.exposure import LUMINANCE, bright_end, scene_light
from tethercap.convert.film_model import FilmModel
from tethercap.convert.usual_film import usual_of_negative

FIT_SEEDS, OTHER_SEEDS = range(600, 612), range(612, 618)
_STOPS = (-1.0, 0.0, 1.0, 2.0, 3.0)
_WIDTH_PX = 96
_FAINTEST = 0.03
"""Luminance from which on a photograph and its print are compared."""
_SAME_STOPS = 0.08
"""Errors below this count alike."""
_LIGHTLY, _PARTS = 0.2, 10
_PULL = np.diag([0.0, 0.01, 0.01])
"""Holds the slopes back: photographs that were left out are met no worse, and on films nothing is known of, better."""


@dataclass(frozen=True)
class Seen:
    """A photograph on a film."""

    name: str
    known: str
    """`nothing`, `chart`, or `grey` on black-and-white film."""
    shape: F64
    """One, contrast and sparkle, shape (3,)."""
    printed_stops: float
    """Where its end lies on the print that is most like it."""


def models_of(case: Case) -> dict[str, FilmModel]:
    """Film models of a case with nothing and with a chart known."""
    seen = look_at(case)
    usual = usual_of_negative(seen.figures)
    chart = seen.density[1, :24]
    best = min((fit_chart(chart, edition, GREY_PATCHES, usual) for edition in CHART_EDITIONS), key=lambda f: f.misfit)
    return {"nothing": usual.model(), "chart": best.model}


def see_all(photographs: dict[str, F64], seeds: Sequence[int]) -> Iterator[Seen]:
    """Put each photograph on each film, at an exposure that is drawn."""
    rng = np.random.default_rng(5)
    for seed in seeds:
        case = draw_case(seed)
        models, base = models_of(case), film.base_transmittance(case.stock, case.rig)
        for name, scene in photographs.items():
            exposures = film.rgb_exposures(case.stock, scene, case.scene_light)
            amounts = film.densities(case.stock, exposures, float(rng.choice(_STOPS)))
            seen = film.transmittances(case.stock, case.rig, amounts)
            glare = case.glare * seen.reshape(-1, 3).mean(axis=0)
            density = -np.log10((seen + glare) / (base + glare))
            lights = {known: scene_light(density, model) for known, model in models.items()}
            lights["grey"] = np.repeat(exposures.mean(axis=-1, keepdims=True), 3, axis=-1)
            for known, light in lights.items():
                end = bright_end(light.reshape(-1, 3))
                shape = np.array([1.0, end.contrast_stops, end.sparkle_stops])
                yield Seen(name, known, shape, end.stops + _gain_stops(scene, light))


def _gain_stops(scene: F64, light: F64) -> float:
    wanted, got = scene @ LUMINANCE, light @ LUMINANCE
    compared = (wanted > min(_FAINTEST, float(np.median(wanted)))) & (got > 0.0)
    return float(np.median(np.log2(wanted[compared] / got[compared])))


def fitted(seen: Sequence[Seen], lightly: Collection[str]) -> F64:
    """Numbers with the least absolute error: three where a chart is known, and what is added on black-and-white film.

    Parameters
    ----------
    seen : sequence of Seen
    lightly : collection of str
        Photographs that count a fifth.
    """
    charted = [one for one in seen if one.known == "chart"]
    shapes, wanted = np.array([one.shape for one in charted]), np.array([one.printed_stops for one in charted])
    trust = np.array([_LIGHTLY if one.name in lightly else 1.0 for one in charted])
    weights = trust.copy()
    numbers = np.zeros(3)
    for _ in range(60):
        weighted = shapes * weights[:, None]
        numbers = np.linalg.solve(weighted.T @ shapes + trust.sum() * _PULL, weighted.T @ wanted)
        weights = trust / np.maximum(np.abs(wanted - shapes @ numbers), _SAME_STOPS)
    grey = np.median([one.printed_stops - one.shape @ numbers for one in seen if one.known == "grey"])
    return np.append(numbers, grey)


def left_out(seen: Sequence[Seen], others: Sequence[Seen], lightly: Collection[str]) -> dict[str, F64]:
    """Errors of photographs on other films, each left out of the fit; by what is known, stops."""
    errors: dict[str, list[float]] = {}
    names = list(dict.fromkeys(one.name for one in seen))
    for part in range(_PARTS):
        now = set(names[part::_PARTS])
        *numbers, grey = fitted([one for one in seen if one.name not in now], lightly)
        for one in others:
            if one.name in now:
                off = float(one.shape @ numbers) + (grey if one.known == "grey" else 0.0) - one.printed_stops
                errors.setdefault(one.known, []).append(off)
    return {known: np.array(found) for known, found in errors.items()}


def read_photograph(path: Path) -> F64:
    """Linear sRGB in small, shape (height, width, 3).

    Raises
    ------
    ValueError
        If it is no picture.
    """
    picture = cv2.imread(str(path))
    if picture is None:
        raise ValueError(f"{path} is no picture that can be read")
    linear = colours.srgb_decode(np.asarray(picture[..., ::-1], dtype=np.float64) / 255.0)
    factor = _WIDTH_PX / max(linear.shape[:2])
    return np.asarray(cv2.resize(linear, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA), dtype=np.float64)


def photographs_in(folder: Path) -> dict[str, F64]:
    """Photographs of a folder by name, as `read_photograph` gives them."""
    paths = sorted(path for path in folder.iterdir() if path.suffix.lower() in {".png", ".jpg", ".jpeg"})
    return {path.stem: read_photograph(path) for path in paths}


def main() -> None:
    """Fit and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--lightly", type=Path, help="further photographs, which count a fifth")
    options = parser.parse_args()
    lightly = photographs_in(options.lightly) if options.lightly else {}
    photographs = photographs_in(options.folder) | lightly
    seen, others = list(see_all(photographs, FIT_SEEDS)), list(see_all(photographs, OTHER_SEEDS))
    numbers = fitted(seen, lightly).round(2).tolist()
    say(f"{len(photographs)} photographs: END_STOPS, END_PER_RANGE, END_PER_SPARKLE, GREY_END_STOPS = {numbers}")
    for known, errors in left_out(seen, others, lightly).items():
        say(f"{known}: off by {np.abs(errors).mean():.2f} stops in the mean, root mean square {np.std(errors):.2f}")


if __name__ == "__main__":
    main()
