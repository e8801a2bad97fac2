"""Ends the camera process when a driver call does not return.

The timer is a thread of the interpreter's fault handler, written in C: it strikes even when the driver call holds the
interpreter's lock, and when the program that started the process is long dead.
"""

import faulthandler
import time
from typing import IO

from tethercap.camera.live_board import LiveBoard


class Watchdog:
    """Guards driver calls, one at a time.

    Parameters
    ----------
    board : LiveBoard
        Where the program can see which call is under way.
    log : file
        Gets the stack of a call that did not return.
    """

    def __init__(self, board: LiveBoard, log: IO[str]) -> None:
        self._board = board
        self._log = log

    def start(self, doing: str, deadline_s: float) -> None:
        """Let a call begin that must return within `deadline_s`."""
        now_s = time.monotonic()
        self._board.busy(doing, now_s, now_s + deadline_s)
        faulthandler.dump_traceback_later(deadline_s, exit=True, file=self._log)

    def stop(self) -> None:
        """Note that the call returned."""
        faulthandler.cancel_dump_traceback_later()
        self._board.idle()
