"""Scenes under the open sky."""

from __future__ import annotations

import numpy as np

from mock_camera.painter import Colour, Painter, linear, wander

GREENS = ("#4f6b2a", "#5f7d33", "#3f5a22", "#7d8f45", "#6a7a30")


def hills(p: Painter) -> None:
    """Meadows and hills on a summer's day, a path, trees."""
    p.sky("#3f78c0", "#b9d4ea", 0.62, cover=0.40)
    for depth, (height, rise, colour) in enumerate(
        ((0.46, 0.10, "#7f9bb5"), (0.52, 0.08, "#6c8f7c"), (0.58, 0.06, "#5f8350"), (0.66, 0.05, "#76964a"))
    ):
        p.ridge(height, rise, colour, mottle=0.06 + 0.05 * depth)
    p.texture(0.62, 1.0, 0.16, 0.03, stretch=3.0)
    _path(p, "#b9a37c")
    for _ in range(7):
        x = float(p.random.uniform(0.03, 0.97))
        tree(p, (x, float(p.random.uniform(0.64, 0.72))), float(p.random.uniform(0.05, 0.09)))
    tree(p, (float(p.random.uniform(0.12, 0.25)), 0.88), 0.27)
    grass(p, 0.78, 1.0, 2600, ("#5f7d2e", "#86a044", "#48661f"))


def lake(p: Painter) -> None:
    """Mountains with snow, and their image in a lake."""
    p.sky("#2f62a8", "#cfdfec", 0.60, cover=0.25)
    p.ridge(0.36, 0.20, "#8fa0b4", 0.10)
    line = p.ridge(0.42, 0.19, "#5e6a72", 0.30)
    _snow_caps(p, line, 0.36)
    p.ridge(0.55, 0.04, "#2f4a34", 0.35)
    water = round(0.60 * p.height)
    mirrored = p.pixels[:water][::-1][: p.height - water].copy()
    count = min(mirrored.shape[0], p.height - water)
    p.pixels[water : water + count] = 0.62 * mirrored[:count] + linear("#2a4a5c") * np.float32(0.25)
    p.pixels[water + count :] = linear("#1f3c4a")
    p.texture(0.60, 1.0, 0.13, 0.03, stretch=14.0)
    for _ in range(26):
        x, y = p.random.uniform(0.0, 0.38), p.random.uniform(0.93, 1.02)
        p.oval((float(x), float(y)), 0.035, 0.022, "#6d6a63", 0.35, light=(1.2, 0.6))
    p.shape([(0.62, 0.735), (0.78, 0.735), (0.755, 0.765), (0.645, 0.765)], "#8c2f25", 0.1)
    p.stroke([(0.66, 0.737), (0.74, 0.737)], 0.006, "#d8c7a0")


def snow(p: Painter) -> None:
    """A hut in deep snow, fir trees, blue shadows."""
    p.sky("#5d86b8", "#dfe6ec", 0.55, cover=0.55, cloud="#e6e6e6")
    p.ridge(0.42, 0.10, "#a9b9cc", 0.08)
    p.ridge(0.52, 0.05, "#dfe7f0", 0.05)
    for _ in range(30):
        fir(p, (float(p.random.uniform(0.0, 1.0)), float(p.random.uniform(0.55, 0.62))), 0.09)
    p.shape(_drift(p, 0.62, 0.03), "#eef2f6", 0.03)
    p.texture(0.62, 1.0, 0.05, 0.10, stretch=2.0)
    hut_x = float(p.random.uniform(0.42, 0.56))
    _hut(p, hut_x, 0.72)
    for x, size in ((0.10, 0.34), (0.88, 0.40), (0.77, 0.24)):
        p.shadow((x + 0.05, 0.90), size * 0.55, 0.03, 0.35)
        fir(p, (x, 0.90), size)
    steps = np.stack([np.linspace(hut_x + 0.05, hut_x - 0.06, 26), np.linspace(0.76, 1.0, 26)], axis=1)
    for index, (x, y) in enumerate(steps):
        p.oval((float(x) + 0.008 * (-1) ** index, float(y)), 0.010 + 0.010 * index / 26, 0.006, "#a9bdd6", 0.0)


def beach(p: Painter) -> None:
    """Sea, sand, a parasol and sails."""
    p.sky("#3b83cc", "#cfe6f2", 0.42, cover=0.22)
    p.gradient("#27648c", "#55a5a8", 0.42, 0.66)
    p.texture(0.42, 0.66, 0.16, 0.02, stretch=8.0)
    x = np.linspace(-0.01, 1.01, 300)
    for level, colour in (
        (0.64, "#e9f2f0"),
        (0.655, "#8fb8ae"),
        (0.668, "#f2f4ee"),
        (0.68, "#c9ad80"),
        (0.71, "#dfc79a"),
    ):
        line = np.stack([x, level + 0.018 * wander(p.random, x.size, 5)], axis=1)
        p.shape(np.concatenate([line, [(1.01, 1.01), (-0.01, 1.01)]]), colour, 0.05)
    p.texture(0.72, 1.0, 0.09, 0.02, stretch=1.5)
    for sail_x in (0.2, 0.34, 0.71):
        size = float(p.random.uniform(0.03, 0.06))
        y = 0.435
        p.shape([(sail_x, y - 1.8 * size), (sail_x, y), (sail_x + size, y)], "#f7f4ec", 0.03)
        p.shape([(sail_x - size * 0.5, y), (sail_x + size, y), (sail_x + size * 0.7, y + 0.012)], "#7a3b2a", 0.05)
    _parasol(p, float(p.random.uniform(0.62, 0.72)), 0.60)
    spots = p.random.uniform((0.0, 0.75), (1.0, 1.0), (500, 2))
    p.dabs(spots, 0.003, ("#a98f66", "#f0e2c2", "#8d7a5c"))


def forest(p: Painter) -> None:
    """Trunks in a wood, light falling through the leaves."""
    p.gradient("#9fb76a", "#45552a")
    p.pixels *= np.exp(np.float32(0.55) * p.clouds(0.12, 6, 0.7))[:, :, np.newaxis]
    p.shape(_drift(p, 0.72, 0.03), "#5b4a2c", 0.25)
    for layer, (count, width, colour) in enumerate(
        ((16, 0.016, "#6f7550"), (10, 0.03, "#4c452f"), (6, 0.06, "#3a2d20"))
    ):
        for _ in range(count):
            x, foot = float(p.random.uniform(-0.02, 1.02)), 0.74 + 0.06 * layer + float(p.random.uniform(0.0, 0.05))
            lean, w = float(p.random.normal(0.0, 0.012)), width * float(p.random.uniform(0.7, 1.3))
            trunk = [
                (x - w * 0.35 + lean, -0.02),
                (x + w * 0.35 + lean, -0.02),
                (x + w * 0.6, foot),
                (x - w * 0.6, foot),
            ]
            p.shape(trunk, colour, 0.35, light=(1.5, 0.45))
        leaves = p.random.normal((0.5, 0.12 + 0.04 * layer), (0.33, 0.14), (1100, 2))
        p.dabs(leaves, 0.010 + 0.003 * layer, ("#8fae3f", "#b9cc5a", "#5d7a2a", "#3f5a20"), 0.3)
    p.dabs(
        p.random.uniform((0.0, 0.76), (1.0, 1.0), (2200, 2)), 0.008, ("#8a5a26", "#b07a34", "#5c4a24", "#6d7a30"), 0.3
    )
    for _ in range(4):
        x = float(p.random.uniform(0.1, 0.8))
        p.shape([(x, -0.01), (x + 0.07, -0.01), (x + 0.27, 1.0), (x + 0.12, 1.0)], "#f4f0b8", 0.0, opacity=0.10)


def meadow(p: Painter) -> None:
    """Flowers close by, the far side of the field out of focus."""
    p.sky("#79a9d8", "#dbe8ee", 0.40, cover=0.30)
    p.ridge(0.36, 0.05, "#5b7a55", 0.1)
    p.gradient("#8ba050", "#4a6626", 0.42, 1.0)
    p.soften(0.010)
    grass(p, 0.55, 1.0, 4200, ("#6f8f36", "#8fae4a", "#4d6a22", "#a7b65a"))
    for index in range(60):
        y = 0.50 + 0.48 * (index / 60) ** 0.9
        size = 0.006 + 0.040 * (index / 60) ** 1.6
        x = float(p.random.uniform(-0.02, 1.02))
        colour = ("#c8271f", "#e0b81f", "#f0eef2", "#7a58b0", "#d84a30")[int(p.random.integers(5))]
        p.stroke([(x, y), (x + float(p.random.normal(0.0, 0.01)), y + 4.0 * size)], 0.08 * size + 0.0008, "#4d6a26")
        _flower(p, (x, y), size, colour)


def sunset(p: Painter) -> None:
    """The sun low over water, a jetty and reeds against the light."""
    p.gradient("#3b4a7a", "#f0a050", 0.0, 0.58)
    field = np.clip(p.clouds(0.5, 6, 0.55, stretch=5.0), 0.0, 3.0)
    field[round(0.58 * p.height) :] = 0.0
    p.pixels += (0.16 * field)[:, :, np.newaxis] * linear("#e8603a")
    sun = float(p.random.uniform(0.35, 0.65))
    p.glow((sun, 0.53), 0.16, (0.9, 0.40, 0.12), 0.9)
    p.oval((sun, 0.53), 0.035, 0.035, (5.0, 3.2, 1.4), 0.0)
    p.ridge(0.565, 0.02, "#2a2433", 0.1)
    p.gradient("#b86a44", "#1d2238", 0.58, 1.0)
    p.texture(0.58, 1.0, 0.35, 0.03, stretch=16.0)
    for _ in range(170):
        y = float(p.random.uniform(0.585, 1.0))
        half = float(p.random.uniform(0.01, 0.05)) * (0.3 + 2.0 * (y - 0.58))
        x = sun + float(p.random.normal(0.0, 0.012 + 0.05 * (y - 0.58)))
        p.stroke([(x - half, y), (x + half, y)], 0.0025, (1.6, 0.75, 0.28))
    p.shape([(-0.01, 0.80), (0.44, 0.72), (0.44, 0.735), (-0.01, 0.86)], "#15121a", 0.2)
    for x in np.linspace(0.02, 0.42, 7):
        p.box(float(x), 0.795 - 0.16 * float(x), 0.008, 0.12, "#120f16", 0.1)
    for _ in range(70):
        x, tall = float(p.random.uniform(0.72, 1.0)), float(p.random.uniform(0.12, 0.34))
        p.stroke([(x, 1.0), (x + float(p.random.normal(0.0, 0.012)), 1.0 - tall)], 0.003, "#0d0d12")


# --- things -----------------------------------------------------------------------------------------------------------


def tree(p: Painter, foot: tuple[float, float], size: float, colours: tuple[Colour, ...] = GREENS) -> None:
    """A broad-leaved tree: trunk, boughs and a crown of many leaves, lit from the upper left."""
    x, y = foot
    aspect = p.unit / p.width, p.unit / p.height
    wide = size * 0.05 * aspect[0]
    p.shape(
        [(x - wide, y), (x + wide, y), (x + wide * 0.5, y - size * 0.6), (x - wide * 0.5, y - size * 0.6)],
        "#4a3825",
        0.3,
    )
    crown = (x, y - size * 0.75 * aspect[1])
    for lobe in p.random.normal(0.0, 0.24, (9, 2)):
        place = crown[0] + float(lobe[0]) * size * aspect[0], crown[1] + float(lobe[1]) * size * aspect[1] * 0.7
        p.oval(place, size * 0.22, size * 0.19, colours[2], 0.3)
    count = int(min(1600, 300 + 5200 * size))
    leaves = p.random.normal(0.0, 0.25, (count, 2)) * (size * aspect[0], size * aspect[1] * 0.8)
    shade = leaves[:, 0] / aspect[0] + leaves[:, 1] / aspect[1] > 0.05 * size
    p.dabs(crown + leaves[shade], 0.022 * size + 0.001, [linear(c) * np.float32(0.5) for c in colours])
    p.dabs(crown + leaves[~shade], 0.022 * size + 0.001, [linear(c) * np.float32(1.25) for c in colours])


def fir(p: Painter, foot: tuple[float, float], size: float) -> None:
    """A fir with snow on its boughs."""
    x, y = foot
    half, tall = size * 0.26 * p.unit / p.width, size * p.unit / p.height
    for tier in range(7):
        top, wide = y - tall * (0.15 + 0.12 * (tier + 1)), half * (1.0 - tier / 7.5)
        low = y - tall * (0.06 + 0.12 * tier)
        p.shape(
            [(x, top - 0.05 * tall), (x + wide, low), (x, low - 0.02 * tall), (x - wide, low)],
            "#2c4234",
            0.3,
            (1.2, 0.7),
        )
        p.shape([(x, top - 0.05 * tall), (x - wide * 0.2, low - 0.05 * tall), (x - wide, low)], "#e3eaf1", 0.06)


def grass(p: Painter, y0: float, y1: float, count: int, colours: tuple[Colour, ...]) -> None:
    """Blades of grass, longer towards the foot of the picture."""
    palette = [linear(colour) for colour in colours]
    for y in np.sort(p.random.uniform(y0, y1 + 0.03, count)):
        near = (float(y) - y0) / (y1 - y0)
        x, long = float(p.random.uniform(-0.01, 1.01)), 0.006 + 0.05 * near * float(p.random.uniform(0.5, 1.2))
        lean = float(p.random.normal(0.0, 0.25)) * long
        colour = palette[int(p.random.integers(len(palette)))] * np.float32(p.random.uniform(0.6, 1.4))
        p.stroke(
            [(x, float(y)), (x + lean * 0.4, float(y) - 0.6 * long), (x + lean, float(y) - long)],
            0.0012 + 0.002 * near,
            colour,
        )


def _path(p: Painter, colour: Colour) -> None:
    y = np.linspace(0.66, 1.01, 60)
    middle = 0.56 + 0.10 * np.sin(7.0 * y) * (y - 0.6) / 0.4
    half = 0.004 + 0.11 * ((y - 0.66) / 0.35) ** 1.5
    p.shape(np.concatenate([np.stack([middle - half, y], 1), np.stack([middle + half, y], 1)[::-1]]), colour, 0.14)


def _drift(p: Painter, level: float, rise: float) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    x = np.linspace(-0.01, 1.01, 200)
    line = np.stack([x, level + rise * wander(p.random, x.size, 3)], axis=1)
    return np.concatenate([line, [(1.01, 1.01), (-0.01, 1.01)]])


def _snow_caps(p: Painter, line: np.ndarray[tuple[int, int], np.dtype[np.float64]], below: float) -> None:
    ragged = 0.05 * wander(p.random, len(line), 7, 0.75) + 0.05
    low = line.copy()
    low[:, 1] = np.minimum(line[:, 1] + np.maximum(ragged, 0.0), np.maximum(below + ragged, line[:, 1]))
    p.shape(np.concatenate([line, low[::-1]]), "#eef2f7", 0.10)


def _hut(p: Painter, x: float, y: float) -> None:
    p.shadow((x + 0.11, y + 0.07), 0.22, 0.03, 0.35)
    p.box(x, y - 0.10, 0.16, 0.15, "#6b452b", 0.25, (1.2, 0.7))
    for row in np.linspace(y - 0.09, y + 0.04, 8):
        p.stroke([(x, float(row)), (x + 0.16, float(row))], 0.002, "#3c2618")
    p.box(x + 0.025, y - 0.06, 0.03, 0.045, (1.4, 0.95, 0.4), 0.05)
    p.box(x + 0.10, y - 0.065, 0.035, 0.115, "#40291a", 0.2)
    p.shape(
        [
            (x - 0.03, y - 0.09),
            (x + 0.08, y - 0.20),
            (x + 0.19, y - 0.09),
            (x + 0.175, y - 0.08),
            (x + 0.08, y - 0.17),
            (x - 0.015, y - 0.08),
        ],
        "#f4f6f9",
        0.04,
    )
    p.box(x + 0.115, y - 0.22, 0.022, 0.07, "#7a6a60", 0.2)
    p.oval((x + 0.13, y - 0.26), 0.03, 0.02, "#e6e9ee", 0.1, opacity=0.5)


def _parasol(p: Painter, x: float, y: float) -> None:
    wide, tall = 0.17 * p.unit / p.width, 0.15
    p.shadow((x + 0.04, y + 0.27), 0.20, 0.025, 0.5)
    p.stroke([(x, y - 0.02), (x + 0.012, y + 0.27)], 0.007, "#e8e2d4")
    around = np.linspace(np.pi, 2 * np.pi, 9)
    rim = np.stack([x + wide * np.cos(around), y + 0.02 * np.sin(2 * around)], axis=1)
    for index in range(8):
        colour = "#d0352b" if index % 2 == 0 else "#f6f0e2"
        p.shape([(x, y - tall), tuple(rim[index]), tuple(rim[index + 1])], colour, 0.05)
    p.shape([(x - 0.13, y + 0.25), (x - 0.03, y + 0.24), (x + 0.01, y + 0.29), (x - 0.10, y + 0.30)], "#2f6fb0", 0.08)
    p.ball((x + 0.12, y + 0.27), 0.03, "#e8b830", 0.3)


def _flower(p: Painter, place: tuple[float, float], size: float, colour: str) -> None:
    aspect = p.unit / p.width, p.unit / p.height
    for turn in np.linspace(0.0, 2 * np.pi, 6, endpoint=False) + float(p.random.uniform(0.0, 1.0)):
        petal = place[0] + np.cos(turn) * size * 0.55 * aspect[0], place[1] + np.sin(turn) * size * 0.42 * aspect[1]
        p.oval(petal, size * 0.45, size * 0.30, colour, 0.12, float(np.degrees(turn)), (1.25, 0.75))
    p.oval(place, size * 0.24, size * 0.20, "#3c3210" if colour == "#c8271f" else "#e8c020", 0.1)
