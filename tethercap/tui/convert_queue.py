"""Converts a roll as one in a worker process, and says how far it is: all frames are looked at, then each is made."""

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace

from tethercap.batch.pools import make_pool
from tethercap.batch.roll_jobs import Reconverted, reconvert_roll, roll_jobs
from tethercap.errors import TethercapError
from tethercap.roll.folder import Roll

_LOOK_WEIGHT = 0.2
"""A look takes about this much of a conversion's time, until both are measured."""


@dataclass(frozen=True, slots=True)
class QueueState:
    """How far the queue is."""

    done: int = 0
    """Positives in place."""
    total: int = 0
    looked: int = 0
    """Frames looked at, before the first positive is made."""
    now: str = ""
    """Frame under way."""
    seconds_left: float | None = None
    """Time to the end; None before it can be told."""
    failures: tuple[str, ...] = ()
    kept: int = 0
    """Files that a person had changed, which were put aside and not replaced."""
    is_running: bool = False
    was_stopped: bool = False

    @property
    def share(self) -> float:
        """Share of the whole work that is done, 0..1."""
        whole = self.total * (1 + _LOOK_WEIGHT)
        return (self.done + min(self.looked, self.total) * _LOOK_WEIGHT) / whole if whole else 0.0


class _Stopped(Exception):  # noqa: N818 - not an error: the person wants it to end
    """The queue is to end."""


class ConvertQueue:
    """Converts all frames of a roll in order, at low priority.

    Parameters
    ----------
    roll : Roll
        Open; positives are put into it.
    on_change : callable
        Given each `QueueState`, in the queue's thread.
    """

    def __init__(self, roll: Roll, on_change: Callable[[QueueState], None]) -> None:
        self._roll, self._on_change = roll, on_change
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None
        self._looked_s = 0.0
        self.state = QueueState()

    def start(self) -> None:
        """Begin; does nothing while a run is under way."""
        if self.state.is_running:
            return
        self._stopping.clear()
        self.state = QueueState(is_running=True)
        self._thread = threading.Thread(target=self._run, name="convert queue", daemon=False)
        self._thread.start()

    def forget(self) -> None:
        """Say no longer how the last run ended; does nothing while one is under way."""
        if not self.state.is_running:
            self.state = QueueState()

    def stop(self) -> None:
        """End after the frame under way, and wait for it."""
        self._stopping.set()
        if self._thread is not None:
            self._thread.join()

    def _run(self) -> None:
        failures: list[str] = []
        try:
            self._convert(failures)
        except _Stopped:
            pass
        except (TethercapError, OSError) as error:
            failures.append(str(error))
        except Exception as error:  # a mistake in the program must end the queue, not leave it running for ever
            failures.append(f"{type(error).__name__}: {error}")
        finally:
            state = self.state
            stopped = self._stopping.is_set() and state.done < state.total
            self._say(replace(state, failures=tuple(failures), was_stopped=stopped, is_running=False))

    def _convert(self, failures: list[str]) -> None:
        frames = [str(each.number) for each in roll_jobs(self._roll)]
        self._say(QueueState(0, len(frames), is_running=True))
        pool = make_pool("processes", 1)
        try:
            for made in reconvert_roll(self._roll, pool, on_look=self._looked):
                self._made(made, frames, failures)
                self._go_on()
        finally:
            pool.shutdown(cancel_futures=True)

    def _looked(self) -> None:
        self._go_on()
        self._looked_s = time.monotonic()
        self._say(replace(self.state, looked=self.state.looked + 1))

    def _made(self, made: Reconverted, frames: list[str], failures: list[str]) -> None:
        if made.trouble is not None:
            failures.append(f"frame {made.frame_id}: {made.trouble}")
        state, done = self.state, self.state.done + 1
        left_s = (time.monotonic() - self._looked_s) / done * (len(frames) - done)
        now = frames[done] if done < len(frames) else ""
        kept = state.kept + len(made.kept)
        self._say(replace(state, done=done, now=now, seconds_left=left_s, failures=tuple(failures), kept=kept))

    def _go_on(self) -> None:
        if self._stopping.is_set():
            raise _Stopped

    def _say(self, state: QueueState) -> None:
        self.state = state
        self._on_change(state)
