"""Slides on drawn film and rigs: colours as the camera sees them and as they are on a light table.

Run ``python -m tests.quality.slides`` for how far off slides are by their rig, by a roll of five photographs as well,
and with a 24-patch target, patches alone. The cases were not used to fit what is usual (`tests.quality.fit_slides`).
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tests.quality import colours, film, shots, spectra
from tests.quality.drawn import PANELS, SCENE_LIGHTS, Case, draw_camera, draw_panel, draw_stock
from tests.quality.fit_usual import camera_to_srgb
from tests.quality.score import say
from tests.quality.spectra import F64, Stock
from tethercap.convert import spaces
from tethercap.convert.calibrate import fit_slide_chart
from tethercap.convert.charts import CHART_EDITIONS, GREY_PATCHES
from tethercap.convert.exposure import scene_light
from tethercap.convert.slide_cast import slide_of_frames
from tethercap.convert.usual_film import usual_of_slide
from tethercap.pictures import ColourSpace

_SRGB_TO_PCS = spaces.rgb_to_pcs(ColourSpace.SRGB)
_CLEAREST = 0.92
"""Of the bare light that the whitest colour on a slide is."""
_BALANCED_SHARE, _UNBALANCED = 0.8, 0.02
"""Of films, whose dyes make grey together, and how nearly they do; the others' have equal peaks, and a strong tint."""
FRAMES = 8
"""Photographs on a roll."""
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


def draw_slide(seed: int) -> Case:
    """A slide on a rig; the same seed gives the same one."""
    rng = np.random.default_rng([seed, 505])
    stock = draw_stock(seed, "slide")
    if rng.random() < _BALANCED_SHARE:
        stock = _balanced(stock, rng)
    gamma = rng.uniform(1.3, 1.8) + rng.normal(0.0, 0.035, 3)
    stock = replace(stock, gamma=(float(gamma[0]), float(gamma[1]), float(gamma[2])))
    name, light = _panel(rng)
    measured = rng.random() < 0.25
    rig = film.Rig(name, 0 if measured else -1, light, spectra.camera(0) if measured else draw_camera(rng))
    return Case(stock, rig, SCENE_LIGHTS[int(rng.integers(len(SCENE_LIGHTS)))], float(rng.uniform(0.0, 0.025)))


def _panel(rng: np.random.Generator) -> tuple[str, F64]:
    kind = rng.random()
    if kind < 0.1:
        kelvin = rng.uniform(2700.0, 3600.0)
        light = spectra.WAVELENGTHS_NM**-5.0 / np.expm1(1.4388e7 / (spectra.WAVELENGTHS_NM * kelvin))
        return f"lamp {kelvin:.0f} K", np.asarray(light / light.mean())
    if kind < 0.2:
        name = f"FL3.{int(rng.integers(1, 16))}"
        return name, spectra.illuminant(name)
    if kind < 0.4:
        name = PANELS[int(rng.integers(len(PANELS)))]
        return name, spectra.panel(name)
    return draw_panel(rng, narrow=kind > 0.8)


def _balanced(stock: Stock, rng: np.random.Generator) -> Stock:
    """The film with as much of each dye as makes grey, nearly; film is made so."""
    assert stock.spectra is not None
    grey = np.array([[0.1, 0.1, 0.1]]) @ _SRGB_TO_PCS.T
    clear = replace(stock, spectra=replace(stock.spectra, base=np.zeros_like(stock.spectra.base)))
    share = amounts_of(clear, grey)[0] * np.exp(rng.normal(0.0, _UNBALANCED, 3))
    return replace(stock, spectra=replace(stock.spectra, dyes=stock.spectra.dyes * share))


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


def frames_on_slide(case: Case, photographs: Sequence[F64], rng: np.random.Generator) -> list[tuple[F64, F64]]:
    """Photographs on a slide as the camera sees them over the bare light, and their linear sRGB on a light table."""
    frames = []
    for scene in photographs:
        exposures = film.rgb_exposures(case.stock, scene, case.scene_light)
        amounts = film.densities(case.stock, exposures, float(rng.uniform(-0.5, 0.5)))
        seen = film.transmittances(case.stock, case.rig, amounts)
        seen = (seen + case.glare * seen.mean()) / (1.0 + case.glare)
        frames.append((seen, film.slide_xyz(case.stock, amounts) @ np.linalg.inv(_SRGB_TO_PCS).T))
    return frames


def differences(seen: SlideSeen, light: F64) -> F64:
    """CIEDE2000 of each colour."""
    return colours.delta_e(np.maximum(light, 0.0), np.maximum(seen.wanted, 0.0))


def main() -> None:
    """Print a row for each case, then the means."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=40)
    options = parser.parse_args()
    scenes, rows = [shots.photograph(name)[::12, ::12] for name in shots.PHOTOGRAPHS], []
    for seed in range(1, options.cases + 1):
        case = draw_slide(seed)
        seen, usual = look_at_slide(case), usual_of_slide(rig_figures(case.rig))
        target = fit_slide_chart(-np.log10(seen.transmittance[:24]), seen.wanted[:24], GREY_PATCHES, usual)
        density = -np.log10(seen.transmittance)
        frames = frames_on_slide(case, scenes, np.random.default_rng([seed, 31]))
        roll = slide_of_frames([-np.log10(frame) for frame, _ in frames], usual)
        off = [differences(seen, scene_light(density, model)) for model in (usual.model(), roll, target.model)]
        rows.append([off[0].mean(), off[1][:24].mean(), off[1].mean(), off[2][:24].mean(), off[2][24:].mean()])
        say(f"{case.stock.name:12} {case.rig.name:20}" + "".join(f"{value:6.2f}" for value in rows[-1]))
    heads = (
        "all by the rig alone",
        "chart by the roll",
        "all by the roll",
        "target's own patches",
        "other colours with the target",
    )
    for head, value in zip(heads, np.mean(rows, axis=0), strict=True):
        say(f"{head}: {value:.2f}")


if __name__ == "__main__":
    main()
