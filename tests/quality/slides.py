"""Slides on drawn film and rigs: colours as the camera sees them and as they are on a light table.

Run ``python -m tests.quality.slides`` for how far off slides are by themselves and with a 24-patch target, patches
alone. The cases were not used to fit what is usual (`tests.quality.fit_slides`).
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np

from tests.quality import colours, film, spectra
from tests.quality.drawn import Case, draw_case
from tests.quality.fit_usual import camera_to_srgb
from tests.quality.score import say
from tests.quality.spectra import F64, Stock
from tethercap.convert import spaces
from tethercap.convert.calibrate import fit_slide_chart
from tethercap.convert.charts import CHART_EDITIONS, GREY_PATCHES
from tethercap.convert.exposure import scene_light
from tethercap.convert.usual_film import usual_of_slide
from tethercap.pictures import ColourSpace

_SRGB_TO_PCS = spaces.rgb_to_pcs(ColourSpace.SRGB)
_CLEAREST = 0.92
"""Of the bare light that the whitest colour on a slide is."""
_GLARE_OF = 0.25
"""Mean light of a slide, of which some lies over everything."""


@dataclass(frozen=True)
class SlideSeen:
    """Colours on a slide."""

    transmittance: F64
    """As the camera sees them over the bare light, shape (n, 3)."""
    wanted: F64
    """Linear sRGB on a D50 light table, shape (n, 3)."""
    figures: F64
    """Of the rig, as `usual_of_slide` takes them, shape (8,)."""


def amounts_of(stock: Stock, xyz: F64) -> F64:
    """Dye amounts that look like colours of shape (n, 3), as far as the film's dyes reach; Newton's method."""
    dyes, base = spectra.dye_densities(stock), spectra.base_density(stock)
    observer = spectra.cmfs() * spectra.illuminant("D50")[:, None]
    observer = observer / observer[:, 1].sum()
    amounts = np.full((len(xyz), 3), 0.8)
    for _ in range(30):
        through = 10.0 ** -(amounts @ dyes.T + base)
        seen = through @ observer
        slopes = np.stack([-np.log(10.0) * (through * dyes[:, k]) @ observer / seen for k in range(3)], axis=-1)
        rest = np.log(seen / np.maximum(xyz, 1e-4))
        step = np.linalg.solve(slopes + 1e-6 * np.eye(3), rest[..., None])[..., 0]
        amounts = np.clip(amounts - step.clip(-0.6, 0.6), 0.0, 4.0)
    return amounts


def rig_figures(rig: film.Rig) -> F64:
    """Camera matrix off the diagonal, and the panel's colour against D65, as RAW files tell them."""
    camera = camera_to_srgb(rig)
    daylight = (rig.seen_by * spectra.illuminant("D65")[:, None]).sum(axis=0)
    panel = np.log10(rig.response.sum(axis=0) / daylight)
    return np.array([*camera[[0, 0, 1, 1, 2, 2], [1, 2, 0, 2, 0, 1]], panel[0] - panel[1], panel[2] - panel[1]])


def look_at_slide(case: Case) -> SlideSeen:
    """Put the chart and further colours on a slide so that they look right, then as a camera exposes them."""
    further = colours.further_colours(11, strong=25, muted=25, brightest=0.85)
    scene = np.concatenate([_CLEAREST * CHART_EDITIONS[0].clip(0.004, None), further])
    exposed = film.densities(case.stock, film.rgb_exposures(case.stock, scene, case.scene_light))
    amounts = np.concatenate([amounts_of(case.stock, scene @ _SRGB_TO_PCS.T), exposed])
    seen = film.transmittances(case.stock, case.rig, amounts)
    glare = case.glare * _GLARE_OF
    wanted = film.slide_xyz(case.stock, amounts) @ np.linalg.inv(_SRGB_TO_PCS).T
    return SlideSeen((seen + glare) / (1.0 + glare), wanted, rig_figures(case.rig))


def differences(seen: SlideSeen, light: F64) -> F64:
    """CIEDE2000 of each colour."""
    return colours.delta_e(np.maximum(light, 0.0), np.maximum(seen.wanted, 0.0))


def main() -> None:
    """Print a row for each case, then the means."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=40)
    options = parser.parse_args()
    rows = []
    for seed in range(1, options.cases + 1):
        case = draw_case(seed, "slide")
        seen, usual = look_at_slide(case), usual_of_slide(rig_figures(case.rig))
        target = fit_slide_chart(-np.log10(seen.transmittance[:24]), seen.wanted[:24], GREY_PATCHES, usual)
        density = -np.log10(seen.transmittance)
        off = [differences(seen, scene_light(density, model)) for model in (usual.model(), target.model)]
        rows.append([off[0][:24].mean(), off[0].mean(), off[1][:24].mean(), off[1][24:].mean()])
        say(f"{case.stock.name:12} {case.rig.name:20}" + "".join(f"{value:6.2f}" for value in rows[-1]))
    heads = ("chart by itself", "all by itself", "target's own patches", "other colours with the target")
    for head, value in zip(heads, np.mean(rows, axis=0), strict=True):
        say(f"{head}: {value:.2f}")


if __name__ == "__main__":
    main()
