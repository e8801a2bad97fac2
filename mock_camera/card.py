"""The memory card and the picture buffer: objects with handles, their bytes kept on disk.

Pictures of 24 megapixels would fill the memory of a small machine within a roll, so their bytes
lie in a private temporary folder and are read back piece by piece.
"""

from __future__ import annotations

import os
import tempfile
import threading
from dataclasses import dataclass, replace
from pathlib import Path

from mock_camera.codes import Format
from mock_camera.datasets import ObjectInfo, StorageInfo

CARD_ID = 0x00010001
FIRST_NAME_PREFIX = "TCAP"
_LAST_NUMBER = 9999


@dataclass(frozen=True)
class StoredObject:
    """A file or folder: handle, what ObjectInfo says of it, and where its bytes lie."""

    handle: int
    info: ObjectInfo
    path: Path | None = None
    thumb: bytes = b""

    def read(self, offset: int, count: int) -> bytes:
        """Return at most `count` bytes from `offset` on; empty past the end."""
        if self.path is None:
            return b""
        with self.path.open("rb") as file:
            return os.pread(file.fileno(), count, offset)

    @property
    def stored_bytes(self) -> int:
        """How many bytes there really are, whatever ObjectInfo says."""
        return self.path.stat().st_size if self.path else 0


class NameCounter:
    """DCF names: a prefix, four digits that wrap from 9999 to 0001, and folders that rise with them.

    Parameters
    ----------
    first : int
        Number of the first picture, 1 to 9999.
    """

    def __init__(self, first: int = 1) -> None:
        self._number = first
        self._folder = 100

    def next_stem(self) -> tuple[str, str]:
        """Return (folder name, file name without extension) of the next picture."""
        result = f"{self._folder}{FIRST_NAME_PREFIX}", f"{FIRST_NAME_PREFIX}{self._number:04d}"
        self._number += 1
        if self._number > _LAST_NUMBER:
            self._number = 1
            self._folder = 100 if self._folder == 999 else self._folder + 1
        return result


class Card:
    """The one store of the body, with DCIM and its picture folders.

    Parameters
    ----------
    capacity_bytes : int
        Size of the card.
    first_number : int
        Number in the name of the first picture.
    """

    def __init__(self, capacity_bytes: int = 64 * 10**9, first_number: int = 1) -> None:
        self._capacity_bytes = capacity_bytes
        self._names = NameCounter(first_number)
        self._folder = tempfile.TemporaryDirectory(prefix="mock-camera-")
        self._objects: dict[int, StoredObject] = {}
        self._buffered: list[StoredObject] = []
        self._next_handle = 0x0001
        self._next_file = 0
        self._lock = threading.RLock()
        self._dcim = self.add_folder("DCIM", 0).handle

    def close(self) -> None:
        """Throw the bytes away."""
        self._folder.cleanup()

    def _take_handle(self) -> int:
        handle = self._next_handle
        self._next_handle += 1
        return handle

    def add_folder(self, name: str, parent: int) -> StoredObject:
        """Make a folder on the card."""
        info = ObjectInfo(CARD_ID, Format.ASSOCIATION, 0, name, parent=parent)
        with self._lock:
            folder = StoredObject(self._take_handle(), info)
            self._objects[folder.handle] = folder
            return folder

    def next_stem(self) -> tuple[list[StoredObject], int, str]:
        """Return (folders made for it, handle of the folder, name without extension) of the next picture."""
        with self._lock:
            folder_name, stem = self._names.next_stem()
            for stored in self._objects.values():
                if stored.info.parent == self._dcim and stored.info.name == folder_name:
                    return [], stored.handle, stem
            folder = self.add_folder(folder_name, self._dcim)
            return [folder], folder.handle, stem

    def _write(self, data: bytes) -> Path:
        path = Path(self._folder.name) / f"{self._next_file:06d}"
        self._next_file += 1
        path.write_bytes(data)
        return path

    def add_file(self, info: ObjectInfo, data: bytes, thumb: bytes) -> StoredObject:
        """Put a file on the card."""
        with self._lock:
            stored = StoredObject(self._take_handle(), info, self._write(data), thumb)
            self._objects[stored.handle] = stored
            return stored

    def buffer_file(self, info: ObjectInfo, data: bytes, thumb: bytes) -> StoredObject:
        """Keep a file in the body's buffer; it is on no store."""
        with self._lock:
            stored = StoredObject(self._take_handle(), replace(info, storage=0, parent=0), self._write(data), thumb)
            self._buffered.append(stored)
            return stored

    def buffered(self) -> list[StoredObject]:
        """Return the files in the buffer, oldest first."""
        with self._lock:
            return list(self._buffered)

    def drop_buffered(self, handle: int) -> None:
        """Forget a file in the buffer."""
        with self._lock:
            gone = [stored for stored in self._buffered if stored.handle == handle]
            self._buffered = [stored for stored in self._buffered if stored.handle != handle]
        for stored in gone:
            if stored.path:
                stored.path.unlink(missing_ok=True)

    def find(self, handle: int) -> StoredObject | None:
        """Return the object with that handle, on the card or in the buffer."""
        with self._lock:
            buffered = (stored for stored in self._buffered if stored.handle == handle)
            return self._objects.get(handle) or next(buffered, None)

    def on_card(self) -> list[StoredObject]:
        """Return all objects of the card, oldest first."""
        with self._lock:
            return list(self._objects.values())

    def replace_info(self, handle: int, info: ObjectInfo) -> None:
        """Change what ObjectInfo says of an object."""
        with self._lock:
            self._objects[handle] = replace(self._objects[handle], info=info)

    def delete(self, handle: int) -> None:
        """Remove a file, or a folder with all that is in it."""
        with self._lock:
            children = [s.handle for s in self._objects.values() if s.info.parent == handle]
            stored = self._objects.pop(handle, None)
        for child in children:
            self.delete(child)
        if stored and stored.path:
            stored.path.unlink(missing_ok=True)

    @property
    def free_bytes(self) -> int:
        """What is left of the card."""
        with self._lock:
            used = sum(stored.stored_bytes for stored in self._objects.values())
        return max(0, self._capacity_bytes - used)

    def storage_info(self, free_bytes: int, picture_bytes: int) -> StorageInfo:
        """Return the StorageInfo dataset for a stated free space and size of one picture."""
        return StorageInfo(
            self._capacity_bytes, free_bytes, free_bytes // max(1, picture_bytes), "Simulated memory card", "TCAPCARD"
        )
