"""Scenes under a roof, and the test target."""

from __future__ import annotations

import numpy as np

from mock_camera.painter import Painter, linear

HUES = 9
"""Colours around the circle, three of each: bright, deep, pale."""
GREYS = (0.90, 0.62, 0.42, 0.28, 0.18, 0.11, 0.065, 0.04, 0.025)


def fruit(p: Painter) -> None:
    """Apples, oranges, a lemon and a jug on a table."""
    p.gradient("#6d7a80", "#8c9596", 0.0, 0.60)
    p.texture(0.0, 0.60, 0.06, 0.10)
    p.gradient("#8a5f3a", "#a8774a", 0.60, 1.0)
    p.texture(0.60, 1.0, 0.14, 0.25, stretch=9.0)
    p.shape([(0.08, 0.70), (0.62, 0.66), (0.80, 0.90), (0.02, 0.97)], "#e8e2d2", 0.05)
    for stripe in np.linspace(0.10, 0.55, 8):
        p.stroke([(float(stripe), 0.70), (float(stripe) - 0.03, 0.965)], 0.004, "#b04a42")
    _jug(p, 0.74 + float(p.random.normal(0.0, 0.01)), 0.70)
    p.shadow((0.38, 0.80), 0.32, 0.05, 0.55)
    placed = ((0.24, 0.66, "#c22f26"), (0.40, 0.64, "#e08a1e"), (0.53, 0.68, "#b8352a"), (0.33, 0.73, "#d9a91c"),
              (0.46, 0.75, "#e58f22"), (0.20, 0.77, "#7f9c34"), (0.60, 0.78, "#c9b030"))  # fmt: skip
    for x, y, colour in placed:
        p.shadow((x + 0.02, y + 0.09), 0.11, 0.03, 0.5)
        squash = float(p.random.uniform(0.88, 1.0))
        p.ball((x, y), float(p.random.uniform(0.085, 0.105)), colour, 0.5, squash)
        p.stroke([(x, y - 0.075), (x + 0.008, y - 0.115)], 0.006, "#4a3420")
    grapes = p.random.normal((0.66, 0.86), (0.035, 0.03), (34, 2))
    for x, y in grapes[np.argsort(grapes[:, 1])]:
        p.ball((float(x), float(y)), 0.024, "#4d2f52", 0.6)


def portrait(p: Painter) -> None:
    """A figure before a blurred garden: hair, face, a knitted pullover."""
    p.gradient("#7d8f5e", "#3f4d33")
    p.dabs(p.random.uniform(0.0, 1.0, (160, 2)), 0.06, ("#a8b86a", "#5f7a44", "#d9d6a0", "#34472e"), 0.3, 1.6)
    p.soften(0.03)
    x, wide = 0.5 + float(p.random.normal(0.0, 0.03)), p.unit / p.width
    skin = ("#d9a583", "#8a5a3e", "#e3b594")[int(p.random.integers(3))]
    hair = ("#3a2418", "#191414", "#8a5a2c")[int(p.random.integers(3))]
    knit = ("#8c2f3a", "#2f5a7a", "#c9a24a")[int(p.random.integers(3))]
    p.oval((x, 0.40), 0.215, 0.27, hair, 0.25, light=(1.3, 0.6))
    _shoulders(p, x, wide, knit)
    p.shape(
        [(x - 0.075 * wide, 0.56), (x + 0.075 * wide, 0.56), (x + 0.10 * wide, 0.76), (x - 0.10 * wide, 0.76)],
        skin,
        0.05,
        (0.9, 0.6),
    )
    p.oval((x, 0.425), 0.163, 0.209, linear(skin) * np.float32(0.85), 0.03, light=(1.15, 0.7))
    p.ball((x, 0.425), 0.165, linear(skin) * np.float32(1.3), 0.0, 1.28, flat=0.45)
    _face(p, x, wide, skin, hair)
    strands = p.random.uniform(-1.0, 1.0, 260)
    for strand in strands:
        bow = [(x + 0.19 * wide * strand, 0.30 - 0.10 * (1 - strand * strand)),
               (x + 0.21 * wide * strand, 0.25 + 0.07 * abs(strand)),
               (x + (0.19 + 0.03 * abs(strand)) * wide * np.sign(strand), 0.36 + 0.18 * abs(strand))]  # fmt: skip
        p.stroke(bow, 0.0025, linear(hair) * np.float32(p.random.uniform(0.5, 2.2)))


def window(p: Painter) -> None:
    """A room with a bright window, its light on the floor, a chair and a plant."""
    p.gradient("#5b564e", "#6e675c", 0.0, 0.72)
    p.texture(0.0, 0.72, 0.05, 0.12)
    p.gradient("#5a3f2a", "#7a5636", 0.72, 1.0)
    p.texture(0.72, 1.0, 0.12, 0.20, stretch=7.0)
    for board in np.linspace(0.73, 1.0, 7):
        p.stroke([(0.0, float(board)), (1.0, float(board))], 0.0025, "#33241a")
    left = 0.50 + float(p.random.normal(0.0, 0.02))
    _bright_window(p, left, 0.12, 0.30, 0.46)
    p.shape(
        [(left - 0.20, 0.80), (left + 0.12, 0.80), (left + 0.02, 0.97), (left - 0.36, 0.97)],
        (1.0, 0.86, 0.62),
        0.10,
        opacity=0.55,
    )
    p.glow((left + 0.15, 0.35), 0.55, (0.16, 0.17, 0.18), 1.0)
    p.box(0.0, 0.70, 1.0, 0.022, "#8d867a", 0.06)
    _chair(p, 0.22, 0.86)
    p.box(0.09, 0.20, 0.20, 0.22, "#3d2c1c", 0.15)
    p.box(0.105, 0.225, 0.17, 0.17, "#c9b98f", 0.10)
    p.shape([(0.105, 0.395), (0.16, 0.29), (0.20, 0.34), (0.235, 0.28), (0.275, 0.395)], "#5d7a5a", 0.15)
    _plant(p)


def shelf(p: Painter) -> None:
    """Rows of books, a clock and a mug."""
    p.gradient("#5d452e", "#4a3624")
    p.texture(0.0, 1.0, 0.12, 0.2, stretch=6.0)
    for board in (0.32, 0.64, 0.97):
        x = 0.03
        gap = float(p.random.uniform(0.35, 0.6))
        while x < 0.95:
            width = float(p.random.uniform(0.016, 0.042))
            if not gap < x < gap + 0.16:
                _book(p, x, board, width)
            x += width + 0.002
        p.shadow((0.5, board - 0.27), 2.0, 0.02, 0.35)
        p.box(0.0, board, 1.0, 0.028, "#8a623c", 0.15)
        middle = gap + 0.09
        if board == 0.64:
            p.ball((middle, board - 0.085), 0.085, "#c9c4b8", 0.3)
            p.oval((middle, board - 0.085), 0.066, 0.066, "#f2efe6", 0.03)
            p.stroke(
                [(middle, board - 0.135), (middle, board - 0.085), (middle + 0.022, board - 0.07)], 0.005, "#1d1d1f"
            )
        else:
            wide = 0.055 * p.unit / p.width
            p.box(middle - wide, board - 0.12, 2 * wide, 0.12, "#3f7f8c", 0.05, (1.4, 0.45))
            p.oval((middle, board - 0.12), 0.055, 0.014, "#1d3a40", 0.05)


def patches(p: Painter) -> None:
    """A target: eighteen colours and six greys on a board, fine lines and a star for focus."""
    p.gradient("#777777", "#6f6f6f")
    p.box(0.06, 0.06, 0.88, 0.88, "#1e1e1e", 0.04)
    for column in range(HUES):
        hue = 2.0 * np.pi * (column / HUES + np.array([0.0, 1.0, 2.0]) / 3.0)
        pure = 0.5 + 0.5 * np.cos(hue)
        rows = 0.06 + 0.60 * pure, 0.025 + 0.20 * pure, 0.30 + 0.35 * pure, np.full(3, GREYS[column])
        for row, colour in enumerate(rows):
            p.box(0.085 + 0.0925 * column, 0.09 + 0.165 * row, 0.0825, 0.145, colour, 0.0)
    for index in range(60):
        width = 0.0035 * 0.96**index
        p.box(0.085 + 0.006 * index, 0.77, width, 0.13, "#e8e8e8" if index % 2 == 0 else "#202020", 0.0)
    centre = np.array([0.74, 0.835])
    aspect = np.array([p.unit / p.width, p.unit / p.height]) * 0.075
    p.oval(tuple(centre), 0.075, 0.075, "#e4e4e4", 0.0)
    for ray in np.linspace(0.0, 2 * np.pi, 36, endpoint=False):
        ends = [tuple(centre + aspect * (np.cos(ray + d), np.sin(ray + d))) for d in (0.0, np.pi / 36)]
        p.shape([tuple(centre), *ends], "#181818", 0.0)


# --- things -----------------------------------------------------------------------------------------------------------


def _plant(p: Painter) -> None:
    p.shape([(0.86, 0.66), (0.95, 0.66), (0.94, 0.80), (0.87, 0.80)], "#a5603c", 0.10, (1.2, 0.6))
    for _ in range(46):
        turn, long = float(p.random.uniform(-1.2, 1.2)), float(p.random.uniform(0.12, 0.34))
        tip = 0.905 + 0.3 * long * np.sin(turn), 0.66 - long * np.cos(turn)
        p.stroke([(0.905, 0.66), ((0.905 + tip[0]) / 2, (0.63 + tip[1]) / 2), tip], 0.004, "#3f5a2c")
        p.oval(
            tip,
            0.035,
            0.014,
            ("#55803a", "#3a5f2a", "#7a9c4a")[int(p.random.integers(3))],
            0.15,
            float(np.degrees(turn)) - 90,
        )


def _jug(p: Painter, x: float, foot: float) -> None:
    wide = p.unit / p.width
    heights = np.linspace(0.0, 0.42, 40)
    half = (0.10 + 0.045 * np.sin(heights * 9.0 + 0.6) - 0.03 * heights) * wide
    y = foot - heights
    p.shadow((x + 0.04, foot + 0.01), 0.17, 0.03, 0.6)
    p.shape(
        np.concatenate([np.stack([x - half, y], 1), np.stack([x + half, y], 1)[::-1]]), "#cfd8d6", 0.04, (1.15, 0.30)
    )
    p.oval((x, foot - 0.42), float(half[-1]) / wide, 0.02, "#59605f", 0.05)
    handle = np.linspace(-1.2, 1.2, 20)
    loop = np.stack(
        [x + half.mean() * 0.95 + 0.07 * wide * np.cos(handle), foot - 0.26 + 0.09 * np.sin(handle)], axis=1
    )
    p.stroke(loop, 0.016, "#9fa8a6")
    p.stroke(np.stack([x - half[12:34] * 0.55, y[12:34]], 1), 0.012, (1.1, 1.15, 1.15))


def _shoulders(p: Painter, x: float, wide: float, colour: str) -> None:
    body = [(x - 0.09 * wide, 0.70), (x - 0.30 * wide, 0.77), (x - 0.42 * wide, 0.90), (x - 0.46 * wide, 1.02),
            (x + 0.46 * wide, 1.02), (x + 0.42 * wide, 0.90), (x + 0.30 * wide, 0.77),
            (x + 0.09 * wide, 0.70)]  # fmt: skip
    p.shape(body, colour, 0.10, (1.25, 0.55))
    base = linear(colour)
    for row in np.arange(0.76, 1.0, 0.014):
        reach = min(0.44, 0.26 + 0.9 * (row - 0.76)) * wide
        for column in np.arange(x - reach, x + reach, 0.011 * wide):
            gain = 0.75 + 0.5 * float(p.random.random())
            p.stroke(
                [(column, row), (column + 0.005 * wide, row + 0.008)],
                0.003,
                base * np.float32(gain * (1.2 - 0.9 * (column - x))),
            )


def _face(p: Painter, x: float, wide: float, skin: str, hair: str) -> None:
    for side in (-1, 1):
        eye = x + side * 0.062 * wide
        p.oval((eye, 0.405), 0.030, 0.014, "#efe9e2", 0.02)
        p.oval((eye, 0.405), 0.013, 0.014, "#4a3220", 0.05)
        p.oval((eye - 0.003, 0.401), 0.004, 0.004, (1.2, 1.2, 1.2), 0.0)
        arch = np.linspace(-1.0, 1.0, 12)
        p.stroke(np.stack([eye + arch * 0.036 * wide, 0.368 + 0.008 * arch**2], 1), 0.008, hair)
        p.stroke(np.stack([eye + arch * 0.030 * wide, 0.393 + 0.010 * arch**2], 1), 0.004, "#2a1c14")
        p.oval((x + side * 0.085 * wide, 0.48), 0.035, 0.022, "#d0604a", 0.0, opacity=0.14)
    shade = linear(skin) * np.float32(0.55)
    p.stroke([(x + 0.012 * wide, 0.41), (x + 0.026 * wide, 0.475), (x - 0.004 * wide, 0.485)], 0.005, shade)
    curve = np.linspace(-1.0, 1.0, 16)
    lips = np.stack([x + 0.055 * wide * curve, 0.535 - 0.010 * curve**2], 1)
    p.shape(
        np.concatenate([lips, np.stack([x + 0.055 * wide * curve[::-1], 0.553 - 0.026 * curve**2], 1)]), "#a8473f", 0.05
    )


def _bright_window(p: Painter, x: float, y: float, width: float, height: float) -> None:
    p.box(x - 0.015, y - 0.02, width + 0.03, height + 0.04, "#d8d2c4", 0.05)
    p.box(x, y, width, height, (1.9, 2.2, 2.6), 0.03)
    p.shape(
        [
            (x, y + height),
            (x, y + 0.6 * height),
            (x + 0.3 * width, y + 0.48 * height),
            (x + 0.6 * width, y + 0.62 * height),
            (x + width, y + 0.5 * height),
            (x + width, y + height),
        ],
        (0.55, 0.75, 0.35),
        0.25,
    )
    p.box(x + width * 0.485, y, width * 0.03, height, "#cfc9bb", 0.05)
    p.box(x, y + height * 0.44, width, height * 0.03, "#cfc9bb", 0.05)
    p.box(x - 0.03, y + height + 0.015, width + 0.06, 0.022, "#e6e0d2", 0.05)
    for edge, lean in ((x - 0.03, 1), (x + width + 0.03, -1)):
        for fold in range(5):
            at = edge + lean * 0.012 * fold
            p.shape(
                [
                    (at, y - 0.04),
                    (at + 0.012 * lean, y - 0.04),
                    (at + 0.016 * lean, y + height + 0.06),
                    (at + 0.002 * lean, y + height + 0.06),
                ],
                "#a8503f",
                0.05,
                (1.3, 0.6),
            )


def _chair(p: Painter, x: float, foot: float) -> None:
    p.shadow((x + 0.07, foot), 0.16, 0.02, 0.5)
    for leg, top in ((0.0, 0.46), (0.13, 0.20), (0.02, 0.18), (0.15, 0.44)):
        p.box(x + leg, foot - top, 0.012, top, "#3a2416", 0.15)
    p.shape(
        [(x - 0.01, foot - 0.20), (x + 0.15, foot - 0.20), (x + 0.175, foot - 0.16), (x - 0.005, foot - 0.16)],
        "#6d4527",
        0.15,
    )
    for bar in (0.42, 0.35, 0.28):
        p.box(x, foot - bar, 0.16, 0.022, "#4d3019", 0.15)


def _book(p: Painter, x: float, board: float, width: float) -> None:
    tall = float(p.random.uniform(0.17, 0.26))
    cover = ("#7a2a24", "#2c4a66", "#3f5a3a", "#b58a3c", "#5a3a5c", "#c9c0a8", "#26262c", "#a85a34")[
        int(p.random.integers(8))
    ]
    p.box(x, board - tall, width, tall, cover, 0.08, (1.25, 0.65))
    for band in (0.85, 0.80, 0.15):
        p.stroke([(x + 0.003, board - tall * band), (x + width - 0.003, board - tall * band)], 0.003, "#d8c48a")
    for line in range(int(p.random.integers(2, 6))):
        y = board - tall * (0.7 - 0.05 * line)
        p.stroke([(x + width * 0.3, y), (x + width * 0.7, y)], 0.004, "#e6dcc0")
