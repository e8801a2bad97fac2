"""The process that holds the driver: one thread, one loop, commands first.

It is started by `tethercap.camera.child` and ends by itself when the program that started it is gone: the pipe of
commands closes then, live view is ended and the session closed. SIGTERM does the same. A driver call that does not
return is ended by the watchdog, and the process with it.
"""

import contextlib
import logging
import os
import shutil
import signal
import sys
from pathlib import Path
from types import FrameType
from typing import IO

from tethercap.camera.protocol import ProcessSetup

PRIVATE_SETTINGS = """\
libgphoto=cached-images=6
ptp2=capturetarget=card
ptp2=autofocus=off
ptp2=normal_timeout=6000
ptp2=cachetime=0
"""
"""The driver keeps these in one file per user and applies them to any camera of any program; we keep our own."""
LARGEST_LOG_BYTES = 1_000_000


def run_process(setup: ProcessSetup) -> None:
    """Hold the driver until the program closes the pipe; the body of the spawned process."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGHUP, signal.SIG_IGN)
    log = _redirect_stderr(setup.log_path)
    _set_environment(setup.home)
    # Only now: importing the driver reads the environment.
    from tethercap.camera.owner import CameraOwner

    stopping = [False]

    def on_term(_number: int, _frame: FrameType | None) -> None:
        stopping[0] = True

    signal.signal(signal.SIGTERM, on_term)
    owner = CameraOwner(setup, log)
    try:
        while not stopping[0] and owner.turn():
            pass
    finally:
        owner.close()
        # The program takes it away too, but it may be gone by now.
        shutil.rmtree(setup.home, ignore_errors=True)


def _redirect_stderr(path: Path | None) -> IO[str]:
    # The driver writes to stderr on its own account, which would tear the screen.
    target = os.devnull if path is None else str(path)
    with contextlib.suppress(OSError):
        if path is not None and path.exists() and path.stat().st_size > LARGEST_LOG_BYTES:
            path.write_bytes(b"")
    try:
        handle = os.open(target, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
    except OSError:
        handle = os.open(os.devnull, os.O_WRONLY)
    # Nor may it write into, or keep open, what the program's own output goes to.
    os.dup2(handle, 1)
    os.dup2(handle, 2)
    os.close(handle)
    sys.stderr = os.fdopen(2, "w", buffering=1, closefd=False, errors="backslashreplace")
    logging.basicConfig(stream=sys.stderr, level=logging.INFO, format="%(asctime)s %(process)d %(message)s")
    logging.info("camera process started")
    return sys.stderr


def _set_environment(home: Path) -> None:
    # The driver up to 2.5.33 keeps its settings in the home folder, later ones in the configuration folder. It reads
    # them anew whenever a camera is opened again.
    for folder in (home / ".gphoto", home / "gphoto"):
        folder.mkdir(parents=True)
        (folder / "settings").write_text(PRIVATE_SETTINGS, encoding="ascii")
    os.environ["HOME"] = os.environ["XDG_CONFIG_HOME"] = str(home)
    os.environ["LC_ALL"] = "C"
    os.environ.pop("LANGUAGE", None)
