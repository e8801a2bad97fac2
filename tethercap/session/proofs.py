"""Proofs: a picture of each shot to look at, made beside its check. Nothing waits for one, and one that fails is
passed over in silence: the check says what is wrong with the picture, and the positive comes later.
"""

from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from tethercap.geometry import QuadPx, SizePx
from tethercap.session import events
from tethercap.session.desk import Desk


class Proven(Protocol):
    """What a prover gives back."""

    @property
    def jpeg(self) -> bytes:
        """The picture."""
        ...


@dataclass(frozen=True, slots=True)
class ArrivedShot:
    """A shot whose RAW is here."""

    frame_id: str
    take: int
    names: tuple[Path, ...]
    """Names that the RAW has one after the other, while it is being made safe."""
    corners: QuadPx | None
    """The frame in the live view at the release, px; None where none was seen."""
    view: SizePx | None
    """Of the live view."""


Prover = Callable[[ArrivedShot], "Future[Proven]"]


class Proofs:
    """Shots that wait for their proofs."""

    def __init__(self, desk: Desk, prove: Prover | None) -> None:
        self._desk, self._prove = desk, prove
        self._waiting: deque[tuple[ArrivedShot, Future[Proven]]] = deque()

    def start(self, shot: ArrivedShot) -> None:
        """Hand over a shot; older ones that nobody works on yet are not wanted any more."""
        if self._prove is None:
            return
        for _, older in self._waiting:
            older.cancel()
        try:
            self._waiting.append((shot, self._prove(shot)))
        except Exception:  # no process could be started: there is no proof, and the shot goes its way
            return

    def collect(self) -> None:
        """Tell what is done; never waits."""
        while self._waiting and self._waiting[0][1].done():
            shot, future = self._waiting.popleft()
            if not future.cancelled() and future.exception() is None:
                self._desk.emit(events.ProofMade(shot.frame_id, shot.take, future.result().jpeg))
