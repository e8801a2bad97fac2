"""What the body needs from whatever stands in front of its lens."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

from mock_camera.sensor import Exposure


class PictureLike(Protocol):
    """What the rig hands back for an exposure."""

    @property
    def dng(self) -> bytes:
        """The raw file."""

    @property
    def jpeg(self) -> bytes:
        """The body's own JPEG."""

    @property
    def thumb(self) -> bytes:
        """A small JPEG."""

    @property
    def width_px(self) -> int:
        """Width of the picture."""

    @property
    def height_px(self) -> int:
        """Height of the picture."""

    @property
    def truth(self) -> Mapping[str, object]:
        """Where the film really lay."""


class RigLike(Protocol):
    """What stands in front of the lens."""

    def live_view_jpeg(self, exposure: Exposure, width_px: int = ..., height_px: int = ...) -> bytes:
        """Return one live-view picture of this moment."""

    def expose(self, exposure: Exposure, opened_at_s: float) -> PictureLike:
        """Return the picture of an exposure that has ended."""

    def control(self, command: Mapping[str, object]) -> dict[str, object]:
        """Carry out a command for the film side."""

    def close(self) -> None:
        """Let go of everything."""
