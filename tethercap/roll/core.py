"""What every part of an open roll stands on: its folder, record, state, and the steps that put files in their place."""

import contextlib
import secrets
import threading
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from tethercap.errors import RollError, StorageError
from tethercap.roll import record, setup_file
from tethercap.roll.fixity import MANIFEST_NAME, file_sha256, manifest_text
from tethercap.roll.lines import Companion, Filed, Line, LineBody, SetAside
from tethercap.roll.metadata import properties_for
from tethercap.roll.names import FrameId, parse_stem
from tethercap.roll.setup import RollSetup
from tethercap.roll.state import TakeRecord, rebuild
from tethercap.roll.store import FileLayer, disk_troubles, write_whole

RAW_FOLDER: Final = "raw"
POSITIVE_FOLDER: Final = "positive"
PROOF_FOLDER: Final = "proof"
ASIDE_FOLDER: Final = "aside"
EDITED_FOLDER: Final = "edited"
"""Results that a person or another program changed, put out of the way of those that were made anew; kept."""
RESULT_FOLDERS: Final = (POSITIVE_FOLDER, PROOF_FOLDER, "jpeg", "linear", "density", "dust")
"""Made from the pictures, and may be made again; those after the first two are there where they were asked for."""

CARD_SAFE: Final = "The picture is still on the card; nothing that was filed is touched."
FILED_SAFE: Final = "The pictures that were filed are not touched."

SidecarWriter = Callable[[Mapping[str, object]], bytes]
"""Properties in, an XMP packet out; the same properties give the same bytes."""
Now = Callable[[], datetime]
"""Gives date and time, with the time zone."""


def local_now() -> datetime:
    """Date and time now, with the local time zone."""
    return datetime.now(UTC).astimezone()


def read_folder_setup(path: Path) -> RollSetup:
    """Read a roll folder's roll.toml.

    Raises
    ------
    RollError
        If there is none.
    ProfileError
        If it has a mistake.
    StorageError
    """
    file = path / setup_file.FILE_NAME
    try:
        return setup_file.read_setup(file.read_bytes(), str(file))
    except (FileNotFoundError, NotADirectoryError):
        raise RollError(
            f"{path} is not a roll: it has no {setup_file.FILE_NAME}.", todo="Name the folder of a roll."
        ) from None
    except OSError as error:
        raise StorageError(f"{file} cannot be read: {error.strerror}.", todo="Look at the disk.") from error


class RollCore:
    """Folder, record and state of a roll that this process may write to.

    Attributes
    ----------
    guard : RLock
        Held while state and files change.
    troubles : list of StorageError
        What went wrong beside the pictures themselves.
    changed : callable
        Told after files of the roll changed.
    """

    def __init__(self, path: Path, *, sidecar: SidecarWriter | None, layer: FileLayer, now: Now) -> None:
        self.path = path
        self.sidecar = sidecar
        self.layer = layer
        self.now = now
        self.guard = threading.RLock()
        self.troubles: list[StorageError] = []
        self.arriving: set[str] = set()
        """Stems of pictures on their way."""
        self.changed: Callable[[], None] = lambda: None
        contents = record.read_record_file(path / record.FILE_NAME)
        self.is_new = not contents.lines
        self.state, odd = rebuild(read_folder_setup(path), contents.lines)
        self.damage = (*map(str, contents.damage), *odd)
        self._record = record.RecordWriter(layer, path / record.FILE_NAME, contents, now)
        if self.is_new:
            with disk_troubles("beginning the roll's record", safe="Nothing was changed."):
                layer.sync_folder(path)

    def close(self) -> None:
        """Close the record."""
        self._record.close()

    def write_line(self, body: LineBody) -> Line:
        """Put a line on the disk, without taking it into the state yet."""
        return self._record.append(body)

    def say(self, body: LineBody) -> None:
        """Put a line on the disk and take it into the state."""
        with self.guard:
            self.state.apply(self.write_line(body))

    def relative(self, path: Path) -> str:
        """Path inside the roll as the record writes it.

        Raises
        ------
        RollError
            If it lies outside.
        """
        try:
            return path.resolve().relative_to(self.path.resolve()).as_posix()
        except ValueError:
            raise RollError(f"{path} does not lie in the roll {self.path}.") from None

    def make_folder(self, name: str) -> Path:
        """Give one of the roll's own folders, made where it is missing."""
        folder = self.path / name
        if not folder.is_dir():
            self.layer.make_folder(folder)
            self.layer.sync_folder(self.path)
        return folder

    def free_take(self, frame_id: FrameId) -> int:
        """Number of the frame's next take: above every one in the record, on the disk and on its way."""
        used = {take.number for take in self.state.frame(frame_id).takes}
        on_disk = {path.stem for path in (self.path / RAW_FOLDER).iterdir()}
        for name in on_disk | self.arriving:
            known = parse_stem(self.state.setup.id, name)
            if known is not None and known[0] == frame_id:
                used.add(known[1])
        return max(used, default=0) + 1

    def put_in_place(self, line: Filed | Companion) -> bool:
        """Give a picture that waits its name; False where neither is there.

        Raises
        ------
        OSError
        """
        waiting, target = self.path / line.waits_as, self.path / line.file
        if line.waits_as and waiting.exists():
            self.layer.rename_new(waiting, target)
            return True
        return target.exists()

    def sidecar_bytes(self, take: TakeRecord) -> bytes | None:
        """Packet that belongs beside a take's RAW; None without a writer of packets."""
        if self.sidecar is None:
            return None
        try:
            return self.sidecar(properties_for(self.state.setup, FrameId.parse(take.filed.frame), take))
        except ValueError as error:
            self.troubles.append(
                StorageError(f"{take.sidecar} could not be made: {error}.", safe="The picture itself is filed.")
            )
            return None

    def write_sidecar(self, take: TakeRecord, packet: bytes, *, sync_folder: bool = True) -> None:
        """Write a take's sidecar. Trouble is kept for later: the RAW counts, and opening the roll repeats this."""
        with self.keeping_troubles(f"writing {take.sidecar}"):
            write_whole(self.layer, self.path / take.sidecar, packet, sync_folder=sync_folder)

    def write_manifest(self) -> None:
        """Write the manifest of what the record says, if it does not stand there already."""
        text = manifest_text(self.state.sums)
        path = self.path / MANIFEST_NAME
        with self.keeping_troubles(f"writing {MANIFEST_NAME}"):
            if not path.exists() or path.read_bytes() != text:
                # The record is the authority, so the manifest's name need not be waited for.
                write_whole(self.layer, path, text, sync_folder=False)
        self.changed()

    @contextlib.contextmanager
    def keeping_troubles(self, doing: str) -> Iterator[None]:
        """Keep a refusal of the disk for `troubles` instead of raising it."""
        try:
            with disk_troubles(doing, safe="The picture itself is filed."):
                yield
        except StorageError as error:
            self.troubles.append(error)

    def move_aside(self, path: Path, why: str, *, frame: str = "", take: int = 0, sha256: str = "") -> Path:
        """Move a file that belongs to no frame out of the way, and say so in the record.

        Raises
        ------
        StorageError
        RollExistsError
        """
        with self.guard, disk_troubles(f"setting {path.name} aside", safe="It stays where it is."):
            folder = self.make_folder(ASIDE_FOLDER)
            target = folder / f"{path.name.lstrip('.')}.{secrets.token_hex(3)}"
            size_bytes, sha256 = path.stat().st_size, sha256 or file_sha256(path)
            was = self.relative(path)
            self.layer.rename_new(path, target)
            self.layer.sync_folder(folder)
            self.layer.sync_folder(path.parent)
            self.say(
                SetAside(
                    file=self.relative(target), was=was, why=why, sha256=sha256, size_bytes=size_bytes,
                    frame=frame, take=take,
                )
            )  # fmt: skip
            self.write_manifest()
            return target
