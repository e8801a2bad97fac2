"""What the live picture in a terminal costs, against the usual way of one Style a cell, in the same run.

    python -m tests.bench.bench_screen --seconds 6 [--slow] [--tmux]

The app runs in a pty whose other end reads at full speed, or at 1 MB/s, and answers cursor reports once it has read up
to them, as a terminal does; or in tmux, keys going in by its `send-keys`. Printed: pictures a second, CPU of the whole
app, all threads (percent of one core, drawing and figures included), time from a picture handed over until the terminal
has shown it, and time from a key until its action, half and 95 % of cases. A busy machine makes all of them worse; the
ratios are what counts.
"""

import argparse
import fcntl
import json
import os
import pty
import select
import struct
import subprocess
import sys
import tempfile
import termios
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.tui.in_tmux import TmuxRun

SIZES = ((120, 40), (200, 60))
_ASK = b"\x1b[6n"
_KEY_EVERY_S = 0.11


@dataclass
class Measured:
    """Figures of one run."""

    way: str
    size: tuple[int, int]
    bytes_per_s: float | None
    figures: dict[str, object]
    keys_ms: list[float]
    megabytes_per_s: float
    terminal: str = ""

    def row(self) -> str:
        line = self.terminal or "unlimited" if self.bytes_per_s is None else f"{self.bytes_per_s / 1e6:g} MB/s"
        half, most = (np.percentile(self.keys_ms, q) for q in (50, 95)) if self.keys_ms else (float("nan"),) * 2
        return (
            f"{self.way:<6} {self.size[0]}x{self.size[1]:<4} {self.figures['cells']!s:<8} {line:<10}"
            f"{self.number('frames_per_s'):6.1f}/s {self.number('cpu_percent'):5.0f} % CPU "
            f"{self.number('shown_ms'):6.0f} ms, key {half:5.1f} / {most:5.1f} ms, {self.megabytes_per_s:.2f} MB/s"
            f"  {self.figures['depth']} bit"
        )

    def number(self, name: str) -> float:
        return float(str(self.figures[name]))


def run(way: str, size: tuple[int, int], seconds: float, bytes_per_s: float | None) -> Measured:
    """Run the app in a pty and be its terminal."""
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "report.json"
        ours, theirs = pty.openpty()
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", size[1], size[0], 0, 0))
        environment = {**os.environ, "TERM": "xterm-256color", "COLORTERM": "truecolor"}
        environment.pop("NO_COLOR", None)
        command = [sys.executable, "-m", "tests.bench.screen_in_pty", way, str(seconds), str(report)]
        app = subprocess.Popen(
            command, stdin=theirs, stdout=theirs, stderr=theirs, env=environment, start_new_session=True
        )
        os.close(theirs)
        try:
            pressed_at_s, amount = _be_terminal(ours, app, bytes_per_s)
        finally:
            if app.poll() is None:
                app.kill()
            app.wait()
            os.close(ours)
        figures = json.loads(report.read_text())
    arrived = figures["key_at_s"]
    delays = [1000 * (at - pressed) for pressed, at in zip(pressed_at_s, arrived, strict=False)]
    return Measured(way, size, bytes_per_s, figures, delays, amount / (seconds + 3) / 1e6)


def run_in_tmux(way: str, size: tuple[int, int], seconds: float) -> Measured:
    """Run the app in tmux, and press keys there."""
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "report.json"
        pressed_at_s: list[float] = []
        arguments = ["-m", "tests.bench.screen_in_pty", way, str(seconds), str(report)]
        with TmuxRun(arguments, size=size) as tmux:
            time.sleep(4.0)  # the screen stands by then
            give_up_s = time.monotonic() + 60
            while not report.exists() and time.monotonic() < give_up_s:
                pressed_at_s.append(time.monotonic())
                tmux.press("x")
                time.sleep(_KEY_EVERY_S)
            time.sleep(0.3)
        figures = json.loads(report.read_text())
    delays = [1000 * (at - pressed) for pressed, at in zip(pressed_at_s, figures["key_at_s"], strict=False)]
    return Measured(way, size, None, figures, delays, float("nan"), "tmux")


def _be_terminal(ours: int, app: "subprocess.Popen[bytes]", bytes_per_s: float | None) -> tuple[list[float], int]:
    pressed_at_s: list[float] = []
    amount, tail = 0, b""
    began_s = time.monotonic()
    next_key_s = began_s + 4.0  # the screen stands by then
    while app.poll() is None and time.monotonic() - began_s < 120:
        if select.select([ours], [], [], 0.01)[0]:
            try:
                chunk = os.read(ours, 4096 if bytes_per_s else 65536)
            except OSError:
                break
            amount += len(chunk)
            if bytes_per_s:
                time.sleep(len(chunk) / bytes_per_s)
            seen = tail + chunk
            for _ in range(seen.count(_ASK)):
                os.write(ours, b"\x1b[30;1R")
            tail = seen[-3:] if not seen.endswith(_ASK) else b""
        if time.monotonic() >= next_key_s:
            pressed_at_s.append(time.monotonic())
            os.write(ours, b"x")
            next_key_s += _KEY_EVERY_S
    return pressed_at_s, amount


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=6.0)
    parser.add_argument("--slow", action="store_true", help="also over a line of 1 MB/s")
    parser.add_argument("--tmux", action="store_true", help="also in tmux")
    options = parser.parse_args()
    for size in SIZES:
        own, plain = (run(way, size, options.seconds, None) for way in ("own", "plain"))
        print(own.row())
        print(plain.row())
        per_picture = [m.number("cpu_percent") / max(m.number("frames_per_s"), 0.1) for m in (own, plain)]
        print(f"       ratio: a picture costs {per_picture[1] / per_picture[0]:.1f} times less CPU\n", flush=True)
        if options.slow:
            print(run("own", size, options.seconds, 1e6).row(), flush=True)
            print(run("plain", size, options.seconds, 1e6).row(), flush=True)
        if options.tmux:
            print(run_in_tmux("own", size, options.seconds).row(), flush=True)
            print(run_in_tmux("plain", size, options.seconds).row(), flush=True)


if __name__ == "__main__":
    main()
