"""The far end of a pty that is a terminal with pixels: answers what it is asked, takes pictures in, presses keys."""

import base64
import fcntl
import os
import pty
import re
import select
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from tests.tui.sixel_reader import read_sixel
from tethercap.pictures import U8Array

_ASKED_ALL, _ASKED_CURSOR = b"\x1b[c", b"\x1b[6n"
_PICTURE = re.compile(rb"\x1b_Ga=T[^\x1b]*\x1b\\|\x1bP0;1q.*?\x1b\\", re.DOTALL)
SHARED = Path("/dev/shm")


class PixelTerminal:
    """Runs a Python program and is its terminal.

    Parameters
    ----------
    arguments : list of str
        Of Python.
    answers : bytes
        To the questions at the start.
    """

    def __init__(self, arguments: list[str], answers: bytes, *, columns: int = 100, rows: int = 36) -> None:
        self.pictures: list[U8Array] = []
        """Every picture that was shown, RGB."""
        self.seen = b""
        self._answers = answers
        self._ours, theirs = pty.openpty()
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, columns * 10, rows * 20))
        environment = {**os.environ, "TERM": "xterm-256color", "COLORTERM": "truecolor"}
        for name in ("NO_COLOR", "TEXTUAL_DRIVER", "TERM_PROGRAM", "TMUX"):
            environment.pop(name, None)
        command = [sys.executable, "-W", "ignore", *arguments]
        self.program = subprocess.Popen(
            command, stdin=theirs, stdout=theirs, stderr=theirs, env=environment, start_new_session=True
        )
        os.close(theirs)
        self._done = 0

    def work(self, until: Callable[[], bool], *, limit_s: float = 40.0) -> None:
        """Be a terminal until something holds, or the program ended.

        Raises
        ------
        AssertionError
            If it does not come to hold in time.
        """
        give_up_s = time.monotonic() + limit_s
        while not until():
            assert time.monotonic() < give_up_s, f"it did not come; {len(self.pictures)} pictures were shown"
            if not select.select([self._ours], [], [], 0.05)[0]:
                if self.program.poll() is not None:
                    return
                continue
            try:
                piece = os.read(self._ours, 65536)
            except OSError:
                return
            self._answer(piece)
            self.seen += piece
            self._take_pictures()

    def shows_wide(self, width_px: int) -> bool:
        """The last picture is wider than that: the screen has found its size."""
        return bool(self.pictures) and self.pictures[-1].shape[1] > width_px

    def _answer(self, piece: bytes) -> None:
        both = self.seen[-3:] + piece
        if _ASKED_ALL in both and _ASKED_ALL not in self.seen:
            os.write(self._ours, self._answers)
        for _ in range(both.count(_ASKED_CURSOR) - self.seen[-3:].count(_ASKED_CURSOR)):
            os.write(self._ours, b"\x1b[1;1R")

    def _take_pictures(self) -> None:
        while match := _PICTURE.search(self.seen, self._done):
            self._done = match.end()
            text = match.group(0)
            self.pictures.append(
                self._shared(text) if text.startswith(b"\x1b_G") else read_sixel(text.decode("ascii"))[0]
            )

    def _shared(self, command: bytes) -> U8Array:
        """Take a picture out of shared memory, as the protocol wants it."""
        listed, _, name = command[3:-2].decode().partition(";")
        keys = dict(pair.split("=") for pair in listed.split(","))
        assert keys["t"] == "s"
        path = SHARED / base64.b64decode(name).decode().lstrip("/")
        pixels = np.frombuffer(path.read_bytes(), np.uint8)
        path.unlink()
        return np.asarray(pixels.reshape(int(keys["v"]), int(keys["s"]), 3), dtype=np.uint8)

    def press(self, key: str) -> None:
        """Press a key."""
        os.write(self._ours, key.encode())

    def close(self) -> None:
        """End the program."""
        if self.program.poll() is None:
            self.program.kill()
        self.program.wait()
        os.close(self._ours)
