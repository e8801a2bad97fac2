"""Scenes among buildings."""

from __future__ import annotations

import numpy as np

from mock_camera.painter import Colour, Painter, linear
from mock_camera.scenes_country import tree

WALLS = ("#d9c3a0", "#c9796a", "#e6dcc8", "#8fa9b5", "#d8a75a", "#b5b08f", "#a8564a")
ROOFS = ("#8a4a36", "#6b4038", "#5b5a60", "#9a5a40")


def street(p: Painter) -> None:
    """A row of houses in the sun, pavement, road, a parked van."""
    p.sky("#4682c4", "#c4dced", 0.60, cover=0.35)
    x = -0.03
    while x < 1.0:
        width = float(p.random.uniform(0.12, 0.19))
        _house(p, x, width, 0.68, float(p.random.uniform(0.32, 0.46)))
        x += width
    p.box(-0.01, 0.68, 1.02, 0.05, "#b5aea2", 0.10)
    for stone in np.linspace(0.0, 1.0, 30):
        p.stroke([(float(stone), 0.68), (float(stone) - 0.01, 0.73)], 0.0015, "#8a857c")
    p.box(-0.01, 0.725, 1.02, 0.015, "#8d887f", 0.10)
    p.gradient("#5e5e62", "#77777a", 0.74, 1.0)
    p.texture(0.74, 1.0, 0.10, 0.015, stretch=1.5)
    for dash in np.linspace(-0.05, 1.0, 7):
        p.shape([(dash, 0.875), (dash + 0.09, 0.875), (dash + 0.085, 0.89), (dash - 0.008, 0.89)], "#e6e3da", 0.08)
    for place in (float(p.random.uniform(0.05, 0.15)), float(p.random.uniform(0.85, 0.95))):
        p.shadow((place + 0.05, 0.735), 0.12, 0.02, 0.5)
        tree(p, (place, 0.73), 0.22)
    _van(p, float(p.random.uniform(0.35, 0.6)), 0.80)


def night(p: Painter) -> None:
    """A wet street in the blue hour: lamps, lit windows, their light on the ground."""
    _dark_street(p, dusk=1.0)


def midnight(p: Painter) -> None:
    """The same street with hardly any light but the lamps: most of the frame is as clear as the film's rebate."""
    _dark_street(p, dusk=0.08)


def _dark_street(p: Painter, dusk: float) -> None:
    glimmer = np.float32(dusk)
    p.gradient(linear("#1c2c5a") * glimmer, linear("#7a6a80") * glimmer, 0.0, 0.66)
    p.oval((0.82, 0.12), 0.035, 0.035, (0.9, 0.9, 0.8), 0.1)
    x = -0.03
    while x < 1.0:
        width = float(p.random.uniform(0.10, 0.17))
        _dark_house(p, x, width, float(p.random.uniform(0.18, 0.36)), glimmer)
        x += width
    p.gradient(linear("#4a4658") * glimmer, linear("#33323c") * glimmer, 0.64, 1.0)
    for lamp_x, near in ((0.12, 1.0), (0.36, 0.5), (0.53, 0.25), (0.90, 0.8)):
        _lamp(p, lamp_x, 0.36 - 0.12 * near, near)
    water = p.pixels[round(0.28 * p.height) : round(0.64 * p.height)][::-1]
    low = p.pixels[round(0.66 * p.height) :][: water.shape[0]]
    ripple = np.exp(np.float32(0.9) * p.clouds(0.03, 5, 0.7, stretch=8.0))[round(0.66 * p.height) :][: low.shape[0]]
    low += np.float32(0.30) * water[: low.shape[0]] * ripple[:, :, np.newaxis]
    p.shape([(0.0, 0.66), (1.0, 0.645), (1.0, 0.655), (0.0, 0.68)], linear("#5a5a62") * glimmer, 0.2)
    for x0, colour in ((0.62, (2.2, 0.25, 0.12)), (0.655, (2.2, 0.25, 0.12)), (0.40, (2.6, 2.3, 1.7))):
        p.glow((x0, 0.70), 0.012, colour, 0.8)


def _dark_house(p: Painter, x: float, width: float, top: float, glimmer: np.float32) -> None:
    p.box(x, top, width, 0.64 - top, linear("#3a3844") * glimmer, 0.2)
    p.shape([(x, top), (x + width / 2, top - 0.05), (x + width, top)], linear("#2c2a34") * glimmer, 0.2)
    for row in np.arange(top + 0.04, 0.58, 0.075):
        for column in np.arange(x + 0.018, x + width - 0.03, 0.035):
            if p.random.random() < 0.35:
                bright = np.array([0.75, 0.48, 0.18], np.float32) * np.float32(p.random.uniform(0.3, 1.3))
                p.box(float(column), float(row), 0.016, 0.038, bright, 0.1)


def harbour(p: Painter) -> None:
    """Fishing boats at a quay, coloured sheds behind."""
    p.sky("#6f9ccc", "#d9e4ea", 0.50, cover=0.50)
    p.ridge(0.42, 0.06, "#7c9488", 0.10)
    x = 0.0
    while x < 1.0:
        width = float(p.random.uniform(0.09, 0.14))
        top = 0.40 + float(p.random.uniform(-0.03, 0.03))
        p.box(x, top, width, 0.16, WALLS[int(p.random.integers(len(WALLS)))], 0.12)
        p.shape(
            [(x - 0.005, top), (x + width / 2, top - 0.07), (x + width + 0.005, top)],
            ROOFS[int(p.random.integers(4))],
            0.2,
        )
        _window(p, x + width * 0.25, top + 0.05, 0.018, 0.04)
        _window(p, x + width * 0.62, top + 0.05, 0.018, 0.04)
        x += width + float(p.random.uniform(0.0, 0.02))
    p.box(-0.01, 0.55, 1.02, 0.05, "#9a9184", 0.18)
    p.gradient("#4a6f78", "#1f3f4c", 0.60, 1.0)
    p.texture(0.60, 1.0, 0.30, 0.04, stretch=7.0)
    for boat_x, y, size, colour in (
        (0.10, 0.66, 0.20, "#c23a2c"),
        (0.45, 0.70, 0.26, "#2c5fa0"),
        (0.70, 0.80, 0.34, "#e8e4d8"),
    ):
        _boat(p, boat_x + float(p.random.normal(0.0, 0.02)), y, size, colour)


def viaduct(p: Painter) -> None:
    """A stone railway bridge over a valley, a train on it."""
    p.sky("#5a8cc8", "#dbe6ec", 0.55, cover=0.45)
    p.ridge(0.45, 0.07, "#8097a0", 0.08)
    p.ridge(0.60, 0.06, "#6a7d52", 0.15)
    deck = 0.40
    p.box(-0.01, deck, 1.02, 0.05, "#a8977c", 0.18)
    for index in range(6):
        x = -0.06 + 0.19 * index
        _arch(p, x, deck + 0.05, 0.19, 0.42 - 0.06 * abs(index - 2.5))
    p.stroke([(0.0, deck), (1.0, deck)], 0.004, "#6d604c")
    for car in range(5):
        x = 0.22 + 0.12 * car
        p.box(x, deck - 0.065, 0.112, 0.058, "#1f5a46" if car else "#8c2a22", 0.06)
        for pane in range(5):
            p.box(x + 0.012 + 0.019 * pane, deck - 0.052, 0.012, 0.022, "#dfe6e4", 0.05)
        p.box(x, deck - 0.012, 0.112, 0.006, "#2a2a2c", 0.1)
    p.ridge(0.88, 0.04, "#5f7a38", 0.25)
    p.texture(0.85, 1.0, 0.15, 0.03, stretch=2.0)
    for _ in range(9):
        tree(
            p,
            (float(p.random.uniform(0.0, 1.0)), float(p.random.uniform(0.86, 0.97))),
            float(p.random.uniform(0.08, 0.17)),
        )


# --- things -----------------------------------------------------------------------------------------------------------


def _window(p: Painter, x: float, y: float, width: float, height: float, glass: Colour = "#3d4f5e") -> None:
    p.box(x - 0.004, y - 0.006, width + 0.008, height + 0.012, "#ece7dc", 0.05)
    p.box(x, y, width, height, glass, 0.15, (1.5, 0.6))
    p.stroke([(x + width / 2, y), (x + width / 2, y + height)], 0.003, "#e4dfd4")
    p.stroke([(x, y + height * 0.45), (x + width, y + height * 0.45)], 0.003, "#e4dfd4")


def _house(p: Painter, x: float, width: float, foot: float, height: float) -> None:
    top = foot - height
    p.box(x, top, width, height, WALLS[int(p.random.integers(len(WALLS)))], 0.10, (1.05, 0.9))
    roof = ROOFS[int(p.random.integers(len(ROOFS)))]
    p.shape([(x - 0.006, top), (x + width * 0.5, top - 0.11), (x + width + 0.006, top)], roof, 0.22, (1.2, 0.75))
    p.box(x + width * 0.72, top - 0.11, 0.016, 0.08, "#8d5c4c", 0.25)
    columns = max(2, round(width / 0.055))
    step = width / columns
    for row in range(max(2, int(height / 0.12))):
        for column in range(columns):
            y = top + 0.035 + 0.115 * row
            if y + 0.07 < foot - 0.02 and not (column == 0 and y > foot - 0.16):
                _window(p, x + step * (column + 0.5) - 0.011, y, 0.022, 0.062)
    door = ("#2f4a3a", "#7a2f28", "#2c3f66", "#5a3a26")[int(p.random.integers(4))]
    p.box(x + step * 0.5 - 0.016, foot - 0.115, 0.032, 0.115, door, 0.12)
    p.stroke([(x + width, top), (x + width, foot)], 0.002, "#6b6256")


def _van(p: Painter, x: float, y: float) -> None:
    p.shadow((x + 0.11, y + 0.02), 0.20, 0.018, 0.6)
    body = [
        (x, y),
        (x, y - 0.13),
        (x + 0.02, y - 0.16),
        (x + 0.15, y - 0.16),
        (x + 0.20, y - 0.09),
        (x + 0.235, y - 0.08),
        (x + 0.235, y),
    ]
    p.shape(body, "#c9a227", 0.05, (1.05, 0.95))
    p.shape(
        [(x + 0.125, y - 0.145), (x + 0.15, y - 0.145), (x + 0.186, y - 0.09), (x + 0.125, y - 0.09)], "#35424d", 0.1
    )
    p.box(x + 0.03, y - 0.145, 0.075, 0.05, "#35424d", 0.1)
    p.stroke([(x, y - 0.06), (x + 0.23, y - 0.06)], 0.003, "#8f7318")
    for wheel in (0.045, 0.185):
        p.oval((x + wheel, y), 0.034, 0.034, "#1b1b1d", 0.1)
        p.oval((x + wheel, y), 0.016, 0.016, "#b9b9bb", 0.1)


def _lamp(p: Painter, x: float, y: float, near: float) -> None:
    size = 0.3 + near
    p.box(x - 0.003 * size, y, 0.006 * size, 0.66 - y, "#050506", 0.1)
    p.glow((x, y), 0.045 * size, (1.5, 0.95, 0.42), 0.9)
    p.oval((x, y), 0.014 * size, 0.018 * size, (7.0, 5.0, 2.6), 0.0)


def _boat(p: Painter, x: float, y: float, size: float, colour: str) -> None:
    w, h = size * p.unit / p.width * 1.2, size * 0.30
    p.stroke([(x + w * 0.45, y), (x + w * 0.45, y - 3.2 * h)], 0.006, "#6d543a")
    p.stroke([(x + w * 0.45, y - 3.0 * h), (x + w * 0.95, y - 0.1 * h)], 0.0018, "#2c2620")
    p.stroke([(x + w * 0.45, y - 3.0 * h), (x + w * 0.02, y - 0.2 * h)], 0.0018, "#2c2620")
    p.box(x + w * 0.30, y - h * 1.0, w * 0.26, h, "#efe9da", 0.06, (1.1, 0.8))
    p.box(x + w * 0.34, y - h * 0.8, w * 0.07, h * 0.35, "#33424c", 0.1)
    p.box(x + w * 0.45, y - h * 0.8, w * 0.07, h * 0.35, "#33424c", 0.1)
    hull = [(x, y - 0.25 * h), (x + w, y - 0.35 * h), (x + w * 0.88, y + 0.6 * h), (x + w * 0.10, y + 0.6 * h)]
    p.shape(hull, colour, 0.10, (1.1, 0.75))
    p.stroke([(x, y - 0.25 * h), (x + w, y - 0.35 * h)], 0.007, "#f1ead8")
    p.shape(
        [
            (x + w * 0.1, y + 0.6 * h),
            (x + w * 0.88, y + 0.6 * h),
            (x + w * 0.8, y + 1.3 * h),
            (x + w * 0.2, y + 1.3 * h),
        ],
        linear(colour) * np.float32(0.4),
        0.5,
        opacity=0.6,
    )


def _arch(p: Painter, x: float, y: float, width: float, height: float) -> None:
    """Two half piers and the bow between them, with courses of stone."""
    pier = 0.2 * width
    around = np.linspace(np.pi, 2 * np.pi, 40)
    radius = (width - pier) / 2
    rise = radius * p.width / p.height
    bow = np.stack([x + width / 2 + radius * np.cos(around), y + 0.02 + rise + rise * np.sin(around)], axis=1)
    outline = [
        (x, y),
        (x + width, y),
        (x + width, y + height),
        (x + width - pier / 2, y + height),
        *map(tuple, bow[::-1]),
        (x + pier / 2, y + height),
        (x, y + height),
    ]
    p.shape(outline, "#a08e72", 0.22, (1.1, 0.85))
    for course in np.arange(y + rise, y + height, 0.022):
        for left in (x, x + width - pier / 2):
            p.stroke([(left, float(course)), (left + pier / 2, float(course))], 0.0016, "#7a6a54")
    p.stroke(bow, 0.006, "#c2b192")
