"""What is in the pictures: real sample photographs and drawn scenes, as relative exposures 0..1, linear."""

from functools import cache

import cv2
import numpy as np
import numpy.typing as npt

Exposure = npt.NDArray[np.float32]
"""Shape (height, width, 3), red, green, blue, 0..1, linear."""

_PHOTOGRAPHS = (
    "astronaut",
    "camera",
    "chelsea",
    "coffee",
    "coins",
    "moon",
    "rocket",
    "motorcycle_left",
    "hubble",
    "brick",
    "grass",
    "gravel",
    "page",
)
_SYNTHETIC = ("sky_and_ground", "window", "fog", "texture", "night_street", "snow", "stripes", "portrait")


@cache
def _photograph(name: str) -> Exposure:
    from pathlib import Path

    import skimage

    folder = Path(skimage.__file__).parent / "data"
    file = {"hubble": "hubble_deep_field.jpg", "rocket": "rocket.jpg"}.get(name, f"{name}.png")
    picture = cv2.imread(str(folder / file), cv2.IMREAD_COLOR)
    assert picture is not None, file
    return (picture[..., ::-1].astype(np.float32) / 255.0) ** 2.2


def noise_field(rng: np.random.Generator, width: int, height: int, cell: float) -> npt.NDArray[np.float32]:
    """Smooth random field, about -1..1, with features of `cell` px."""
    small = rng.normal(size=(max(2, int(height / cell) + 2), max(2, int(width / cell) + 2))).astype(np.float32)
    return np.asarray(cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC), np.float32)


def _drawn(name: str, rng: np.random.Generator, width: int, height: int) -> Exposure:
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    out = np.ones((height, width, 3), np.float32)
    colour = rng.uniform(0.2, 1.0, (4, 3)).astype(np.float32)
    if name == "sky_and_ground":
        horizon = height * rng.choice([rng.uniform(0.02, 0.1), rng.uniform(0.3, 0.7), rng.uniform(0.9, 0.98)])
        line = horizon + (x - width / 2) * np.float32(rng.uniform(-0.03, 0.03))
        sky = np.clip((line - y) * 2, 0, 1)[..., None]
        ground = 0.15 * colour[0] * (1 + 0.4 * noise_field(rng, width, height, 6)[..., None])
        out = (
            sky * (0.9 * np.array([0.75, 0.85, 1.0], np.float32) * (0.7 + 0.3 * y / height)[..., None])
            + (1 - sky) * ground
        )
    elif name == "window":
        out = np.full_like(out, 0.01) * colour[0]
        for _ in range(rng.integers(1, 4)):
            x0, y0 = rng.uniform(0.0, 0.6) * width, rng.uniform(0.0, 0.5) * height
            w, h = rng.uniform(0.2, 0.95) * width, rng.uniform(0.3, 0.95) * height
            inside = (
                np.clip(x - x0, 0, 1) * np.clip(x0 + w - x, 0, 1) * np.clip(y - y0, 0, 1) * np.clip(y0 + h - y, 0, 1)
            )[..., None]
            out = out * (1 - inside) + inside * colour[rng.integers(1, 4)] * (
                0.8 + 0.1 * noise_field(rng, width, height, 30)[..., None]
            )
    elif name == "fog":
        out = colour[0] * (0.5 + 0.08 * noise_field(rng, width, height, 200)[..., None])
    elif name == "texture":
        out = (
            colour[0]
            * np.exp(1.2 * sum(noise_field(rng, width, height, c) for c in (80, 25, 8, 3)) / 2)[..., None]
            * 0.3
        )
    elif name == "night_street":
        out = np.full_like(out, 0.002)
        for _ in range(rng.integers(3, 25)):
            cx, cy, r = rng.uniform(0, width), rng.uniform(0, height), rng.uniform(0.003, 0.05) * width
            out += np.exp(-(((x - cx) ** 2 + (y - cy) ** 2) / (2 * r * r)))[..., None] * colour[rng.integers(0, 4)]
    elif name == "snow":
        out = 0.85 + 0.1 * noise_field(rng, width, height, 60)[..., None] * np.ones(3, np.float32)
        for _ in range(rng.integers(0, 4)):
            cx, cy, r = rng.uniform(0, width), rng.uniform(0, height), rng.uniform(0.02, 0.1) * width
            out[np.hypot(x - cx, (y - cy) / 2) < r] = 0.1 * colour[0]
    elif name == "stripes":
        phase = (x * np.float32(rng.uniform(-0.2, 1)) + y * np.float32(rng.uniform(-0.2, 1))) / np.float32(
            rng.uniform(15, 120)
        )
        out = np.where(np.floor(phase)[..., None] % 2 == 0, 0.8 * colour[0], 0.05 * colour[1])
    else:
        out = 0.1 * colour[0] * np.ones_like(out)
        inside = np.hypot((x - width * 0.5) / (0.2 * width), (y - height * 0.6) / (0.5 * height)) < 1
        out[inside] = 0.6 * colour[1]
        out = np.asarray(cv2.GaussianBlur(out, (0, 0), float(rng.uniform(1, 20))), np.float32)
    return np.clip(out, 0, 1).astype(np.float32)


def content(rng: np.random.Generator, width: int, height: int, name: str | None = None) -> Exposure:
    """Draw or crop a picture.

    Parameters
    ----------
    rng : Generator
        Chooses what `name` leaves open.
    width, height : int
        Size, px.
    name : str or None
        One of the synthetic scenes; None takes any, photographs included.
    """
    if name is None:
        name = str(rng.choice([*_PHOTOGRAPHS, *_SYNTHETIC]))
    if name in _SYNTHETIC:
        out = _drawn(name, rng, width, height)
    else:
        photograph = _photograph(name)
        share = rng.uniform(0.5, 1.0)
        h, w = photograph.shape[:2]
        cw = int(min(w, h * width / height) * share)
        ch = max(1, int(cw * height / width))
        x0, y0 = rng.integers(0, w - cw + 1), rng.integers(0, max(1, h - ch + 1))
        crop = photograph[y0 : y0 + ch, x0 : x0 + cw]
        out = np.asarray(cv2.resize(crop, (width, height), interpolation=cv2.INTER_LINEAR), np.float32)
    if rng.random() < 0.5:
        out = out[:, ::-1]
    return np.ascontiguousarray(out * np.float32(2.0 ** rng.uniform(-1.0, 0.7)))
