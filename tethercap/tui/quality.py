"""How good a picture the terminal can keep up with: down a step on lag, up again when there is room. Pure."""

from dataclasses import dataclass
from typing import NamedTuple

from tethercap.tui.cells import Depth


class Step(NamedTuple):
    """One rung of the ladder."""

    depth: Depth
    frames_per_s: float
    coarse: int = 1
    """Where the way has pixels: so many of them are drawn as one, each way."""


@dataclass(slots=True)
class QualityLadder:
    """Chooses colours and rate from how long the terminal takes to show a picture.

    Parameters
    ----------
    best : Depth
        The finest the terminal or the person allows.
    sizes : tuple of int
        Where the picture is made of pixels: how coarse it may be, finest first. Then pixels are given up, not colours.
    """

    best: Depth = Depth.BITS_15
    sizes: tuple[int, ...] = ()
    fastest_per_s: float = 30.0
    """Highest rate of pictures that is wanted."""
    slow_s: float = 0.080
    """Longer than two live pictures and some: the terminal falls behind, and the hand begins to feel it."""
    quick_s: float = 0.035
    """About one live picture: there is room for a finer one."""
    slow_to_step: int = 8
    """Slow pictures in a row before a step down: a quarter of a second, so that one hiccup costs nothing."""
    quick_to_step: int = 150
    """Quick pictures in a row before a step up; doubled after each step down, so that it does not swing."""
    rung: int = 0
    _slow: int = 0
    _quick: int = 0

    @property
    def steps(self) -> tuple[Step, ...]:
        """The rungs, best first."""
        rates = [rate for rate in (15.0, 8.0) if rate < self.fastest_per_s]
        if self.sizes:
            fine = [Step(self.best, self.fastest_per_s, size) for size in self.sizes]
            return (*fine, *(Step(self.best, rate, self.sizes[-1]) for rate in rates))
        depths = [depth for depth in (Depth.BITS_24, Depth.BITS_15, Depth.PALETTE) if depth <= self.best] or [
            Depth.NONE
        ]
        return (*(Step(depth, self.fastest_per_s) for depth in depths), *(Step(depths[-1], rate) for rate in rates))

    @property
    def step(self) -> Step:
        """Where the ladder stands."""
        return self.steps[min(self.rung, len(self.steps) - 1)]

    def shown_after(self, seconds: float) -> bool:
        """Take in how long one picture took to be shown; return True where the step changed."""
        before = self.rung
        self._slow = self._slow + 1 if seconds > self.slow_s else 0
        self._quick = self._quick + 1 if seconds < self.quick_s else 0
        if self._slow >= self.slow_to_step and self.rung < len(self.steps) - 1:
            self.rung += 1
            self._slow = self._quick = 0
            self.quick_to_step *= 2
        elif self._quick >= self.quick_to_step and self.rung > 0:
            self.rung -= 1
            self._slow = self._quick = 0
        return self.rung != before
