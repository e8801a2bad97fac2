"""From the runner's thread to the screen: the newest live picture wins, everything else waits its turn."""

import threading
from collections import deque
from collections.abc import Callable

from tethercap.session.events import SessionEvent, Watched


class EventMailbox:
    """Takes session events from any thread; at most one notice is on its way to the screen at a time.

    Parameters
    ----------
    notify : callable
        Told, in the sender's thread, that events other than `Watched` are waiting; must not block.
    on_watched : callable
        Given each `Watched` at once, in the sender's thread.
    """

    def __init__(self, notify: Callable[[], None], on_watched: Callable[[Watched], None]) -> None:
        self._notify, self._on_watched = notify, on_watched
        self._lock = threading.Lock()
        self._waiting: deque[SessionEvent] = deque()
        self._newest: Watched | None = None
        self._noticed = False

    def put(self, event: SessionEvent) -> None:
        """Take an event."""
        if isinstance(event, Watched):
            with self._lock:
                self._newest = event
            self._on_watched(event)
            return
        with self._lock:
            self._waiting.append(event)
            must_notify, self._noticed = not self._noticed, True
        if must_notify:
            self._notify()

    def take(self) -> list[SessionEvent]:
        """Everything that waits, the newest live picture first."""
        with self._lock:
            taken: list[SessionEvent] = [self._newest] if self._newest is not None else []
            taken += self._waiting
            self._newest = None
            self._waiting.clear()
            self._noticed = False
        return taken
