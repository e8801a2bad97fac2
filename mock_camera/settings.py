"""The settings of the body in brand-free words, with the values each may take."""

from __future__ import annotations

import math
import threading
from collections.abc import Mapping

from mock_camera.sensor import Exposure

Setting = int | float | str


def _shutter_times_s() -> tuple[float, ...]:
    slow = (30, 25, 20, 15, 13, 10, 8, 6, 5, 4, 3.2, 2.5, 2, 1.6, 1.3, 1, 0.8, 0.6, 0.5, 0.4, 0.3)
    parts = (4, 5, 6, 8, 10, 13, 15, 20, 25, 30, 40, 50, 60, 80, 100, 125, 160, 200, 250, 320)
    fast = (400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200, 4000)
    return tuple(float(t) for t in slow) + tuple(1 / p for p in parts + fast)


TIMES_S = _shutter_times_s()
"""Shutter times in the usual third-of-a-stop series (common practice), 30 s to 1/4000 s."""
F_NUMBERS = (2.8, 3.2, 3.5, 4.0, 4.5, 5.0, 5.6, 6.3, 7.1, 8.0, 9.0, 10.0, 11.0, 13.0, 14.0, 16.0, 18.0, 20.0, 22.0)
"""Apertures of an invented macro lens, thirds of a stop."""
ISOS = (100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200, 4000, 5000, 6400)
"""Sensitivities, thirds of a stop."""
QUALITIES = ("raw", "raw+jpeg", "jpeg")
BIASES_EV = tuple(n / 3 for n in range(-9, 10))

CHOICES: dict[str, tuple[Setting, ...]] = {
    "time_s": TIMES_S,
    "f_number": F_NUMBERS,
    "iso": ISOS,
    "quality": QUALITIES,
    "bias_ev": BIASES_EV,
    "program": ("manual", "program", "aperture", "shutter"),
    "focus": ("manual", "auto"),
    "drive": ("single", "burst"),
    "white_balance": ("auto", "daylight", "tungsten", "flash"),
    "target": ("card", "ram", "both"),
}


class Settings:
    """Current settings; safe to use from several threads.

    Parameters
    ----------
    changes : mapping, optional
        Settings that differ from the start values.
    """

    def __init__(self, changes: Mapping[str, Setting] | None = None) -> None:
        self._lock = threading.Lock()
        self._now: dict[str, Setting] = {
            "time_s": 1 / 60,
            "f_number": 8.0,
            "iso": 100,
            "quality": "raw",
            "bias_ev": 0.0,
            "program": "manual",
            "focus": "manual",
            "drive": "single",
            "white_balance": "daylight",
            "target": "card",
        }
        for name, content in (changes or {}).items():
            self.put(name, content)

    def get(self, name: str) -> Setting:
        """Return the current value of a setting."""
        with self._lock:
            return self._now[name]

    def put(self, name: str, content: Setting) -> None:
        """Change a setting.

        Raises
        ------
        KeyError
            If there is no such setting.
        ValueError
            If it cannot take that value.
        """
        if content not in CHOICES[name]:
            raise ValueError(f"{name} cannot be {content!r}")
        with self._lock:
            self._now[name] = content

    def nearest(self, name: str, number: float) -> Setting:
        """Return the allowed value of a numeric setting that lies nearest, in stops where it has stops."""
        numbers = [n for n in CHOICES[name] if isinstance(n, int | float)]
        if number > 0 and min(numbers) > 0:
            return min(numbers, key=lambda n: abs(math.log(n / number)))
        return min(numbers, key=lambda n: abs(n - number))

    def exposure(self) -> Exposure:
        """Return time, aperture and sensitivity together."""
        with self._lock:
            return Exposure(float(self._now["time_s"]), float(self._now["f_number"]), int(self._now["iso"]))
