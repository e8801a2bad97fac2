"""One writer a roll: a lock that the system takes back when its holder dies, and a line that says who holds it."""

import contextlib
import errno
import fcntl
import os
import socket
from datetime import datetime
from pathlib import Path
from typing import Final

import msgspec

from tethercap.errors import RollInUseError
from tethercap.roll.store import disk_troubles

FILE_NAME: Final = ".lock"

_CANNOT_LOCK = frozenset({errno.ENOLCK, errno.ENOSYS, errno.EOPNOTSUPP, errno.EINVAL})


class Holder(msgspec.Struct, frozen=True, kw_only=True):
    """Who writes to a roll."""

    host: str
    process: int
    since: str
    """Local time, ISO 8601."""

    def __str__(self) -> str:
        return f"process {self.process} on {self.host}, since {self.since}"


class RollLock:
    """Held from the moment it is made until `release` or the end of the process.

    Where a network disk knows no locks, the roll is used without one.

    Raises
    ------
    RollInUseError
        If another process has it; who, as far as known.
    StorageError
        If the folder may not be written to.
    """

    def __init__(self, folder: Path, now: datetime) -> None:
        self._path = folder / FILE_NAME
        with disk_troubles(f"opening the roll {folder.name}", safe="Nothing was changed."):
            self._handle = _take(self._path)
            holder = Holder(host=socket.gethostname(), process=os.getpid(), since=now.isoformat(timespec="seconds"))
            os.ftruncate(self._handle, 0)
            os.pwrite(self._handle, msgspec.json.encode(holder) + b"\n", 0)

    def release(self) -> None:
        """Let others have the roll; safe to call twice."""
        if self._handle >= 0:
            handle, self._handle = self._handle, -1
            with contextlib.suppress(OSError):
                self._path.unlink()
            os.close(handle)


def _take(path: Path) -> int:
    while True:
        handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o666)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            holder = _read_holder(handle)
            if error.errno in _CANNOT_LOCK:
                return handle
            os.close(handle)
            if error.errno not in {errno.EWOULDBLOCK, errno.EACCES}:
                raise
            raise RollInUseError(
                f"The roll {path.parent.name} is in use by {holder or 'another process'}.",
                safe="Nothing was changed.",
                todo="End that one first.",
            ) from None
        # The holder before may have taken the file away between our opening and our locking it.
        with contextlib.suppress(FileNotFoundError):
            if os.path.samestat(os.fstat(handle), path.stat()):
                return handle
        os.close(handle)


def _read_holder(handle: int) -> Holder | None:
    try:
        return msgspec.json.decode(os.pread(handle, 4096, 0), type=Holder)
    except (OSError, msgspec.MsgspecError):
        return None
