"""What lies on the table: the settings of a rig, checked, and numbers read from commands."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from mock_camera import scenes
from mock_camera.film_stock import FORMATS, KINDS
from mock_camera.strip_scene import StripPlan


@dataclass(frozen=True)
class RigSettings:
    """What lies on the table; every picture follows from these, the clock and the commands.

    Attributes
    ----------
    hand : str
        'none', 'timed' or 'bell'.
    scenes : tuple of str
        Names from `scenes.SCENES`, taken in turn; empty = a mixture.
    blank_frames : tuple of int
        Frames of every strip (0-based) that were never exposed.
    started_at : datetime
        Time of day that belongs to the moment the rig is made (EXIF).
    """

    film_kind: str = "colour-negative"
    film_format: str = "135-36x24"
    strips: int = 1
    frames_per_strip: int = 6
    first_label: int = 1
    seed: int = 1
    hand: str = "none"
    fast: bool = False
    sensor_width_px: int = 6000
    sensor_height_px: int = 4000
    scenes: tuple[str, ...] = ()
    blank_frames: tuple[int, ...] = ()
    make: str = "Testbench"
    model: str = "Mock One"
    serial: str = "000001"
    started_at: datetime | None = None


def plan_strips(settings: RigSettings) -> StripPlan:
    """What the strips shall hold.

    Raises
    ------
    ValueError
        A word names no film kind, format or scene, or there would be no frame.
    """
    for word, known, what in (
        (settings.film_kind, KINDS, "film kind"), (settings.film_format, FORMATS, "film format"),
    ):  # fmt: skip
        if word not in known:
            raise ValueError(f"no {what} is called '{word}'; known are {', '.join(known)}")
    unknown = [name for name in settings.scenes if name not in scenes.SCENES]
    if unknown:
        raise ValueError(f"no scene is called '{unknown[0]}'; known are {', '.join(scenes.SCENES)}")
    if settings.strips < 1 or settings.frames_per_strip < 1:
        raise ValueError("there must be at least one strip with at least one frame")
    names = list(scenes.MIXTURE)
    np.random.default_rng([settings.seed, 1]).shuffle(names)
    return StripPlan(
        FORMATS[settings.film_format], KINDS[settings.film_kind], settings.frames_per_strip,
        settings.scenes or tuple(names), settings.first_label, settings.seed, frozenset(settings.blank_frames),
    )  # fmt: skip


def read_number(command: Mapping[str, object], key: str, default: float) -> float:
    """A finite number of a command; ValueError says which word is none."""
    value = command.get(key, default)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"'{key}' must be a number, not {value!r}")
    return float(value)


def read_integer(command: Mapping[str, object], key: str, default: int) -> int:
    """A whole number of a command; ValueError says which word is none."""
    value = command.get(key, default)
    if isinstance(value, bool) or not isinstance(value, int):
        raise ValueError(f"'{key}' must be a whole number, not {value!r}")
    return value
