"""A camera whose driver runs in a process of its own, so that a driver that hangs or dies takes nothing with it."""

import contextlib
import itertools
import os
import time
from collections import deque
from collections.abc import Iterator
from dataclasses import replace
from multiprocessing.connection import wait
from pathlib import Path
from typing import Any

from tethercap.camera.base import (
    CameraAbilities,
    CameraEvent,
    CameraFile,
    CameraIdentity,
    CameraLost,
    CaptureFinished,
    FileAppeared,
    Fired,
)
from tethercap.camera.driver_handle import OVERRUN_GRACE_S, DriverProcess
from tethercap.camera.learned import load_gaps, save_gap
from tethercap.camera.protocol import (
    DEADLINES_S,
    PIECE_DEADLINE_S,
    SLOWEST_TRANSFER_BYTES_S,
    AbilitiesChanged,
    CardMemory,
    Opened,
    OpenWish,
    Piece,
    Verb,
)
from tethercap.camera.words.widgets import Widget
from tethercap.errors import (
    CameraBusyError,
    CameraError,
    CameraFullError,
    CameraInUseError,
    CameraPermissionError,
    CameraRefusedError,
    NoCameraError,
    NotSupportedError,
)
from tethercap.exposure.settings import Setting, SettingChange, SettingState, Value
from tethercap.pictures import LiveJpeg

STEADY_S = 20.0
"""A camera that fails again within this time after it came back is brought back by stronger means."""
LAST_RUNG_IN_PROCESS = 2
"""Beyond this the process itself is started anew."""


class ChildCamera:
    """A camera behind a `DriverProcess`.

    Parameters
    ----------
    port : str, optional
        "usb:001,004" or "ptpip:127.0.0.1:15740:15740"; the only camera there is if left out.
    serial : str, optional
        Serial number of the body.
    log_dir : Path, optional
        Folder for the driver's log.

    Raises
    ------
    CameraError
        If it cannot be opened.
    """

    def __init__(self, port: str | None = None, serial: str | None = None, *, log_dir: Path | None = None) -> None:
        self._wish = OpenWish(port, serial, gaps_s=load_gaps(log_dir))
        self._log_dir = log_dir
        self._events: deque[CameraEvent] = deque()
        self._pieces: deque[Piece] = deque()
        self._pulls = itertools.count(1)
        self._lost: CameraError | None = None
        self._newest_sequence = -1
        self._exposure_s = 30.0
        self._memory = CardMemory()
        self._reopened_at_s = -STEADY_S
        self._rung = 0
        self._closed = False
        self._driver = DriverProcess(log_dir)
        try:
            self._opened: Opened = self._driver.call(Verb.OPEN, self._wish)
        except BaseException:
            self.close()
            raise

    @property
    def identity(self) -> CameraIdentity:
        """Who it is."""
        return self._opened.identity

    @property
    def abilities(self) -> CameraAbilities:
        """What it can do."""
        return self._opened.abilities

    @property
    def driver_version(self) -> str:
        """Versions of the bindings and the driver in use."""
        return self._opened.driver_version

    @property
    def process_id(self) -> int:
        """Process that holds the driver."""
        return self._driver.process.pid or 0

    def _call(self, verb: Verb, *arguments: Any, deadline_s: float | None = None) -> Any:
        if self._lost is not None:
            raise self._lost
        if self._closed:
            raise NoCameraError("The camera was closed.")
        try:
            return self._driver.call(verb, *arguments, deadline_s=deadline_s)
        except CameraError as error:
            if not self._driver.alive:
                self._lost = error
            raise

    # Settings

    def settings(self) -> dict[Setting, SettingState]:
        """Read every setting that this camera has."""
        states: dict[Setting, SettingState] = self._call(Verb.SETTINGS)
        shutter = states.get(Setting.SHUTTER)
        if shutter is not None and shutter.value.number is not None:
            self._exposure_s = shutter.value.number
        return states

    def change(self, setting: Setting, value: Value | float | str) -> SettingChange:
        """Set the nearest value the camera offers and read it back."""
        change: SettingChange = self._call(Verb.CHANGE, setting, value)
        if setting is Setting.SHUTTER:
            self._exposure_s = change.got.number or 30.0
        return change

    def widgets(self) -> list[Widget]:
        """Read the whole configuration in the driver's own words; takes seconds."""
        widgets: list[Widget] = self._call(Verb.WIDGETS)
        return widgets

    # Live view

    def start_live_view(self) -> None:
        """Begin to receive live pictures."""
        if self.abilities.live_view:
            self._call(Verb.START_LIVE)

    def stop_live_view(self) -> None:
        """End live view."""
        if self.abilities.live_view:
            self._call(Verb.STOP_LIVE)

    def latest_live(self, after_sequence: int = -1, timeout_s: float = 0.0) -> LiveJpeg | None:
        """Newest live picture with a sequence above `after_sequence`, waiting at most `timeout_s`."""
        until_s = time.monotonic() + timeout_s
        while not self._closed:
            picture = self._driver.board.newest(after_sequence)
            left_s = until_s - time.monotonic()
            if picture is not None:
                self._newest_sequence = picture.sequence
                return picture
            if left_s <= 0 or self._lost is not None:
                return None
            ready = wait([self._driver.bell, self._driver.process.sentinel], left_s)
            if self._driver.bell not in ready:
                return None
            self._silence_bell()
        return None

    def _silence_bell(self) -> None:
        with contextlib.suppress(BlockingIOError):
            os.read(self._driver.bell.fileno(), 4096)

    # Shots and events

    def fire(self) -> Fired:
        """Release the shutter."""
        self._memory.await_shot()
        try:
            fired: Fired = self._call(Verb.FIRE, deadline_s=DEADLINES_S[Verb.FIRE] + 3 * self._exposure_s)
        except (CameraRefusedError, CameraBusyError, CameraFullError, NotSupportedError):
            self._memory.forget_shot()
            raise
        return fired

    def events(self) -> list[CameraEvent]:
        """Everything that happened since the last call, oldest first; never waits."""
        if not self._closed and self._lost is None:
            self._collect()
            self._notice_loss()
        happened = list(self._events)
        self._events.clear()
        return happened

    def _collect(self) -> None:
        with contextlib.suppress(EOFError, OSError):
            while self._driver.events.poll():
                message = self._driver.events.recv()
                if isinstance(message, Piece):
                    self._pieces.append(message)
                elif isinstance(message, AbilitiesChanged):
                    self._take_abilities(message.abilities)
                else:
                    self._remember(message)

    def _take_abilities(self, abilities: CameraAbilities) -> None:
        if abilities.shortest_gap_s != self._opened.abilities.shortest_gap_s:
            save_gap(self._log_dir, self.identity.model, abilities.shortest_gap_s)
        self._opened = replace(self._opened, abilities=abilities)

    def _remember(self, event: CameraEvent) -> None:
        if isinstance(event, FileAppeared):
            self._memory.note(event.file)
        elif isinstance(event, CaptureFinished):
            self._memory.forget_shot()
        self._events.append(event)

    def _notice_loss(self) -> None:
        if not self._driver.alive:
            self._lost = self._driver.death()
        elif doing := self._driver.overrunning():
            self._lost = self._driver.overrun(doing, OVERRUN_GRACE_S)
        if self._lost is not None:
            self._events.append(CameraLost(str(self._lost), time.monotonic()))

    # Files

    def pull(self, file: CameraFile) -> Iterator[bytes]:
        """Yield the file's bytes in pieces of about 1 MiB, live view going on between them."""
        number = next(self._pulls)
        file = self._call(Verb.PULL, number, file)
        patience_s = PIECE_DEADLINE_S + file.size_bytes / SLOWEST_TRANSFER_BYTES_S
        finished = False
        try:
            while not finished:
                piece = self._next_piece(number, patience_s)
                content = bytes(self._driver.board.piece(piece.slot)[: piece.length])
                finished = piece.last
                self._driver.send(Verb.MORE, number)
                if content:
                    yield content
        finally:
            if not finished and self._driver.alive:
                self._driver.send(Verb.END_PULL, number)

    def _next_piece(self, number: int, patience_s: float) -> Piece:
        until_s = time.monotonic() + patience_s
        while True:
            while self._pieces:
                piece = self._pieces.popleft()
                if piece.pull != number:
                    continue
                if piece.error is not None:
                    raise piece.error
                return piece
            if self._lost is not None:
                raise self._lost
            left_s = until_s - time.monotonic()
            if left_s <= 0:
                self._lost = self._driver.overrun("pull a file", patience_s)
                raise self._lost
            wait([self._driver.events, self._driver.process.sentinel], left_s)
            self._collect()
            if not self._pieces and not self._driver.alive:
                self._lost = self._driver.death()

    # Losing and finding it

    def ping(self) -> None:
        """Do a real transaction."""
        self._call(Verb.PING)

    def reopen(self) -> None:
        """Climb the ladder of recovery until the same body (by serial) answers again."""
        if self._closed:
            raise NoCameraError("The camera was closed.")
        steady = time.monotonic() - self._reopened_at_s > STEADY_S
        self._rung = 0 if steady else self._rung + 1
        if self._driver.alive and self._lost is None and self._rung <= LAST_RUNG_IN_PROCESS:
            try:
                self._opened = self._driver.call(Verb.RECOVER, self._rung)
                self._came_back()
                return
            except (NoCameraError, CameraInUseError, CameraPermissionError, NotSupportedError):
                if self._driver.alive:
                    raise
            except CameraError:
                pass
        self._start_anew()

    def _start_anew(self) -> None:
        known = self.identity
        self._collect()
        self._driver.end()
        self._pieces.clear()
        self._driver = DriverProcess(self._log_dir, self._newest_sequence + 1)
        is_usb = known.port.startswith("usb:")
        wish = OpenWish(
            None if is_usb and known.serial else known.port,
            known.serial or None,
            self._memory,
            load_gaps(self._log_dir),
        )
        try:
            self._opened = self._driver.call(Verb.OPEN, wish)
        except CameraError as error:
            self._lost = error
            raise
        self._rung = 0
        self._came_back()

    def _came_back(self) -> None:
        self._lost, self._reopened_at_s = None, time.monotonic()
        self._collect()
        # Losses told before are over.
        self._events = deque(event for event in self._events if not isinstance(event, CameraLost))

    def close(self) -> None:
        """End live view, close the session, end the process; safe to call twice."""
        if not self._closed:
            self._closed = True
            self._driver.end()
