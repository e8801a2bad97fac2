"""The bodies that can be simulated, one dialect a file."""

from __future__ import annotations

from mock_camera.bodies.common import Dialect
from mock_camera.bodies.om import BodyOM
from mock_camera.bodies.standard import StandardBody
from mock_camera.bodies.storage import StorageBody
from mock_camera.bodies.stream import StreamBody
from mock_camera.bodies.x0a import Body0A
from mock_camera.bodies.x0b import Body0B
from mock_camera.bodies.x0e import Body0E
from mock_camera.bodies.x1c import Body1C
from mock_camera.bodies.x11 import Body11

BODIES: dict[str, type[Dialect]] = {
    "standard": StandardBody,
    "stream": StreamBody,
    "0a": Body0A,
    "0b": Body0B,
    "0e": Body0E,
    "11": Body11,
    "1c": Body1C,
    "om": BodyOM,
}
"""Body id to dialect; the id of a family is the number of its vendor extension."""

ALL_BODIES = {**BODIES, "storage": StorageBody}
"""Also the body in the wrong mode, which cannot be fired."""
