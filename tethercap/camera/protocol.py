"""What goes through the pipes between the program and the camera process.

Three pipes, each with one writer and one kind of message::

    commands   program -> process   Request; process -> program   Reply, one per request that wants one
    events     process -> program   CameraEvent, Piece, AbilitiesChanged
    bell       process -> program   one byte per live picture, dropped when nobody listens

The program's death closes the commands, and the process ends by itself.
"""

import time
from dataclasses import dataclass, field
from enum import StrEnum
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from tethercap.camera.base import CameraAbilities, CameraFile, CameraIdentity
from tethercap.errors import TethercapError


class Verb(StrEnum):
    """What the program asks of the camera process."""

    OPEN = "open the camera"
    FIND = "look for cameras"
    SETTINGS = "read the settings"
    CHANGE = "change a setting"
    START_LIVE = "start live view"
    STOP_LIVE = "stop live view"
    FIRE = "take the picture"
    PULL = "pull a file"
    MORE = "go on pulling"
    END_PULL = "stop pulling"
    PING = "reach the camera"
    RECOVER = "get the camera back"
    WIDGETS = "read the whole configuration"
    CLOSE = "close the camera"


DEADLINES_S: dict[Verb, float] = {
    # The driver itself waits up to 20 s on USB while it opens a sleeping body, and a busy claim is tried three times.
    Verb.OPEN: 60.0,
    Verb.FIND: 20.0,
    Verb.SETTINGS: 30.0,
    # Some bodies are stepped one notch at a time by the driver, up to a hundred.
    Verb.CHANGE: 45.0,
    Verb.START_LIVE: 20.0,
    Verb.STOP_LIVE: 10.0,
    # To this comes the exposure itself.
    Verb.FIRE: 15.0,
    Verb.PULL: 20.0,
    Verb.PING: 10.0,
    Verb.RECOVER: 60.0,
    Verb.WIDGETS: 60.0,
    Verb.CLOSE: 3.0,
}
"""How long the program waits for a reply before it ends the process, s."""

PIECE_DEADLINE_S = 20.0
"""How long the next piece of a file may take, s; a file that only comes whole has its own by size."""
SLOWEST_TRANSFER_BYTES_S = 500_000
"""The slowest link worth waiting for: a file that only comes whole may take its size over this, bytes/s."""


@dataclass(frozen=True, slots=True)
class Request:
    """One command; `number` comes back in the reply, 0 wants none."""

    number: int
    verb: Verb
    arguments: tuple[Any, ...] = ()


@dataclass(frozen=True, slots=True)
class Reply:
    """The answer to a request: a value, or the error to raise."""

    number: int
    value: Any = None
    error: TethercapError | None = None


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of a file stands in shared memory, or the pull ended."""

    pull: int
    slot: int = 0
    length: int = 0
    last: bool = False
    error: TethercapError | None = None


@dataclass(frozen=True, slots=True)
class AbilitiesChanged:
    """The camera turned out to be able to do more or less than it seemed."""

    abilities: CameraAbilities


@dataclass(frozen=True, slots=True)
class Opened:
    """A camera was opened."""

    identity: CameraIdentity
    abilities: CameraAbilities
    driver_version: str


@dataclass(slots=True)
class CardMemory:
    """What is known of the pictures on one body's card. It outlives the camera process.

    Attributes
    ----------
    known : set of (str, str)
        Folder and name of every picture announced so far.
    last : CameraFile or None
        The one announced last.
    awaited_since_s : float or None
        Time of the release whose picture is missing, s since the epoch; None if none is missing.
    """

    known: set[tuple[str, str]] = field(default_factory=set)
    last: CameraFile | None = None
    awaited_since_s: float | None = None

    def note(self, file: CameraFile) -> None:
        """A picture was announced."""
        self.known.add((file.folder, file.name))
        self.last, self.awaited_since_s = file, None

    def await_shot(self) -> None:
        """A release is about to be sent."""
        self.awaited_since_s = time.time()

    def forget_shot(self) -> None:
        """The release did not happen, or its pictures are all there."""
        self.awaited_since_s = None


@dataclass(frozen=True, slots=True)
class OpenWish:
    """Which camera to open, and how."""

    port: str | None = None
    serial: str | None = None
    memory: CardMemory | None = None
    """What is known of its card, if the body was open before: what it has to tell is told then, not skipped."""
    gaps_s: dict[str, float] = field(default_factory=dict)
    """Shortest time between two shots for models that were busy once, s."""


@dataclass(frozen=True)
class ProcessSetup:
    """What the camera process is started with."""

    commands: Connection
    events: Connection
    bell: Connection
    shared: Any
    log_path: Path | None
    parent_pid: int
    home: Path
    """Private folder for the driver's settings, made and taken away by the program."""
    first_sequence: int = 0
    """Number of the first live picture, so that numbers go on after a restart."""
