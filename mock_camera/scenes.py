"""The invented scenes on the film, by name: each is drawn from a seed, at any size and shape of frame."""

from __future__ import annotations

from collections.abc import Callable

from mock_camera import scenes_country, scenes_indoors, scenes_town
from mock_camera.film_stock import FloatPicture
from mock_camera.painter import Painter

SCENES: dict[str, Callable[[Painter], None]] = {
    "hills": scenes_country.hills,
    "lake": scenes_country.lake,
    "snow": scenes_country.snow,
    "beach": scenes_country.beach,
    "forest": scenes_country.forest,
    "meadow": scenes_country.meadow,
    "sunset": scenes_country.sunset,
    "street": scenes_town.street,
    "night": scenes_town.night,
    "midnight": scenes_town.midnight,
    "harbour": scenes_town.harbour,
    "viaduct": scenes_town.viaduct,
    "fruit": scenes_indoors.fruit,
    "portrait": scenes_indoors.portrait,
    "window": scenes_indoors.window,
    "shelf": scenes_indoors.shelf,
    "patches": scenes_indoors.patches,
}
"""Painters by the scene's name."""

MIXTURE = tuple(name for name in SCENES if name != "midnight")
"""What an ordinary roll holds; a frame that is nearly as clear as the rebate has to be asked for."""


def draw(name: str, seed: int, width_px: int, height_px: int) -> FloatPicture:
    """Draw a scene.

    Parameters
    ----------
    name : str
        A key of `SCENES`.
    seed : int
        Same seed, same picture.
    width_px, height_px : int

    Returns
    -------
    float32 (height_px, width_px, 3)
        Linear RGB; 0.18 is a grey card in the scene's main light, lamps reach above 1.

    Raises
    ------
    KeyError
        No scene has that name.
    """
    painter = Painter(width_px, height_px, seed)
    SCENES[name](painter)
    return painter.finish()
