"""One camera, one tethercap: a lock file for each port and each serial number, held as long as the camera is.

The system lets go of the lock when the process that holds it ends, however it ends.
"""

import contextlib
import fcntl
import json
import os
import re
import tempfile
import time
from pathlib import Path
from typing import IO

from tethercap.errors import CameraInUseError

LOWEST_HANDLE = 10


def lock_folder() -> Path:
    """Return the user's folder for lock files, made if needed."""
    runtime = os.environ.get("XDG_RUNTIME_DIR")
    base = Path(runtime) if runtime and os.access(runtime, os.W_OK) else Path(tempfile.gettempdir())
    folder = base / f"tethercap-{os.getuid()}"
    folder.mkdir(mode=0o700, exist_ok=True)
    return folder


class CameraLock:
    """The claim on one camera.

    Parameters
    ----------
    what : str
        "port usb:001,004" or "serial 12345"; shown to whoever comes second.
    owner_pid : int
        Process that is told to the second one: the program, not its camera process.
    folder : Path, optional

    Raises
    ------
    CameraInUseError
        If another process holds it.
    """

    def __init__(self, what: str, owner_pid: int, folder: Path | None = None) -> None:
        name = re.sub(r"[^A-Za-z0-9.-]+", "_", what)
        path = (folder or lock_folder()) / f"{name}.lock"
        self._file: IO[str] | None = _open_high(path)
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            holder = _read_holder(self._file)
            self._file.close()
            self._file = None
            raise CameraInUseError(
                f"Another tethercap has this camera ({what}): {holder}.",
                safe="Nothing was sent to the camera.",
                todo="Close it there, or use another camera.",
            ) from None
        self._file.seek(0)
        self._file.truncate()
        json.dump({"pid": owner_pid, "since": time.time()}, self._file)
        self._file.flush()

    def release(self) -> None:
        """Let go; the file stays, since taking it away would let two claim it at once."""
        if self._file is not None:
            self._file.close()
            self._file = None


def _open_high(path: Path) -> IO[str]:
    # The driver closes file 0 each time it leaves a network camera, whosever it is (libgphoto2 2.5.33, ptpip.c: a
    # third socket that was never opened counts as 0). What must stay open stays away from low numbers.
    handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        return os.fdopen(fcntl.fcntl(handle, fcntl.F_DUPFD_CLOEXEC, LOWEST_HANDLE), "r+", encoding="utf-8")
    finally:
        os.close(handle)


def _read_holder(file: IO[str]) -> str:
    file.seek(0)
    with contextlib.suppress(ValueError, KeyError, TypeError):
        holder = json.load(file)
        since = time.strftime("%H:%M", time.localtime(float(holder["since"])))
        return f"process {int(holder['pid'])}, since {since}"
    return "which process is not known"
