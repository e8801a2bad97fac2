"""Asks the terminal what it can do, before the screen takes it over."""

import base64
import os
import select
import struct
import sys
import time
import uuid
from dataclasses import replace
from pathlib import Path

from tethercap.geometry import SizePx
from tethercap.tui.terminal_talents import LAST_ANSWER, Talents, questions, read_answers

SHARED_MEMORY = Path("/dev/shm")
_TIME_LIMIT_S = 0.4
"""A terminal over a slow line answers within this; one that answers nothing costs this once, at the start."""

_MUTE = ("dumb", "linux")
"""Terminals that would show the questions."""


def _is_inside_another() -> bool:
    """A program like tmux stands between: what runs around it is hidden, and what it passes on is not known."""
    return bool(os.environ.get("TMUX")) or os.environ.get("TERM", "").startswith(("screen", "tmux"))


def terminal_names() -> tuple[str, ...]:
    """What the environment calls the terminal."""
    if _is_inside_another():
        return ()
    return tuple(name for key in ("TERM_PROGRAM", "TERM") if (name := os.environ.get(key)))


def ask_terminal(time_limit_s: float = _TIME_LIMIT_S) -> Talents:
    """Ask, and wait for the answers no longer than the time limit; without a terminal nothing is asked.

    Keys pressed in this short time are lost.
    """
    if "TEXTUAL_DRIVER" in os.environ or os.environ.get("TERM") in _MUTE:
        return Talents()
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        return Talents()
    try:
        import termios
        import tty
    except ImportError:
        return Talents()
    source, target = sys.stdin.fileno(), sys.stderr.fileno()
    before = termios.tcgetattr(source)
    trial = _trial_memory()
    try:
        tty.setcbreak(source)
        name = base64.b64encode(f"/{trial.name}".encode()).decode() if trial is not None else None
        os.write(target, questions(name).encode())
        answers = _read_until_last(source, time_limit_s)
    except OSError:
        return Talents()
    finally:
        termios.tcsetattr(source, termios.TCSAFLUSH, before)
        if trial is not None:
            trial.unlink(missing_ok=True)
    talents = read_answers(answers, terminal_names=terminal_names())
    if _is_inside_another():
        talents = replace(talents, sixel=False)  # it would draw every live picture a second time, for its own memory
    return talents if talents.cell_px is not None else replace(talents, cell_px=_cell_by_the_line(target))


def _cell_by_the_line(terminal: int) -> SizePx | None:
    """Size of a cell as the line to the terminal knows it (TIOCGWINSZ), which many a terminal fills in."""
    import fcntl
    import termios

    rows, columns, width, height = struct.unpack("HHHH", fcntl.ioctl(terminal, termios.TIOCGWINSZ, bytes(8)))
    return SizePx(width // columns, height // rows) if columns and rows and width and height else None


def _trial_memory() -> Path | None:
    """Three bytes of shared memory: a terminal that can read them runs on this machine."""
    if not SHARED_MEMORY.is_dir():
        return None
    path = SHARED_MEMORY / f"tethercap-{uuid.uuid4().hex[:12]}"
    try:
        path.write_bytes(b"\0\0\0")
    except OSError:
        return None
    return path


def _read_until_last(source: int, time_limit_s: float) -> bytes:
    answers = b""
    give_up_s = time.monotonic() + time_limit_s
    while not LAST_ANSWER.search(answers):
        left_s = give_up_s - time.monotonic()
        if left_s <= 0 or not select.select([source], [], [], left_s)[0]:
            break
        piece = os.read(source, 4096)
        if not piece:
            break
        answers += piece
    return answers
