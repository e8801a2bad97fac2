"""The way of a live picture to the terminal: one slot, newest wins, and none goes out before the last was shown.

::

    runner's thread ──offer──▶ [slot] ──▶ picture thread: draw, encode ──deliver──▶ main thread ──▶ terminal
                                             ▲                                                       │
                                             └────────────── acknowledged (cursor report) ───────────┘
"""

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from tethercap.pictures import LiveFrame
from tethercap.tui.overlay import Drawing, Ink, LiveScene
from tethercap.tui.painters import CellPainter, Painter
from tethercap.tui.quality import QualityLadder, Step
from tethercap.tui.shown import Shown


@dataclass(slots=True)
class FeedCounts:
    """What the feed did since it began."""

    offered: int = 0
    delivered: int = 0
    acknowledged: int = 0
    drawing_s: float = 0.0
    """Time spent drawing and encoding."""
    showing_s: list[float] = field(default_factory=list)
    """Last delays from handing a picture over until the terminal had worked it off, at most 120."""


class LiveFeed:
    """Draws the newest live picture whenever the terminal is ready for one.

    Parameters
    ----------
    deliver : callable
        Called in the picture thread with each `Shown`; must only hand it on.
    ladder : QualityLadder
    ink : Ink
    painter : Painter, optional
        In cells if left out.
    wants_acknowledgement : bool
        False where nothing answers cursor reports: the rate alone then limits.
    answer_deadline_s : float
        A terminal that has not answered by then gets the next picture all the same.
    """

    def __init__(
        self,
        deliver: Callable[[Shown], None],
        *,
        ladder: QualityLadder,
        ink: Ink,
        painter: Painter | None = None,
        wants_acknowledgement: bool = True,
        answer_deadline_s: float = 0.5,
    ) -> None:
        self.ink = ink
        self.ladder = ladder
        self.counts = FeedCounts()
        self.wants_acknowledgement = wants_acknowledgement
        self._deliver = deliver
        self._deadline_s = answer_deadline_s
        self._changed = threading.Condition()
        self._slot: tuple[LiveFrame, Drawing] | None = None
        self._drawn: tuple[LiveFrame, Drawing] | None = None
        self._size = (0, 0)
        self._paused = False
        self._stopping = False
        self._sent_at_s: float | None = None
        self._next_at_s = 0.0
        self.painter: Painter = painter or CellPainter()
        self._thread = threading.Thread(target=self._run, name="live picture", daemon=True)

    def start(self) -> None:
        """Begin to draw."""
        self._thread.start()

    def stop(self) -> None:
        """End the picture thread and wait for it."""
        with self._changed:
            self._stopping = True
            self._changed.notify()
        if self._thread.is_alive():
            self._thread.join()
        self.painter.close()

    def offer(self, frame: LiveFrame, drawing: Drawing) -> None:
        """Put a picture into the slot, over one that was not drawn yet; from any thread."""
        with self._changed:
            self._slot = (frame, drawing)
            self.counts.offered += 1
            self._changed.notify()

    def resize(self, rows: int, columns: int) -> None:
        """Draw for another size from now on; 0 rows or columns draw nothing."""
        with self._changed:
            self._size = (rows, columns)
            self._draw_again()

    def pause(self, paused: bool) -> None:
        """Draw nothing while something else covers the picture."""
        with self._changed:
            self._paused = paused
            self._draw_again()

    def recolour(self, ink: Ink) -> None:
        """Draw in other colours from now on."""
        with self._changed:
            self.ink = ink
            self._draw_again()

    def _draw_again(self) -> None:
        self._slot = self._slot or self._drawn
        self._sent_at_s = None
        self._changed.notify()

    def acknowledged(self) -> None:
        """The terminal has worked off the last picture."""
        with self._changed:
            if self._sent_at_s is None:
                return
            delay_s = time.monotonic() - self._sent_at_s
            self._sent_at_s = None
            self.counts.acknowledged += 1
            self.counts.showing_s = [*self.counts.showing_s[-119:], delay_s]
            self.ladder.shown_after(delay_s)
            self._changed.notify()

    def _run(self) -> None:
        while (work := self._next_work()) is not None:
            (frame, drawing), (rows, columns), step = work
            began_s = time.monotonic()
            scene = LiveScene(frame.pixels_bgr, drawing, self.ink)
            shown = self.painter.paint(scene, rows, columns, step, frame.sequence)
            self.counts.drawing_s += time.monotonic() - began_s
            with self._changed:
                if self._paused or self._stopping or (rows, columns) != self._size:
                    continue
                self._sent_at_s = time.monotonic()
                self._next_at_s = (
                    began_s + 0.9 / self.ladder.step.frames_per_s
                )  # a little early: the camera sets the beat
                self.counts.delivered += 1
            self._deliver(shown)

    def _next_work(self) -> tuple[tuple[LiveFrame, Drawing], tuple[int, int], Step] | None:
        with self._changed:
            while not self._stopping:
                wait_s = self._wait_s()
                if wait_s is not None and wait_s <= 0 and self._slot is not None:
                    slot, self._slot = self._slot, None
                    self._drawn = slot
                    return slot, self._size, self.ladder.step
                self._changed.wait(wait_s)
            return None

    def _wait_s(self) -> float | None:
        """How long until a picture may go out; None waits for a change."""
        if self._slot is None or self._paused or 0 in self._size:
            return None
        now_s = time.monotonic()
        wait_s = self._next_at_s - now_s
        if self.wants_acknowledgement and self._sent_at_s is not None:
            wait_s = max(wait_s, self._sent_at_s + self._deadline_s - now_s)
        return wait_s
