"""The bodies that can be simulated, one dialect a file."""

from __future__ import annotations

from mock_camera.bodies.common import Dialect
from mock_camera.bodies.standard import StandardBody
from mock_camera.bodies.x0a import Body0A

BODIES: dict[str, type[Dialect]] = {
    "standard": StandardBody,
    "0a": Body0A,
}
"""Body id to dialect; the id of a family is the number of its vendor extension."""
