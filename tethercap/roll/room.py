"""Room on the disk, told before the shot."""

import shutil
from dataclasses import dataclass
from pathlib import Path

from tethercap.roll.store import disk_troubles

_KEPT_FREE_BYTES = 200 << 20
"""Room that is not counted on: sidecars, proofs, the record, and other programs."""


@dataclass(frozen=True, slots=True)
class Room:
    """How many pictures still fit."""

    free_bytes: int
    picture_bytes: int
    """Room that one frame takes, with what is made from it."""
    frames_wanted: int

    @property
    def frames_that_fit(self) -> int:
        """Number of frames that still fit."""
        return max(0, self.free_bytes - _KEPT_FREE_BYTES) // max(1, self.picture_bytes)

    @property
    def is_enough(self) -> bool:
        """All frames wanted fit."""
        return self.frames_that_fit >= self.frames_wanted

    @property
    def sentence(self) -> str:
        """Warning fit to be shown; empty where there is room enough."""
        if self.is_enough:
            return ""
        free = f"{self.free_bytes / 1e9:.1f} GB free"
        if self.frames_that_fit == 0:
            return f"The disk is as good as full ({free}): make room before the next shot."
        return f"The disk has room for {self.frames_that_fit} of {self.frames_wanted} more frames ({free})."


def look_at_room(folder: Path, raw_bytes: int, frames_wanted: int, *, result_bytes: int = 0) -> Room:
    """Look how many frames still fit on the disk that holds `folder`.

    Parameters
    ----------
    raw_bytes : int
        Size of one RAW.
    frames_wanted : int
        Frames still to be taken.
    result_bytes : int
        Size of what is made from one.

    Raises
    ------
    StorageError
    """
    with disk_troubles("looking at the room on the disk", safe="Nothing was changed."):
        return Room(shutil.disk_usage(folder).free, raw_bytes + result_bytes, frames_wanted)
