"""A picture's way into the roll's folder: under a passing name, hashed on the way, on the disk at the end.

``raw/.ROLL_07.dng.a1b2c3d4.part`` while it arrives, ``....whole`` when every byte is on the disk. Both names lie in the
folder where the picture will stay, so that giving it its own name is one step that either happened or did not.
"""

import contextlib
import hashlib
import re
import secrets
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from tethercap.errors import RollError, RollNameError, UnreadablePictureError
from tethercap.roll.core import RollCore
from tethercap.roll.names import FrameId, check_suffix, parse_stem
from tethercap.roll.store import FileLayer

PART: Final = ".part"
WHOLE: Final = ".whole"
_SAFE = "The picture is still on the card; nothing that was filed is touched."
OnHere = Callable[[tuple[Path, Path]], None]
"""Told, before a picture is certain to be on the disk, that all of it can be read: by its first name or its second."""
_WAITING_NAME = re.compile(r"\.(?P<stem>[^/]+)(?P<suffix>\.[a-z0-9]{1,5})\.[0-9a-f]{8}(?P<state>\.part|\.whole)")


def part_path(folder: Path, stem: str, suffix: str) -> Path:
    """Give a fresh name for a picture that begins to arrive."""
    return folder / f".{stem}{suffix}.{secrets.token_hex(4)}{PART}"


@dataclass(frozen=True, slots=True)
class Leftover:
    """A picture left under its passing name by a run that was cut off."""

    path: Path
    stem: str
    suffix: str
    is_whole: bool
    frame_id: FrameId | None
    take: int


def leftovers(folder: Path, roll_id: str) -> list[Leftover]:
    """Pictures in `folder` that still have a passing name, sorted by name."""
    found = []
    for path in sorted(folder.iterdir()):
        match = _WAITING_NAME.fullmatch(path.name)
        if match is None or not path.is_file():
            continue
        frame_take = parse_stem(roll_id, match["stem"])
        with contextlib.suppress(RollNameError):
            suffix = check_suffix(match["suffix"])
            frame_id, take = frame_take or (None, 0)
            found.append(Leftover(path, match["stem"], suffix, match["state"] == WHOLE, frame_id, take))
    return found


def write_arriving(
    layer: FileLayer, path: Path, pieces: Iterable[bytes], expected_bytes: int | None, on_here: OnHere
) -> tuple[Path, str, int]:
    """Write pieces to `path` as they come and give the file its ``.whole`` name once all is on the disk.

    Parameters
    ----------
    path : Path
        From `part_path`.
    pieces : iterable of bytes
        Whatever it raises passes through; what had arrived stays under `path`.
    expected_bytes : int or None
        Size that the camera announced.
    on_here : callable
        See `OnHere`; must not raise.

    Returns
    -------
    path : Path
        Where the whole picture waits.
    sha256 : str
        Hex.
    size_bytes : int

    Raises
    ------
    UnreadablePictureError
        If the size is not the one announced, or nothing came.
    OSError
    """
    digest = hashlib.sha256()
    size_bytes = 0
    whole = path.with_suffix(WHOLE)
    handle = layer.open_new(path)
    try:
        for piece in pieces:
            layer.write(handle, piece)
            digest.update(piece)
            size_bytes += len(piece)
        _check_size(size_bytes, expected_bytes)
        on_here((path, whole))
        layer.sync(handle)
    finally:
        layer.close(handle)
    layer.rename_new(path, whole)
    layer.sync_folder(path.parent)
    return whole, digest.hexdigest(), size_bytes


def receive_into(
    core: RollCore, path: Path, pieces: Iterable[bytes], expected_bytes: int | None, on_here: OnHere
) -> tuple[Path, str, int]:
    """Do as `write_arriving`; if it fails, take the part away where the disk refused, else set it aside.

    A part on a full disk only stands in the way of the next attempt; the card has the whole picture.
    """
    try:
        return write_arriving(core.layer, path, pieces, expected_bytes, on_here)
    except OSError:
        with contextlib.suppress(OSError):
            core.layer.remove(path)
        raise
    except BaseException as error:
        with contextlib.suppress(RollError, OSError):
            core.move_aside(path, f"it did not arrive whole ({str(error) or type(error).__name__})")
        raise


def _check_size(size_bytes: int, expected_bytes: int | None) -> None:
    if size_bytes == 0 or (expected_bytes is not None and size_bytes != expected_bytes):
        announced = "" if expected_bytes is None else f" of the {expected_bytes} it announced"
        raise UnreadablePictureError(
            f"The camera sent {size_bytes} bytes{announced}.", safe=_SAFE, todo="Pull the picture again."
        )
