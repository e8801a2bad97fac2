"""The body: what it is set to, what it is doing, what it has taken.

Shots run through two threads.  The first waits for the shutter and closes it again; the second
has the picture drawn and puts it on the card, in the order of the exposures.  So live view goes
on while a picture is written, and stands still while the shutter is open.
"""

from __future__ import annotations

import queue
import sys
import threading
import time
import traceback
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any, Protocol

from mock_camera.card import CARD_ID, Card, StoredObject
from mock_camera.codes import UNSOLICITED, Format, Response
from mock_camera.datasets import ObjectInfo, date_text
from mock_camera.faults import FaultBox
from mock_camera.lens import PictureLike, RigLike
from mock_camera.sensor import Exposure
from mock_camera.settings import Settings

LIVE_VIEW_PX = (1024, 680)
LONGEST_DRAWING_S = 1.0
"""The driver waits 2.5 s for an answer over the network."""
THUMB_PX = (160, 120)
_STOP = None


@dataclass(frozen=True)
class Timing:
    """How long things take; seconds, bytes per second, frames per second."""

    shutter_lag_s: float = 0.050
    blackout_s: float = 0.060
    write_s: float = 0.25
    transfer_bytes_s: float | None = 35e6
    live_view_fps: float = 30.0
    buffer_shots: int = 5


FAST = Timing(shutter_lag_s=0.010, blackout_s=0.010, write_s=0.0, transfer_bytes_s=None, live_view_fps=60.0)


@dataclass(frozen=True)
class Shot:
    """One release of the shutter."""

    number: int
    exposure: Exposure
    opened_at_s: float
    quality: str
    target: str
    transaction: int
    body_button: bool


class Listener(Protocol):
    """The dialect's ears: it tells the driver what happened in its own way."""

    def objects_added(self, shot: Shot, objects: list[StoredObject]) -> None:
        """New folders and files exist."""

    def shot_finished(self, shot: Shot) -> None:
        """The shot is over and all its files are there."""

    def store_filled(self, shot: Shot) -> None:
        """The card ran full in the shot, nothing was kept."""

    def setting_changed(self, name: str) -> None:
        """Somebody turned a dial on the body."""


@dataclass
class ShotBook:
    """What was taken, for the control channel."""

    entries: list[dict[str, Any]] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def add(self, entry: dict[str, Any]) -> None:
        """Note a shot."""
        with self.lock:
            self.entries.append(entry)

    def copy(self) -> list[dict[str, Any]]:
        """Return all entries."""
        with self.lock:
            return [dict(entry) for entry in self.entries]


class Body:
    """A camera body in front of a rig.

    Parameters
    ----------
    rig : RigLike
        Draws what the lens sees.
    card : Card
        Where pictures go.
    faults : FaultBox
        What goes wrong.
    timing : Timing
        How long things take.
    now_s : callable
        The clock that the rig uses too.
    """

    def __init__(
        self,
        rig: RigLike,
        card: Card,
        faults: FaultBox,
        timing: Timing,
        now_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self.rig, self.card, self.faults, self.timing = rig, card, faults, timing
        self.settings = Settings()
        self.shots = ShotBook()
        self.listener: Listener | None = None
        self._now_s = now_s
        self._lock = threading.RLock()
        self._waiting = 0
        self._exposing = False
        self._dark_until_s = 0.0
        self._next_frame_s = 0.0
        self._closed_at_s = -1e9
        self._count = 0
        self._last: PictureLike | None = None
        self._picture_bytes = 50_000_000
        self._finder = ThreadPoolExecutor(1, "finder")
        self._drawing: Future[bytes] | None = None
        self._closing = threading.Event()
        self._to_shutter: queue.Queue[Shot | None] = queue.Queue()
        self._to_card: queue.Queue[Shot | None] = queue.Queue()
        self._threads = [
            threading.Thread(target=self._run_shutter, name="shutter", daemon=True),
            threading.Thread(target=self._run_card, name="card", daemon=True),
        ]
        for thread in self._threads:
            thread.start()

    def close(self) -> None:
        """Stop the threads and throw the pictures away."""
        self._closing.set()
        self._to_shutter.put(_STOP)
        for thread in self._threads:
            thread.join(timeout=2)
        self._finder.shutdown(cancel_futures=True)
        self.rig.close()
        self.card.close()

    # What the body is doing

    @property
    def battery_percent(self) -> int:
        """Charge of the battery."""
        fault = self.faults.standing("battery")
        return int(fault.number("percent", 5)) if fault else 87

    @property
    def exposing(self) -> bool:
        """Whether the shutter is about to open, or is open."""
        with self._lock:
            return self._exposing

    @property
    def shots_pending(self) -> int:
        """Shots released whose files are not on the card yet."""
        with self._lock:
            return self._waiting

    @property
    def has_card(self) -> bool:
        """Whether a card is in the slot."""
        return self.faults.standing("no-card") is None

    def find(self, handle: int) -> StoredObject | None:
        """Return an object on the card, if it is in, or in the buffer."""
        stored = self.card.find(handle)
        return stored if stored and (self.has_card or not stored.info.storage) else None

    @property
    def free_bytes(self) -> int:
        """Free space of the card."""
        if not self.has_card:
            return 0
        return 0 if self.faults.standing("store-full") and not self._fills_during() else self.card.free_bytes

    def _fills_during(self) -> bool:
        fault = self.faults.standing("store-full")
        return fault is not None and fault.options.get("when") == "during"

    @property
    def picture_bytes(self) -> int:
        """Size of one picture, as far as known."""
        return self._picture_bytes

    @property
    def shots_left(self) -> int:
        """Pictures that still fit on the card."""
        return self.free_bytes // max(1, self._picture_bytes)

    def live_view(self) -> bytes | None:
        """Return a live-view JPEG of this moment; None while the shutter keeps it dark.

        Waits for the next frame of the sensor: no frame is delivered twice.
        """
        with self._lock:
            if self._exposing or self._now_s() < self._dark_until_s:
                return None
            frame_s = max(self._now_s(), self._next_frame_s)
            self._next_frame_s = frame_s + 1 / self.timing.live_view_fps
        self._closing.wait(max(0.0, frame_s - self._now_s()))
        if self.faults.strike("live-view-busy"):
            return None
        if self.faults.strike("live-view-empty"):
            return b""
        jpeg = self._newest_frame()
        if jpeg is None:
            return None
        if self.faults.strike("live-view-corrupt"):
            return jpeg[: len(jpeg) // 2]
        return jpeg

    def _newest_frame(self) -> bytes | None:
        """Have a frame drawn; None if that takes so long that the driver would give up."""
        with self._lock:
            if self._drawing is None:
                exposure = self.settings.exposure()
                self._drawing = self._finder.submit(self.rig.live_view_jpeg, exposure, *LIVE_VIEW_PX)
            drawing = self._drawing
        try:
            return drawing.result(timeout=LONGEST_DRAWING_S)
        except TimeoutError:
            return None
        finally:
            if drawing.done():
                with self._lock:
                    self._drawing = None

    def warm_up(self) -> None:
        """Draw one frame, however long the first takes."""
        self.rig.live_view_jpeg(self.settings.exposure(), *LIVE_VIEW_PX)

    # Shots

    def release(self, transaction: int = UNSOLICITED, target: str = "card", body_button: bool = False) -> Response:
        """Press the release; the answer says whether a shot began."""
        with self._lock:
            if self._exposing or self._waiting >= self.timing.buffer_shots or self._in_gap():
                return Response.DEVICE_BUSY
            if target != "ram" and not self.has_card:
                return Response.STORE_NOT_AVAILABLE
            if target != "ram" and self.free_bytes < self._picture_bytes:
                return Response.STORE_FULL
            self._exposing = True
            self._waiting += 1
            self._count += 1
            shot = Shot(
                self._count,
                self.settings.exposure(),
                0.0,
                str(self.settings.get("quality")),
                target,
                transaction,
                body_button,
            )
        self._to_shutter.put(shot)
        return Response.OK

    def _in_gap(self) -> bool:
        fault = self.faults.standing("busy-gap")
        return fault is not None and self._now_s() < self._closed_at_s + fault.number("seconds", 0.4)

    def _run_shutter(self) -> None:
        while (shot := self._to_shutter.get()) is not _STOP:
            self._closing.wait(self.timing.shutter_lag_s)
            opened_at_s = self._now_s()
            self._closing.wait(shot.exposure.time_s)
            with self._lock:
                self._exposing = False
                self._closed_at_s = self._now_s()
                self._dark_until_s = self._closed_at_s + self.timing.blackout_s
            self._to_card.put(replace(shot, opened_at_s=opened_at_s))
        self._to_card.put(_STOP)

    def _run_card(self) -> None:
        while (shot := self._to_card.get()) is not _STOP:
            try:
                if not self._closing.is_set():
                    self._finish(shot)
            except Exception:  # the body goes on after a picture that could not be made
                if not self._closing.is_set():
                    traceback.print_exc(file=sys.stderr)
            with self._lock:
                self._waiting -= 1

    def _finish(self, shot: Shot) -> None:
        started_s = self._now_s()
        picture = self.rig.expose(shot.exposure, shot.opened_at_s)
        if self._last is not None and self.faults.strike("same-picture"):
            picture = self._last
        self._last = picture
        self._picture_bytes = len(picture.dng) + (len(picture.jpeg) if shot.quality == "raw+jpeg" else 0)
        self._closing.wait(max(0.0, self.timing.write_s - (self._now_s() - started_s)))
        listener = self.listener
        if self._fills_during() and self.faults.strike("store-full"):
            if listener:
                listener.store_filled(shot)
            return
        try:
            objects = self._store(shot, picture)
        except OSError:  # the disk under the simulated card is full
            if listener:
                listener.store_filled(shot)
            return
        self._note(shot, picture, objects)
        if listener:
            self._tell(listener, shot, objects)

    def _tell(self, listener: Listener, shot: Shot, objects: list[StoredObject]) -> None:
        """Report files and the end of the shot, in this order unless a fault turns it round."""
        if late := self.faults.strike("object-added-late"):
            listener.shot_finished(shot)
            self._closing.wait(late.number("seconds", 2.0))
        if not self.faults.strike("object-added-missing"):
            listener.objects_added(shot, objects)
        if self.faults.strike("object-added-twice"):
            listener.objects_added(shot, objects)
        if not late:
            listener.shot_finished(shot)

    def _store(self, shot: Shot, picture: PictureLike) -> list[StoredObject]:
        folders, parent, stem = self.card.next_stem()
        objects = list(folders)
        since_s = self._now_s() - shot.opened_at_s
        taken = date_text(datetime.now() - timedelta(seconds=since_s))
        for kind, name, data in self._files_of(shot, picture, stem):
            info = replace(self._describe(kind, name, len(data), parent, picture), taken=taken)
            if shot.target != "ram":
                objects.append(self.card.add_file(info, data, picture.thumb))
            if shot.target != "card":
                objects.append(self.card.buffer_file(info, data, picture.thumb))
        return objects

    def _files_of(self, shot: Shot, picture: PictureLike, stem: str) -> list[tuple[Format, str, bytes]]:
        files: list[tuple[Format, str, bytes]] = []
        if shot.quality != "jpeg":
            files.append((Format.DNG, f"{stem}.DNG", picture.dng))
        if shot.quality != "raw":
            files.append((Format.EXIF_JPEG, f"{stem}.JPG", picture.jpeg))
        if self.faults.strike("two-files"):
            kind, name, data = files[0]
            files.append((kind, name.replace(".", "A."), data))
        return files

    def _describe(self, kind: Format, name: str, size_bytes: int, parent: int, picture: PictureLike) -> ObjectInfo:
        lie = self.faults.strike("wrong-size")
        return ObjectInfo(
            CARD_ID,
            kind,
            max(0, size_bytes + (int(lie.number("by", -1000)) if lie else 0)),
            name,
            parent=parent,
            thumb_bytes=len(picture.thumb),
            thumb_size_px=THUMB_PX,
            image_size_px=(picture.width_px, picture.height_px),
            bit_depth=14 if kind is Format.DNG else 24,
        )

    def _note(self, shot: Shot, picture: PictureLike, objects: list[StoredObject]) -> None:
        first = next(stored for stored in objects if stored.is_file)
        entry = dict(picture.truth)
        entry.update(
            n=shot.number,
            handle=first.handle,
            name=first.info.name,
            opened_at_s=shot.opened_at_s,
            time_s=shot.exposure.time_s,
            f_number=shot.exposure.f_number,
            iso=shot.exposure.iso,
            body_button=shot.body_button,
        )
        self.shots.add(entry)
