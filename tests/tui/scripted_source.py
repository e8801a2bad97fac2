"""A live source that gives the events of a list, and writes down what was asked of it."""

import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from tethercap.exposure.settings import Setting, Value
from tethercap.tui.live_source import SourceEvent


@dataclass
class ScriptedSource:
    """Stands where a camera's live view stands."""

    script: Iterable[SourceEvent] = ()
    asked: list[tuple[object, ...]] = field(default_factory=list)
    played: threading.Event = field(default_factory=threading.Event)

    emit: Callable[[SourceEvent], None] = lambda event: None

    def start(self, on_event: Callable[[SourceEvent], None]) -> None:
        self.emit = on_event
        for event in self.script:
            on_event(event)
        self.played.set()

    def change(self, setting: Setting, value: Value | float | str) -> None:
        self.asked.append((setting, value))

    def stop(self) -> None:
        self.asked.append(("stop",))
