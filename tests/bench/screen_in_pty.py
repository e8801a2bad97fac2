"""The capture screen over a scripted hand, for `bench_screen`: run in a pty, writes down what it did.

    python -m tests.bench.screen_in_pty WAY SECONDS REPORT

WAY is "own" (finished lines of cells) or "plain" (one Style a cell through Textual's usual path).
"""

import json
import resource
import statistics
import sys
import threading
import time
from collections.abc import Callable, Iterator
from itertools import cycle
from pathlib import Path

from rich.color import Color
from rich.segment import Segment
from rich.style import Style
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from tests.tui.drawn_film import live_frame, sighting_at
from tests.tui.scripted_runner import SETTINGS, ScriptedRunner, Step
from tethercap.session import events
from tethercap.session.events import SessionEvent
from tethercap.session.states import RunState
from tethercap.tui.app import TerminalApp
from tethercap.tui.preferences import Preferences
from tethercap.tui.screens import capture
from tethercap.tui.screens.capture import CaptureScreen
from tethercap.tui.shown import Shown
from tethercap.tui.terminal_asks import ask_terminal
from tethercap.tui.widgets.live_view import LiveView

PICTURES = 45
"""Different pictures, drawn before the clock starts: a strip going by, so that every cell changes."""


class PlainLiveView(LiveView):
    """The usual way: a Segment and a Style for every cell, through Textual's own lines."""

    def put(self, shown: Shown, tail: str = "") -> None:
        cells = shown.grid
        self._plain = []
        for row in range(cells.shape[0]):
            segments = []
            for fore, back in zip(cells.foreground[row].tolist(), cells.background[row].tolist(), strict=True):
                style = Style.from_color(Color.from_rgb(*fore), Color.from_rgb(*back))
                segments.append(Segment("▀", style))
            self._plain.append(Strip(segments, len(segments)))
        # The acknowledgement goes out as a control segment, so that both ways are measured alike.
        last = self._plain[-1]
        self._plain[-1] = Strip([*last, Segment(tail, None, [])], last.cell_length)
        self.refresh()

    def render_lines(self, crop: Region) -> list[Strip]:
        return Widget.render_lines(self, crop)

    def render_line(self, y: int) -> Strip:
        plain = getattr(self, "_plain", [])
        return plain[y] if y < len(plain) else Strip.blank(self.size.width)


class BenchRunner(ScriptedRunner):
    """Gives a picture every thirtieth of a second and writes down when a key arrived."""

    def __init__(self, on_event: Callable[[SessionEvent], None]) -> None:
        super().__init__(on_event, moving())
        self.key_at_s: list[float] = []
        self.began = threading.Event()

    def force(self) -> None:
        self.key_at_s.append(time.monotonic())


def moving() -> Iterator[Step]:
    frames = [live_frame(n, 19.0 - 38.0 * n / PICTURES, 2 + n % 3) for n in range(PICTURES)]
    yield events.SettingsRead(dict(SETTINGS))
    yield events.StateChanged(RunState.SETTLING, RunState.MOVING, 0.0)
    due_s = time.monotonic()
    for sequence, frame in enumerate(cycle(frames)):
        due_s += 1 / 30
        time.sleep(max(0.0, due_s - time.monotonic()))
        offset_mm = 19.0 - 38.0 * (sequence % PICTURES) / PICTURES
        yield events.Watched(frame, sighting_at(sequence, offset_mm, tilt_deg=0.1, speed_mm_s=-25.0))


def main() -> None:
    way, seconds, report = sys.argv[1], float(sys.argv[2]), Path(sys.argv[3])
    if way == "plain":
        setattr(capture, "LiveView", PlainLiveView)  # noqa: B010 - the name is imported there, not exported
    runners: list[BenchRunner] = []

    def make(on_event: Callable[[SessionEvent], None]) -> BenchRunner:
        runners.append(BenchRunner(on_event))
        return runners[-1]

    app = TerminalApp(
        lambda: CaptureScreen(make, roll_name="bench"), preferences=Preferences(bells=False), talents=ask_terminal()
    )
    figures: dict[str, object] = {}

    def measure() -> None:
        screen = app.screen_stack[1]
        if not isinstance(screen, CaptureScreen) or screen.feed is None:
            return
        feed = screen.feed
        before, cpu, at_s = feed.counts.delivered, _cpu_s(), time.monotonic()
        view = screen.query_one(LiveView)
        figures["cells"] = f"{view.size.width}x{view.size.height}"

        def end() -> None:
            span_s = time.monotonic() - at_s
            delivered = feed.counts.delivered - before
            showing = sorted(feed.counts.showing_s) or [float("nan")]
            figures.update(
                frames_per_s=delivered / span_s,
                cpu_percent=100 * (_cpu_s() - cpu) / span_s,
                shown_ms=1000 * (statistics.median(showing) + feed.counts.drawing_s / max(feed.counts.delivered, 1)),
                depth=int(feed.ladder.step.depth),
                key_at_s=runners[0].key_at_s,
            )
            report.write_text(json.dumps(figures))
            runners[0].stop()

        app.set_timer(seconds, end)

    app.call_later(lambda: app.set_timer(2.5, measure))
    app.run()


def _cpu_s() -> float:
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


if __name__ == "__main__":
    main()
