"""A roll on disk: the one object through which pictures get in and their numbers change.

::

    ROLL/roll.toml               what a person knows about the roll
         record.jsonl            everything that happened, a line each
         manifest-sha256.txt     for sha256sum -c
         raw/ROLL_07.dng  .xmp   pictures as the camera made them, what is known about each beside it
         positive/  proof/       made from them
         aside/                  files that belong to no frame
         ROLL_contact.jpg
"""

import errno
import hashlib
import socket
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import Self

import msgspec

from tethercap import __version__
from tethercap.errors import RollError, RollExistsError, StorageError
from tethercap.roll import arrival, setup_file
from tethercap.roll.core import (
    CARD_SAFE,
    FILED_SAFE,
    POSITIVE_FOLDER,
    PROOF_FOLDER,
    RAW_FOLDER,
    Now,
    RollCore,
    SidecarWriter,
    local_now,
)
from tethercap.roll.lines import Companion, Filed, Opened, Started, Withdrawn
from tethercap.roll.lock import RollLock
from tethercap.roll.mirror import Mirror, MirrorStatus
from tethercap.roll.names import FrameId, check_suffix, stem
from tethercap.roll.outcome import FiledTake, Incoming, TakeOutcome, filed_line
from tethercap.roll.reconcile import reconcile
from tethercap.roll.results import RollResults
from tethercap.roll.roll_numbers import RollNumbers
from tethercap.roll.setup import RollSetup
from tethercap.roll.state import FrameRecord, FrameStatus, TakeRecord
from tethercap.roll.store import Disk, FileLayer, disk_troubles, write_whole

__all__ = ["FiledTake", "FrameRecord", "FrameStatus", "Incoming", "Roll", "RollSetup", "TakeOutcome", "TakeRecord"]

_SOFTWARE = f"tethercap {__version__}"


class Roll(RollNumbers, RollResults):
    """A roll that is open for writing. Made by `create` and `open`; every method may be called from any thread.

    Attributes
    ----------
    path : Path
        The roll's folder.
    opening_notes : tuple of str
        What opening it found and put right, fit to be shown.
    """

    def __init__(self, core: RollCore, lock: RollLock) -> None:
        self.path = core.path
        self.opening_notes: tuple[str, ...] = ()
        self._core = core
        self._lock = lock
        self._mirror: Mirror | None = None
        self._unsettled: dict[Path, Filed] = {}
        """Pictures whose line is written and whose name could not be given yet."""

    @classmethod
    def create(
        cls,
        path: Path,
        setup: RollSetup,
        *,
        sidecar: SidecarWriter | None = None,
        layer: FileLayer | None = None,
        now: Now = local_now,
        mirror: Path | None = None,
    ) -> Self:
        """Make a new roll in the folder `path`, which is empty or not there yet, and open it.

        Parameters
        ----------
        sidecar : callable, optional
            Makes an XMP packet of properties; without it no sidecars are written.
        mirror : Path, optional
            Folder, on another disk, in which a second copy of the roll's folder is kept up.

        Raises
        ------
        RollExistsError
            If there is something in the folder.
        StorageError
        """
        layer = layer or Disk()
        with disk_troubles(f"making the roll {setup.id}", safe="Nothing was there before, nothing is lost."):
            path.parent.mkdir(parents=True, exist_ok=True)
            if not path.is_dir():
                layer.make_folder(path)
                layer.sync_folder(path.parent)
            if any(path.iterdir()):
                raise RollExistsError(
                    f"{path} is not empty; nothing was overwritten.",
                    todo="Open the roll that is there, or choose another folder.",
                )
            write_whole(layer, path / setup_file.FILE_NAME, setup_file.write_setup(setup))
        return cls.open(path, sidecar=sidecar, layer=layer, now=now, mirror=mirror)

    @classmethod
    def open(
        cls,
        path: Path,
        *,
        sidecar: SidecarWriter | None = None,
        layer: FileLayer | None = None,
        now: Now = local_now,
        mirror: Path | None = None,
    ) -> Self:
        """Open a roll to go on with it; what a run that was cut off left behind is put right first.

        Raises
        ------
        RollInUseError
            If another process writes to it.
        RollError
            If the folder is no roll.
        ProfileError
            If roll.toml has a mistake.
        StorageError
        """
        setup_file_there = path / setup_file.FILE_NAME
        if not setup_file_there.is_file():
            raise RollError(f"{path} is not a roll: it has no {setup_file.FILE_NAME}.", todo="Name a roll's folder.")
        lock = RollLock(path, now())
        try:
            core = RollCore(path, sidecar=sidecar, layer=layer or Disk(), now=now)
        except BaseException:
            lock.release()
            raise
        roll = cls(core, lock)
        try:
            roll._begin()
            if mirror is not None:
                roll._start_mirror(mirror / path.resolve().name)
        except BaseException:
            roll.close()
            raise
        return roll

    def _begin(self) -> None:
        core = self._core
        with disk_troubles(f"opening the roll {self.setup.id}", safe=FILED_SAFE):
            for name in (RAW_FOLDER, POSITIVE_FOLDER, PROOF_FOLDER):
                core.make_folder(name)
            if core.is_new:
                core.say(Started(roll_id=self.setup.id, software=_SOFTWARE))
            core.say(Opened(software=_SOFTWARE, host=socket.gethostname()))
            self.opening_notes = reconcile(core)

    def _start_mirror(self, target: Path) -> None:
        self._mirror = Mirror(self.path, target, self._core.layer)
        self._core.changed = self._mirror.nudge

    @property
    def mirror_status(self) -> MirrorStatus | None:
        """Where the second copy stands; None where none was asked for."""
        return self._mirror.status if self._mirror is not None else None

    def close(self, mirror_wait_s: float = 10.0) -> None:
        """Let go of the roll; safe to call twice. Everything is on the disk already.

        Parameters
        ----------
        mirror_wait_s : float
            How long the second copy may take to catch up.
        """
        if self._mirror is not None:
            self._mirror.finish(mirror_wait_s)
        with self._core.guard:
            self._core.close()
            self._lock.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @property
    def record_damage(self) -> tuple[str, ...]:
        """Places of the record that could not be trusted when the roll was opened."""
        return self._core.damage

    def take_troubles(self) -> list[StorageError]:
        """Give, once, troubles that did not keep a picture from being filed: a sidecar or manifest still to be written.

        Opening the roll again writes what is missing.
        """
        with self._core.guard:
            troubles, self._core.troubles = self._core.troubles, []
            return troubles

    # --- pictures in

    def receive(
        self,
        frame_id: FrameId | str,
        suffix: str,
        pieces: Iterable[bytes],
        expected_bytes: int | None = None,
        *,
        on_here: arrival.OnHere = lambda _: None,
    ) -> Incoming:
        """Write an arriving picture into the roll's folder and wait until it is on the disk; it is not filed yet.

        Parameters
        ----------
        suffix : str
            Of the picture's file name, like ".dng".
        pieces : iterable of bytes
            As `Camera.pull` yields them. Whatever it raises passes through.
        expected_bytes : int, optional
            Size that the camera announced.
        on_here : callable, optional
            Told, before it is certain to be on the disk, under which two names the whole picture can be read from now
            on: the second one takes the place of the first. Must return quickly and not raise.

        Raises
        ------
        RollNameError
            If the suffix cannot end a file name.
        UnreadablePictureError
            If the size is not the one announced.
        StorageError
            What had arrived is taken away again, to leave the room to others.
        """
        core, frame, suffix = self._core, FrameId.parse(frame_id), check_suffix(suffix)
        with core.guard:
            take = core.free_take(frame)
            name = stem(self.setup.id, frame, take)
            core.arriving.add(name)
        try:
            with disk_troubles(f"receiving frame {frame}", safe=CARD_SAFE):
                path = arrival.part_path(self.path / RAW_FOLDER, name, suffix)
                whole, sha256, size_bytes = arrival.receive_into(core, path, pieces, expected_bytes, on_here)
        except BaseException:
            with core.guard:
                core.arriving.discard(name)
            raise
        return Incoming(whole, sha256, size_bytes, str(frame), take, suffix)

    def file(self, incoming: Incoming, outcome: TakeOutcome) -> FiledTake:
        """File a picture that was received. When this returns it is safe: named, recorded, on the disk.

        May be called again with the same picture after a StorageError.

        Raises
        ------
        StorageError
            The picture waits under its passing name, and opening the roll files it.
        RollExistsError
            If somebody put a file under its name meanwhile; nothing is overwritten, and the next attempt takes
            another number.
        """
        core = self._core
        with core.guard, disk_troubles(f"filing frame {incoming.frame_id}", safe="The picture waits in the roll."):
            take, packet = self._with_sidecar(self._line_for(incoming, outcome))
            filed = take.filed
            self._unsettled[incoming.path] = filed
            line = core.write_line(filed)
            self._give_name(incoming, filed)
            if packet is not None:
                core.write_sidecar(take, packet, sync_folder=False)
            core.layer.sync_folder(self.path / RAW_FOLDER)
            core.state.apply(line)
            self._settle(incoming)
            core.write_manifest()
        return FiledTake(self.path / filed.file, filed.frame, filed.take, filed.sha256, filed.accepted)

    def _give_name(self, incoming: Incoming, filed: Filed) -> None:
        try:
            is_there = self._core.put_in_place(filed)
        except FileExistsError:
            # Somebody put a file there just now; the next attempt takes another number.
            self._core.say(Withdrawn(frame=filed.frame, take=filed.take, sha256=filed.sha256))
            del self._unsettled[incoming.path]
            raise
        if not is_there:
            raise FileNotFoundError(errno.ENOENT, "the received picture is gone", str(incoming.path))

    def _line_for(self, incoming: Incoming, outcome: TakeOutcome) -> Filed:
        """Line for a picture, under the name it was to get before where that could not be given."""
        core = self._core
        before = self._unsettled.get(incoming.path)
        if before is None:
            frame_id, take = FrameId.parse(incoming.frame_id), incoming.take
            file = f"{RAW_FOLDER}/{stem(self.setup.id, frame_id, take)}{incoming.suffix}"
            if core.state.take(frame_id, take) is not None or (self.path / file).exists():
                take = core.free_take(frame_id)
                file = f"{RAW_FOLDER}/{stem(self.setup.id, frame_id, take)}{incoming.suffix}"
        else:
            take, file = before.take, before.file
        outcome = replace(
            outcome,
            strip=core.state.strip if outcome.strip is None else outcome.strip,
            mirrored=core.state.mirrored if outcome.mirrored is None else outcome.mirrored,
            taken_at=outcome.taken_at or core.now().isoformat(timespec="milliseconds"),
        )
        waits_as = core.relative(incoming.path)
        return filed_line(incoming, outcome, file=file, waits_as=waits_as, take=take, rig=self.setup.rig)

    def _with_sidecar(self, filed: Filed) -> tuple[TakeRecord, bytes | None]:
        """Take of a line, and the packet for its sidecar, whose checksum goes into the line."""
        packet = self._core.sidecar_bytes(TakeRecord(filed.take, filed.taken_at, filed))
        if packet is not None:
            filed = msgspec.structs.replace(filed, sidecar_sha256=hashlib.sha256(packet).hexdigest())
        return TakeRecord(filed.take, filed.taken_at, filed), packet

    def _settle(self, incoming: Incoming) -> None:
        self._unsettled.pop(incoming.path, None)
        self._core.arriving.discard(stem(self.setup.id, FrameId.parse(incoming.frame_id), incoming.take))

    def file_companion(self, incoming: Incoming, filed: FiledTake) -> Path:
        """File a second file of the same shot, such as the camera's JPEG, beside the RAW; return its path.

        Raises
        ------
        StorageError
        """
        core = self._core
        with core.guard, disk_troubles(f"filing frame {filed.frame_id}", safe="The picture itself is filed."):
            name = filed.path.stem + incoming.suffix
            if (filed.path.parent / name).exists():
                self._settle(incoming)
                why = f"a second {incoming.suffix} file of frame {filed.frame_id}, take {filed.take}"
                return core.move_aside(incoming.path, why, sha256=incoming.sha256)
            companion = Companion(
                frame=filed.frame_id,
                take=filed.take,
                file=f"{RAW_FOLDER}/{name}",
                waits_as=core.relative(incoming.path),
                sha256=incoming.sha256,
                size_bytes=incoming.size_bytes,
            )
            line = core.write_line(companion)
            core.put_in_place(companion)
            core.layer.sync_folder(self.path / RAW_FOLDER)
            core.state.apply(line)
            self._settle(incoming)
            core.write_manifest()
        return self.path / companion.file

    def set_aside(self, incoming: Incoming, why: str) -> Path:
        """Keep a received picture without filing it; return where it is now.

        Raises
        ------
        StorageError
        """
        with self._core.guard:
            self._settle(incoming)
            return self._core.move_aside(
                incoming.path, why, frame=incoming.frame_id, take=incoming.take, sha256=incoming.sha256
            )
