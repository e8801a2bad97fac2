"""Live pictures outside a roll: for setting a rig up. One thread reads the camera and obeys requests."""

import queue
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from typing import Protocol

from tethercap.camera.base import Camera, CameraLost, LiveViewTroubled, SettingMoved
from tethercap.errors import CameraGoneError, CameraRefusedError, NotSupportedError, PictureError, TethercapError
from tethercap.exposure.settings import Setting, Value
from tethercap.image_files.jpeg import decode_live
from tethercap.session.events import SettingChanged, SettingsRead, Watched
from tethercap.watch.watcher import Watcher

_LIVE_WAIT_S = 0.05
_RETRY_S = 1.0
"""Between two tries to get a lost camera back."""


@dataclass(frozen=True, slots=True)
class SourceTroubled:
    """The camera failed; it is tried again until it answers. Settings that are read say that it does."""

    error: TethercapError


@dataclass(frozen=True, slots=True)
class SourceSaid:
    """The camera said no, or has no live picture for now; everything else goes on."""

    sentence: str


SourceEvent = Watched | SettingsRead | SettingChanged | SourceSaid | SourceTroubled


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
        self._sequence = -1
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
        begun = self._works(self._begin)
        while not self._stopping.is_set():
            begun = self._works(self._turn if begun else self._get_back)
        with suppress(TethercapError):
            self._camera.stop_live_view()

    def _works(self, step: Callable[[], None]) -> bool:
        try:
            step()
        except TethercapError as error:
            self._emit(SourceTroubled(error))
            return False
        return True

    def _begin(self) -> None:
        self._sequence = -1
        self._emit(SettingsRead(self._camera.settings()))
        self._camera.start_live_view()

    def _get_back(self) -> None:
        if not self._stopping.wait(_RETRY_S):
            self._camera.reopen()
            self._begin()

    def _turn(self) -> None:
        self._obey()
        self._look()
        for event in self._camera.events():
            match event:
                case CameraLost(why, _):
                    raise CameraGoneError(why)
                case LiveViewTroubled(why, _):
                    self._emit(SourceSaid(why))
                case SettingMoved():
                    self._emit(SettingsRead(self._camera.settings()))

    def _look(self) -> None:
        live = self._camera.latest_live(self._sequence, _LIVE_WAIT_S)
        if live is None:
            return
        self._sequence = live.sequence
        try:
            frame = decode_live(live)
        except PictureError:
            return  # a torn live picture; the next one is on its way
        self._emit(Watched(frame, self._watcher.watch(frame)))

    def _obey(self) -> None:
        while True:
            try:
                request = self._requests.get_nowait()
            except queue.Empty:
                return
            request()

    def _change(self, setting: Setting, value: Value | float | str) -> None:
        try:
            self._emit(SettingChanged(self._camera.change(setting, value)))
        except (CameraRefusedError, NotSupportedError) as error:
            self._emit(SourceSaid(str(error)))
        self._emit(SettingsRead(self._camera.settings()))
