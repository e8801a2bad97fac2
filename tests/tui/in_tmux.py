"""The real program in a real terminal: tmux runs it, keys go in, the screen is read as a person would."""

import os
import shlex
import shutil
import subprocess
import sys
import tempfile
import time
import uuid
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType


def why_no_tmux() -> str:
    """Why tmux cannot be used here; nothing where it can."""
    return "" if shutil.which("tmux") else "tmux is not installed"


class TmuxRun:
    """A program in a tmux of its own, ended with the block.

    Parameters
    ----------
    arguments : sequence of str
        Of Python.
    size : tuple of int
        Columns and rows.
    """

    def __init__(self, arguments: Sequence[str], *, size: tuple[int, int] = (120, 40)) -> None:
        self._socket = f"tethercap-{uuid.uuid4().hex[:10]}"
        environment = {**os.environ, "COLORTERM": "truecolor", "LC_ALL": "C.UTF-8"}
        for name in ("TMUX", "NO_COLOR", "TEXTUAL_DRIVER"):
            environment.pop(name, None)
        self._folder = tempfile.TemporaryDirectory()
        # tmux does not always know with which code a program ended, so the shell writes it down.
        self._exit_file = Path(self._folder.name) / "exit"
        command = f"{shlex.join([sys.executable, *arguments])}; echo $? > {shlex.quote(str(self._exit_file))}"
        columns, rows = map(str, size)
        self._tmux("-f", os.devnull, "new-session", "-d", "-x", columns, "-y", rows, command, environment=environment)
        self._tmux("set", "-g", "remain-on-exit", "on")
        self._tmux("set", "-g", "status", "off")

    def _tmux(self, *words: str, environment: dict[str, str] | None = None) -> str:
        done = subprocess.run(
            ["tmux", "-L", self._socket, *words],
            capture_output=True, text=True, env=environment, check=False, timeout=20,
        )  # fmt: skip
        return done.stdout

    def press(self, *keys: str) -> None:
        """Press keys, by tmux's names."""
        self._tmux("send-keys", *keys)

    def resize(self, columns: int, rows: int) -> None:
        """Give the terminal another size."""
        self._tmux("resize-window", "-x", str(columns), "-y", str(rows))

    def text(self) -> str:
        """What the screen shows, without colours."""
        return self._tmux("capture-pane", "-p")

    def drawn(self) -> str:
        """What the screen shows, with colours as escape text."""
        return self._tmux("capture-pane", "-p", "-e", "-N")

    def has_ended(self) -> bool:
        """The program is over."""
        return self.exit_code() is not None

    def exit_code(self) -> int | None:
        """Its exit code, once it is over."""
        told = self._exit_file.read_text().strip() if self._exit_file.exists() else ""
        return int(told) if told else None

    def wait_for(self, text: str, limit_s: float = 30.0) -> str:
        """Wait until the screen shows a text; give the screen back.

        Raises
        ------
        AssertionError
            With the screen, if it does not come.
        """
        give_up_s = time.monotonic() + limit_s
        while text not in (shown := self.text()):
            assert time.monotonic() < give_up_s, f"{text!r} did not come:\n{shown}"
            time.sleep(0.05)
        return shown

    def close(self) -> None:
        """End the program and its tmux."""
        self._tmux("kill-server")
        self._folder.cleanup()

    def __enter__(self) -> "TmuxRun":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
