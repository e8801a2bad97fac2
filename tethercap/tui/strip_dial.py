"""Saying how a strip lies, with four keys; pure, the asking row shows it."""

from dataclasses import dataclass
from typing import Literal

_ENDS = {1: "rise", -1: "fall"}
_SIDES = {False: "the right way", True: "mirrored"}


@dataclass(slots=True)
class StripDial:
    """How the numbers of a strip run, and which side of it lies up."""

    numbers_run: Literal[1, -1]
    mirrored: bool
    on_side: bool = False
    """The keys turn which side is up; otherwise how the numbers run."""

    def text(self) -> str:
        """The row, what the keys turn between brackets."""
        numbers, side = f"numbers {_ENDS[self.numbers_run]}", f"film {_SIDES[self.mirrored]}"
        return f"This strip:  {numbers}  [{side}]" if self.on_side else f"This strip:  [{numbers}]  {side}"

    def press(self, key: str) -> bool:
        """Take a key; True where it ends the turning and is meant."""
        if key in ("left", "right"):
            self.on_side = not self.on_side
        elif key in ("up", "down", "space"):
            if self.on_side:
                self.mirrored = not self.mirrored
            else:
                self.numbers_run = -1 if self.numbers_run == 1 else 1
        return key == "enter"
