"""Time arrives as a number: nothing below the session asks the system for it."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol


class Clock(Protocol):
    """A source of monotonic seconds."""

    def now_s(self) -> float:
        """Monotonic time, s."""
        ...

    def wait_s(self, seconds: float) -> None:
        """Let `seconds` pass."""
        ...


@dataclass(frozen=True, slots=True)
class SystemClock:
    """A clock made of two functions, the system's own in the program.

    Parameters
    ----------
    read, wait : callable
        ``time.monotonic`` and ``time.sleep``; passed in, so that this module imports neither.
    """

    read: Callable[[], float]
    wait: Callable[[float], None]

    def now_s(self) -> float:
        """Monotonic time, s."""
        return self.read()

    def wait_s(self, seconds: float) -> None:
        """Let `seconds` pass."""
        self.wait(seconds)


@dataclass(slots=True)
class ManualClock:
    """A clock that moves only when told; waiting moves it."""

    time_s: float = 0.0
    waits_s: list[float] = field(default_factory=list)

    def now_s(self) -> float:
        """Monotonic time, s."""
        return self.time_s

    def wait_s(self, seconds: float) -> None:
        """Move the clock on by `seconds`, and remember it."""
        self.waits_s.append(seconds)
        self.time_s += seconds
