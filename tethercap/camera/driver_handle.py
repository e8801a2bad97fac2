"""The program's end of the camera process: starts it, speaks to it with deadlines, ends it.

The driver is C that may hang or take its process down. So this side never waits without a deadline, notices when the
process ends, and says what it was doing.
"""

import contextlib
import itertools
import multiprocessing
import os
import shutil
import tempfile
import time
from multiprocessing.connection import wait
from multiprocessing.context import SpawnProcess
from pathlib import Path
from typing import Any

from tethercap.camera.driver_process import run_process
from tethercap.camera.live_board import LiveBoard, make_shared
from tethercap.camera.protocol import DEADLINES_S, ProcessSetup, Reply, Request, Verb
from tethercap.errors import CameraError, CameraSilentError, DriverDiedError

GRACE_S = 3.0
"""How long the process may take to end live view and leave before it is killed."""
OVERRUN_GRACE_S = 5.0
"""How much longer than a driver call's own deadline this side waits before it ends the process itself."""
LOG_NAME = "camera.log"


HOME_PREFIX = "tethercap-driver-"
"""Of a camera process's private folder; the number of the program that made it follows."""


def sweep_homes() -> None:
    """Take away private folders whose program and camera process were both killed before they could."""
    for folder in Path(tempfile.gettempdir()).glob(f"{HOME_PREFIX}*-*"):
        pid = folder.name.removeprefix(HOME_PREFIX).partition("-")[0]
        if not pid.isdigit() or int(pid) == os.getpid():
            continue
        try:
            os.kill(int(pid), 0)
        except ProcessLookupError:
            shutil.rmtree(folder, ignore_errors=True)
        except (OSError, OverflowError):
            continue  # it lives, as another user's


class DriverProcess:
    """The process and its pipes; knows nothing of cameras.

    Parameters
    ----------
    log_dir : Path or None
        Where the driver's own noise goes; nowhere if None.
    first_sequence : int
        Number of the first live picture.
    """

    def __init__(self, log_dir: Path | None, first_sequence: int = 0) -> None:
        context = multiprocessing.get_context("spawn")
        self.commands, its_commands = context.Pipe()
        self.events, its_events = context.Pipe(duplex=False)
        self.bell, its_bell = context.Pipe(duplex=False)
        shared = make_shared(context)
        self.board = LiveBoard(shared)
        self.board.clear()
        log_path = log_dir / LOG_NAME if log_dir is not None else None
        sweep_homes()
        self._home = tempfile.TemporaryDirectory(prefix=f"{HOME_PREFIX}{os.getpid()}-", ignore_cleanup_errors=True)
        home = Path(self._home.name)
        setup = ProcessSetup(its_commands, its_events, its_bell, shared, log_path, os.getpid(), home, first_sequence)
        self.process: SpawnProcess = context.Process(
            target=run_process, args=(setup,), name="tethercap-camera", daemon=True
        )
        self.process.start()
        for end in (its_commands, its_events, its_bell):
            end.close()
        os.set_blocking(self.bell.fileno(), False)
        self._numbers = itertools.count(1)

    def send(self, verb: Verb, *arguments: Any, number: int = 0) -> None:
        """Send a command that wants no answer, or the answer `number`.

        Raises
        ------
        DriverDiedError
        """
        try:
            self.commands.send(Request(number, verb, arguments))
        except OSError:
            raise self.death() from None

    def call(self, verb: Verb, *arguments: Any, deadline_s: float | None = None) -> Any:
        """Send a command and return its answer.

        Raises
        ------
        CameraError
            What the camera process answered; `CameraSilentError` if it did not, after which it is ended.
        """
        number = next(self._numbers)
        self.send(verb, *arguments, number=number)
        limit_s = DEADLINES_S[verb] if deadline_s is None else deadline_s
        until_s = time.monotonic() + limit_s
        while True:
            ready = wait([self.commands, self.process.sentinel], max(0.0, until_s - time.monotonic()))
            if self.commands in ready:
                reply = self._receive()
                if reply.number != number:
                    continue
                if reply.error is not None:
                    raise reply.error
                return reply.value
            if ready:
                raise self.death()
            raise self.overrun(verb.value, limit_s)

    def _receive(self) -> Reply:
        try:
            reply: Reply = self.commands.recv()
        except (EOFError, OSError):
            raise self.death() from None
        return reply

    @property
    def alive(self) -> bool:
        """Whether the process runs."""
        return self.process.is_alive()

    def overrunning(self) -> str:
        """Return the driver call that is long past its deadline, empty if there is none."""
        doing = self.board.doing()
        return doing[0] if doing is not None and time.monotonic() > doing[2] + OVERRUN_GRACE_S else ""

    def overrun(self, doing: str, limit_s: float) -> CameraSilentError:
        """End a process that does not answer; return the error to raise."""
        self.kill()
        return CameraSilentError(
            f"Could not {doing}: the camera did not answer within {limit_s:.0f} s, so the driver was ended.",
            safe="Pictures already taken are on the camera's card.",
            todo="Switch the camera off and on if it does not come back by itself.",
        )

    def death(self) -> CameraError:
        """Return the error that tells how the process ended."""
        doing = self.board.doing()
        self.process.join(GRACE_S)
        if doing is not None and time.monotonic() >= doing[2]:
            return self.overrun(doing[0], doing[2] - doing[1])
        what = f" while it tried to {doing[0]}" if doing is not None else ""
        return DriverDiedError(
            f"The camera's driver ended{what} (exit {self.process.exitcode}).",
            safe="Pictures already taken are on the camera's card; nothing filed was touched.",
            todo="It is started anew; if this comes again, run `tethercap doctor`.",
        )

    def kill(self) -> None:
        """End the process at once."""
        self.process.kill()
        self.process.join()

    def end(self) -> None:
        """Ask the process to leave, and see that it does."""
        if self.alive:
            with contextlib.suppress(CameraError):
                self.call(Verb.CLOSE)
        self.commands.close()
        self.process.join(GRACE_S)
        if self.alive:
            self.kill()
        for end in (self.events, self.bell):
            end.close()
        self.process.close()
        self.board.release()
        self._home.cleanup()
