"""Rolls for tests: invented pictures, no waiting for the disk."""

import hashlib
import itertools
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from tethercap.film.kinds import FilmKind
from tethercap.roll.folder import FiledTake, Incoming, Roll, RollSetup, TakeOutcome
from tethercap.roll.names import FrameId
from tethercap.roll.results import Placed
from tethercap.roll.store import Disk

ACCEPTED = TakeOutcome(accepted=True)
NOT_ACCEPTED = TakeOutcome(accepted=False)


class HastyDisk(Disk):
    """The real disk, without waiting for it."""

    def sync(self, handle: int) -> None:
        """Do not wait."""

    def sync_folder(self, path: Path) -> None:
        """Do not wait."""


def ticking() -> Callable[[], datetime]:
    """A clock that goes on by a second whenever it is read."""
    seconds = itertools.count()
    return lambda: datetime(2031, 4, 5, 12, 0, tzinfo=UTC) + timedelta(seconds=next(seconds))


def plain_sidecar(properties: Mapping[str, object]) -> bytes:
    """A packet that holds the properties, one a line; not XMP, but the same for the same properties."""
    return "".join(f"{key}={value}\n" for key, value in sorted(properties.items())).encode()


def setup(**changes: object) -> RollSetup:
    """An invented roll."""
    fields: dict[str, object] = {
        "id": "X31-007",
        "film_kind": FilmKind.COLOUR_NEGATIVE,
        "film_format": "135-36x24",
        **changes,
    }
    return RollSetup(**fields)  # type: ignore[arg-type]


def create(path: Path, roll_setup: RollSetup | None = None, layer: Disk | None = None, **more: object) -> Roll:
    """Make a roll."""
    return Roll.create(
        path,
        roll_setup or setup(),
        sidecar=plain_sidecar,
        layer=layer or HastyDisk(),
        now=ticking(),
        **more,  # type: ignore[arg-type]
    )


def reopen(path: Path, layer: Disk | None = None) -> Roll:
    """Open a roll again."""
    return Roll.open(path, sidecar=plain_sidecar, layer=layer or HastyDisk(), now=ticking())


def picture(number: int) -> bytes:
    """Bytes that stand for a picture, different for each number."""
    return hashlib.sha256(str(number).encode()).digest() * 40


def receive(roll: Roll, frame_id: FrameId | str, number: int, suffix: str = ".dng") -> Incoming:
    """Let a picture arrive in three pieces."""
    content = picture(number)
    return roll.receive(frame_id, suffix, [content[:100], content[100:900], content[900:]], len(content))


def take(roll: Roll, frame_id: FrameId | str, number: int, outcome: TakeOutcome = ACCEPTED) -> FiledTake:
    """Let a picture arrive and file it."""
    return roll.file(receive(roll, frame_id, number), outcome)


def put_positive(
    roll: Roll, frame_id: str, number: int, content: bytes = b"a positive", proof: bytes | None = None, **told: Any
) -> Placed:
    """Put what stands for a positive, and for its proof, into the roll as a converter does."""
    is_second = bool(told.get("is_second"))
    place = FrameId.parse(frame_id).second if is_second else frame_id
    positive = roll.waiting_path(roll.positive_path(place, number))
    positive.write_bytes(content)
    small = None if proof is None else roll.waiting_path(roll.proof_path(place, number))
    if small is not None:
        small.write_bytes(proof or b"")
    sums = [hashlib.sha256(made or b"").hexdigest() for made in (content, proof)]
    return roll.put_positive(frame_id, number, positive, small, positive_sha256=sums[0], proof_sha256=sums[1], **told)
