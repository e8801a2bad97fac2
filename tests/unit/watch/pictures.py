"""Plain drawn film for unit tests: exact geometry, no hazards; the hazards are in tests/film_pictures."""

from functools import cache

import cv2
import numpy as np
import numpy.typing as npt

from tethercap.film.formats import FilmFormat
from tethercap.profile_files import load_film_format

FORMAT: FilmFormat = load_film_format("135-36x24")
PX_PER_MM = 16.0
SIZE = (680, 460)
"""Width and height of the view, px."""
ORANGE = (95, 150, 225)
"""Clear base of colour negative, blue, green, red."""

GAMMA = 2.2
LIGHT_OF_CODE = ((np.arange(256) / 255) ** GAMMA).astype(np.float32)


def corners_at(x_mm: float = 0.0, y_mm: float = 0.0, tilt_deg: float = 0.0) -> npt.NDArray[np.float64]:
    """Corners of a nominal frame whose middle lies (x_mm, y_mm) from the view's, px, clockwise from the top left."""
    half = np.array([(-18, -12), (18, -12), (18, 12), (-18, 12)], float)
    turn = np.radians(tilt_deg)
    turned = half @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    middle = (np.array(SIZE) - 1) / 2
    return np.asarray((turned + np.array((x_mm, y_mm))) * PX_PER_MM + middle)


def film(
    x_mm: float = 0.0,
    y_mm: float = 0.0,
    tilt_deg: float = 0.0,
    *,
    seed: int = 0,
    blank: bool = False,
    slide: bool = False,
    over: int = 4,
    pitch_mm: float = 38.0,
    cell_mm: int = 1,
) -> npt.NDArray[np.uint8]:
    """Draw one frame and its neighbours on clear base, `over` times oversampled; uint8, shape (height, width, 3).

    The pictures are cells of `cell_mm` of random tones that run into each other.
    """
    return _film(x_mm, y_mm, tilt_deg, seed, over, pitch_mm, cell_mm, blank=blank, slide=slide).copy()


@cache
def _film(
    x_mm: float,
    y_mm: float,
    tilt_deg: float,
    seed: int,
    over: int,
    pitch_mm: float,
    cell_mm: int,
    *,
    blank: bool,
    slide: bool,
) -> npt.NDArray[np.uint8]:
    base: tuple[int, int, int] = (6, 6, 6) if slide else ORANGE
    big = np.full((SIZE[1] * over, SIZE[0] * over, 3), base, np.uint8)
    rng = np.random.default_rng(seed)
    texture = cv2.resize(
        rng.integers(60, 150, (24 // cell_mm, 36 // cell_mm, 3)).astype(np.uint8),
        (36 * 16, 24 * 16),
        interpolation=cv2.INTER_CUBIC,
    )
    for step in (-1, 0, 1):
        if blank and step == 0:
            continue
        turn = np.radians(tilt_deg)
        quad = corners_at(x_mm + pitch_mm * step * np.cos(turn), y_mm + pitch_mm * step * np.sin(turn), tilt_deg)
        quad = (quad + 0.5) * over - 0.5
        source = np.array([(-0.5, -0.5), (575.5, -0.5), (575.5, 383.5), (-0.5, 383.5)], np.float32)
        matrix = cv2.getPerspectiveTransform(source, quad.astype(np.float32))
        warped = cv2.warpPerspective(texture, matrix, (big.shape[1], big.shape[0]), borderMode=cv2.BORDER_REPLICATE)
        mask = np.zeros(big.shape[:2], np.uint8)
        cv2.fillConvexPoly(mask, np.rint(quad * 16).astype(np.int32), 255, cv2.LINE_8, 4)
        # Where frames overlap densities add up: tones multiply, in codes as in light.
        under = np.float32(1) if slide else big[mask > 0] / np.array(base, np.float32)
        big[mask > 0] = warped[mask > 0] * under
    # What falls on one pixel adds up as light, not as display codes.
    light = cv2.resize(LIGHT_OF_CODE[big], SIZE, interpolation=cv2.INTER_AREA)
    small = 255 * light ** (1 / GAMMA)
    return np.asarray(np.clip(small + rng.normal(0, 1.0, small.shape), 0, 255), np.uint8)
