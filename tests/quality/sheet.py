"""Scenes beside their positives, for looking at: what figures pass over, an eye does not.

Run ``python -m tests.quality.sheet --out FOLDER``; a row of scenes, then a row for each thing that may be known. Of a
slide the first row is the slide itself on a light table; it and black-and-white film are converted with nothing known.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

import cv2
import numpy as np

from tests.quality import colours, film, score, shots, spectra
from tests.quality.drawn import Case
from tests.quality.spectra import F64
from tethercap.convert.it8 import linear_srgb_of

_TILE = (300, 194)


_ONE_ROW_STOPS = {"slide": (0.0,), "bw-negative": score.STOPS}
"""Exposures of films that are drawn with nothing known; slides bear but one."""
CASES = (
    *score.FEW,
    *(Case(stock, score.RIGS[0], "D55", shots.USUAL_GLARE) for stock in (spectra.SLIDE, spectra.BLACK_AND_WHITE)),
)


def rows_of(case: Case, folder: Path) -> list[F64]:
    """Linear sRGB rows: the scenes, then their positives, a row for each of what may be known."""
    roll = shots.Roll(case.stock, case.rig, scene_light=case.scene_light, glare=case.glare)
    charts, photographs = score.shoot_roll(roll, folder, _ONE_ROW_STOPS.get(case.stock.kind, score.STOPS))
    left, top, width, height = shots.FRAME
    rows = [_row([_meant(case, scene) for _, scene in photographs])]
    for known in score.KNOWN[:1] if case.stock.kind in _ONE_ROW_STOPS else score.KNOWN:
        made = score.convert_roll(case.stock, known, folder, [*charts, *(path for path, _ in photographs)])
        rows.append(_row([made[path][top : top + height, left : left + width] for path, _ in photographs]))
    return rows


def _meant(case: Case, scene: F64) -> F64:
    """What a positive of a scene is to look like."""
    if case.stock.kind == "slide":
        exposures = film.rgb_exposures(case.stock, scene, case.scene_light)
        return linear_srgb_of(film.slide_xyz(case.stock, film.densities(case.stock, exposures)))
    grey = colours.xyz_of_linear(scene)[..., [1, 1, 1]]
    return grey if case.stock.kind == "bw-negative" else scene


def _row(pictures: list[F64]) -> F64:
    return np.hstack([np.asarray(cv2.resize(one, _TILE, interpolation=cv2.INTER_AREA)) for one in pictures])


def encoded(linear: F64) -> np.ndarray:
    """8-bit sRGB (IEC 61966-2-1), blue-green-red."""
    value = np.clip(linear, 0.0, 1.0)
    curve = np.where(value <= 0.0031308, 12.92 * value, 1.055 * value ** (1 / 2.4) - 0.055)
    return np.ascontiguousarray(np.rint(255 * curve).astype(np.uint8)[..., ::-1])


def main() -> None:
    """Draw a sheet for each stock of the check, a slide and a black-and-white film."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    for case in CASES:
        path = options.out / f"{case.stock.name.replace(' ', '-')}.png"
        with tempfile.TemporaryDirectory() as folder:
            cv2.imwrite(str(path), encoded(np.vstack(rows_of(case, Path(folder)))))
        sys.stdout.write(f"{path}\n")


if __name__ == "__main__":
    main()
