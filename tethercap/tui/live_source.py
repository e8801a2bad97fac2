"""Live pictures outside a roll: for setting a rig up. One thread reads the camera and obeys requests."""

import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Protocol

from tethercap.camera.base import Camera
from tethercap.errors import PictureError, TethercapError
from tethercap.exposure.settings import Setting, SettingState, Value
from tethercap.image_files.jpeg import decode_live
from tethercap.session.events import SettingChanged, SettingsRead, Watched
from tethercap.watch.watcher import Watcher

_LIVE_WAIT_S = 0.05


@dataclass(frozen=True, slots=True)
class SourceTroubled:
    """The camera failed; the source has ended."""

    error: TethercapError


SourceEvent = Watched | SettingsRead | SettingChanged | SourceTroubled


class LiveSource(Protocol):
    """Gives live pictures that were watched, and changes settings."""

    def start(self, on_event: Callable[[SourceEvent], None]) -> None:
        """Begin; events come in the source's thread."""
        ...

    def change(self, setting: Setting, value: Value | float | str) -> None:
        """Change a setting; returns at once."""
        ...

    def stop(self) -> None:
        """End, and wait until it has ended; safe to call twice."""
        ...


class CameraSource:
    """Live pictures of a camera that is open; does not close it.

    Parameters
    ----------
    camera : Camera
    watcher : Watcher
    """

    def __init__(self, camera: Camera, watcher: Watcher) -> None:
        self._camera, self._watcher = camera, watcher
        self._requests: queue.SimpleQueue[Callable[[], None]] = queue.SimpleQueue()
        self._stopping = threading.Event()
        self._emit: Callable[[SourceEvent], None] = lambda event: None
        self._thread = threading.Thread(target=self._run, name="live source", daemon=False)

    def start(self, on_event: Callable[[SourceEvent], None]) -> None:
        """Begin."""
        self._emit = on_event
        self._thread.start()

    def change(self, setting: Setting, value: Value | float | str) -> None:
        """Change a setting."""
        self._requests.put(partial(self._change, setting, value))

    def stop(self) -> None:
        """End."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join()

    def _run(self) -> None:
        try:
            settings: dict[Setting, SettingState] = self._camera.settings()
            self._emit(SettingsRead(settings))
            self._camera.start_live_view()
            sequence = -1
            while not self._stopping.is_set():
                self._obey()
                sequence = self._look(sequence)
            self._camera.stop_live_view()
        except TethercapError as error:
            self._emit(SourceTroubled(error))

    def _look(self, sequence: int) -> int:
        live = self._camera.latest_live(sequence, _LIVE_WAIT_S)
        if live is None:
            return sequence
        try:
            frame = decode_live(live)
        except PictureError:
            return live.sequence  # a torn live picture; the next one is on its way
        self._emit(Watched(frame, self._watcher.watch(frame)))
        return live.sequence

    def _obey(self) -> None:
        while True:
            try:
                request = self._requests.get_nowait()
            except queue.Empty:
                return
            request()

    def _change(self, setting: Setting, value: Value | float | str) -> None:
        self._emit(SettingChanged(self._camera.change(setting, value)))
        self._emit(SettingsRead(self._camera.settings()))
