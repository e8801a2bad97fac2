"""Film, panels and cameras drawn at random, shaped otherwise than those in `spectra`.

What is tuned on one family of curves may only have learned that family. Here layers hold three emulsions of different
speed, couplers are used up as dye forms, dyes have flat tops and long feet, and cameras and panels are drawn as well.
All values are invented, spread as far as the trade's descriptions of such film leave open.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tests.quality import film, spectra
from tests.quality.spectra import F64, Emulsions, Stock, StockSpectra

PANELS = ("LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5", "LED-BH1", "LED-V1", "LED-V2", "D50", "D65", "LED-RGB1")
SCENE_LIGHTS = ("D50", "D55", "D55", "D65")
_NM = spectra.WAVELENGTHS_NM


@dataclass(frozen=True)
class Case:
    """A roll's circumstances: film, rig, and the light the scenes were in."""

    stock: Stock
    rig: film.Rig
    scene_light: str
    glare: float


def draw_case(seed: int, kind: str = "colour-negative") -> Case:
    """One case; the same seed gives the same one."""
    rng = np.random.default_rng([seed, 77])
    is_drawn = seed % 3 or kind == "slide"  # the others have the orange base of negatives
    stock = draw_stock(seed, kind) if is_drawn else replace(spectra.random_stock(seed), kind=kind)
    light = SCENE_LIGHTS[int(rng.integers(len(SCENE_LIGHTS)))]
    return Case(stock, draw_rig(seed), light, float(rng.uniform(0.0, 0.008)))


def draw_rig(seed: int) -> film.Rig:
    """A panel and a camera."""
    rng = np.random.default_rng([seed, 5])
    kind = rng.random()
    if kind < 0.5:
        name, light = draw_panel(rng, narrow=kind < 0.15)
    else:
        name = PANELS[int(rng.integers(len(PANELS)))]
        light = spectra.panel(name)
    measured = rng.random() < 0.25
    camera = 0 if measured else -1
    sensitivities = spectra.camera(camera) if measured else draw_camera(rng)
    return film.Rig(name, camera, light, sensitivities)


def draw_panel(rng: np.random.Generator, *, narrow: bool) -> tuple[str, F64]:
    """Name and spectrum of a panel of three colours, or of a white one."""
    return ("drawn rgb", _rgb_panel(rng)) if narrow else ("drawn white", _white_panel(rng))


def _rgb_panel(rng: np.random.Generator) -> F64:
    blue, green, red = rng.uniform((445, 515, 618), (465, 535, 660))
    widths = rng.uniform(7.0, 16.0, 3)
    levels = rng.uniform(0.7, 1.3, 3)
    light = sum(
        level * spectra.bell(centre, width)
        for centre, width, level in zip((blue, green, red), widths, levels, strict=True)
    )
    return np.asarray(light / np.mean(light))


def _white_panel(rng: np.random.Generator) -> F64:
    """A blue diode and its phosphors."""
    blue = spectra.skew(float(rng.uniform(440, 460)), 9.0, 12.0)
    yellow = spectra.skew(float(rng.uniform(545, 575)), float(rng.uniform(36, 50)), float(rng.uniform(50, 75)))
    red = spectra.bell(float(rng.uniform(615, 650)), float(rng.uniform(15, 40)))
    light = rng.uniform(0.8, 1.8) * blue + yellow + rng.uniform(0.0, 0.8) * red
    return np.asarray(light / light.mean())


def draw_camera(rng: np.random.Generator) -> F64:
    """Sensitivities, shape (n, 3)."""
    centres = np.array([604.0, 533.0, 461.0]) + rng.standard_normal(3) * (7.0, 5.0, 5.0)
    short = np.array([30.0, 40.0, 29.0]) * rng.uniform(0.75, 1.25, 3)
    long = np.array([34.0, 42.0, 31.0]) * rng.uniform(0.75, 1.25, 3)
    columns = [spectra.skew(*shape) for shape in zip(centres, short, long, strict=True)]
    leaks = rng.uniform(0.0, 0.09, 3)
    columns[0] = columns[0] + leaks[0] * spectra.bell(535.0, 35.0) + 0.3 * leaks[1] * spectra.bell(440.0, 20.0)
    columns[1] = columns[1] + leaks[1] * spectra.bell(615.0, 25.0) + 0.5 * leaks[2] * spectra.bell(450.0, 20.0)
    columns[2] = columns[2] + leaks[2] * spectra.bell(535.0, 35.0)
    return np.stack(columns, axis=1)


def draw_stock(seed: int, kind: str = "colour-negative") -> Stock:
    """A film whose layers, dyes and curves are shaped otherwise than those of `spectra.Stock`."""
    rng = np.random.default_rng([seed, 9])
    slide = kind == "slide"
    dyes = _dyes(rng, masked=not slide)
    found = StockSpectra(_layers(rng), dyes, _base(rng, slide=slide))
    return Stock(
        f"drawn {seed}",
        kind=kind,
        inhibition=float(rng.uniform(0.02, 0.16)),
        gamma=tuple(float(g) for g in rng.normal((1.65, 1.7, 1.7), 0.08)) if slide else (0.6, 0.6, 0.6),  # type: ignore[arg-type]
        spectra=found,
        emulsions=None if slide else _emulsions(rng, bw=kind == "bw-negative"),
        seed=seed,
    )


def _layers(rng: np.random.Generator) -> F64:
    red = spectra.skew(float(rng.normal(636, 6)), float(rng.uniform(24, 44)), float(rng.uniform(18, 26)))
    red = red + rng.uniform(0.0, 0.35) * spectra.bell(float(rng.normal(600, 5)), 18.0)
    green = spectra.skew(float(rng.normal(549, 4)), float(rng.uniform(22, 40)), float(rng.uniform(18, 30)))
    green = green + rng.uniform(0.0, 0.3) * spectra.bell(float(rng.normal(520, 6)), 18.0)
    blue = spectra.skew(float(rng.normal(455, 8)), float(rng.uniform(25, 45)), float(rng.uniform(18, 30)))
    # A filter layer keeps blue from the lower layers, nearly.
    leak = rng.uniform(0.0, 0.03)
    red, green = red + 0.5 * leak * spectra.bell(430.0, 25.0), green + leak * spectra.bell(430.0, 25.0)
    return np.stack([column / column.sum() for column in (red, green, blue)], axis=1)


def _flat_top(centre_nm: float, short_nm: float, long_nm: float, power: float) -> F64:
    width = np.where(centre_nm > _NM, short_nm, long_nm)
    return np.asarray(np.exp(-0.5 * np.abs((_NM - centre_nm) / width) ** power))


def _dyes(rng: np.random.Generator, *, masked: bool) -> F64:
    power = float(rng.uniform(1.75, 2.3))
    cyan = _flat_top(float(rng.normal(660, 8)), float(rng.uniform(48, 66)), 60.0, power)
    magenta = _flat_top(float(rng.normal(546, 5)), float(rng.uniform(32, 44)), float(rng.uniform(28, 38)), power)
    magenta = magenta + rng.uniform(0.0, 0.2) * spectra.bell(518.0, 16.0)
    yellow = _flat_top(float(rng.normal(447, 5)), 40.0, float(rng.uniform(32, 44)), power)
    cyan_side = rng.uniform(0.10, 0.22) * spectra.bell(540.0, 45.0) + rng.uniform(0.06, 0.16) * spectra.bell(
        430.0, 40.0
    )
    magenta_side = rng.uniform(0.18, 0.34) * spectra.bell(432.0, 38.0)
    left = 1.0
    if masked:
        # Coloured couplers vanish where dye forms; their colour fits the unwanted absorption only roughly.
        left = 1.0 - float(rng.uniform(0.6, 1.0))
    return np.stack(
        [
            cyan + left * cyan_side,
            magenta + left * magenta_side + rng.uniform(0.02, 0.08) * spectra.bell(630.0, 40.0),
            yellow + rng.uniform(0.02, 0.07) * spectra.bell(535.0, 40.0),
        ],
        axis=1,
    )


def _base(rng: np.random.Generator, *, slide: bool) -> F64:
    if slide:
        return np.full(len(_NM), float(rng.uniform(0.08, 0.16))) + rng.uniform(0.0, 0.06) * spectra.bell(420.0, 40.0)
    fog = rng.uniform(0.14, 0.26)
    green = rng.uniform(0.3, 0.5) * spectra.bell(540.0, 42.0)
    blue = rng.uniform(0.55, 0.85) * spectra.bell(445.0, 45.0)
    return np.asarray(fog + green + blue)


def _emulsions(rng: np.random.Generator, *, bw: bool) -> Emulsions:
    """Three emulsions a layer: fast ones make the toe, slow ones the far end."""
    densest = rng.normal((2.0, 2.15, 2.35), 0.15)
    fast = np.array([-0.85, -0.9, -0.95]) + rng.normal(0.0, 0.08, 3) + rng.normal(0.0, 0.06)
    step = float(rng.uniform(0.9, 1.15))
    shares = rng.dirichlet((30.0, 34.0, 36.0), size=3).T
    if bw:
        densest, fast, shares = densest[[1]].repeat(3), fast[[1]].repeat(3), shares[:, [1]].repeat(3, axis=1)
    return Emulsions(
        densest=tuple(float(value) for value in densest),  # type: ignore[arg-type]
        speeds=tuple(tuple(float(value) for value in fast + k * step) for k in range(3)),
        shares=tuple(tuple(float(value) for value in row) for row in shares),
        steepness=float(rng.uniform(2.1, 2.8)),
    )
