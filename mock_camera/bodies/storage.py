"""A body in the wrong USB mode: it shows its card and cannot be fired, as many do until a menu is changed."""

from __future__ import annotations

from mock_camera.bodies.common import Dialect


class StorageBody(Dialect):
    """The common operations and no more."""

    model = "Copy Body U"
