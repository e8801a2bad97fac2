"""The memory card and the picture buffer: objects with handles, their bytes kept on disk.

Pictures of 24 megapixels would fill the memory of a small machine within a roll, so their bytes
lie in one temporary file without a name, which is gone when the process is, however it ends.
"""

from __future__ import annotations

import os
import tempfile
import threading
from dataclasses import dataclass, replace

from mock_camera.codes import Format
from mock_camera.datasets import ObjectInfo, StorageInfo

CARD_ID = 0x00010001
FIRST_NAME_PREFIX = "TCAP"
_LAST_NUMBER = 9999


class Medium:
    """Bytes appended to a nameless file on disk."""

    def __init__(self) -> None:
        # Lives as long as the card: closed by `close`, not by a context.
        self._file = tempfile.TemporaryFile(prefix="mock-camera-", buffering=0)  # noqa: SIM115
        self._end = 0
        self._lock = threading.Lock()

    def append(self, data: bytes) -> int:
        """Keep bytes; return where they begin.

        Raises
        ------
        OSError
            If the disk of this machine is full.
        """
        with self._lock:
            start, view = self._end, memoryview(data)
            while view:
                written = os.pwrite(self._file.fileno(), view, self._end)
                self._end += written
                view = view[written:]
            return start

    def read(self, start: int, count: int) -> bytes:
        """Return bytes kept before."""
        return os.pread(self._file.fileno(), count, start)

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()


@dataclass(frozen=True)
class StoredObject:
    """A file or folder: handle, what ObjectInfo says of it, and where its bytes lie.

    `length` is how many bytes there really are, whatever ObjectInfo says; None for a folder.
    """

    handle: int
    info: ObjectInfo
    medium: Medium
    start: int = 0
    length: int | None = None
    thumb: bytes = b""

    @property
    def is_file(self) -> bool:
        """Whether it has bytes."""
        return self.length is not None

    @property
    def stored_bytes(self) -> int:
        """How many bytes there really are."""
        return self.length or 0

    def read(self, offset: int, count: int) -> bytes:
        """Return at most `count` bytes from `offset` on; empty past the end."""
        count = min(count, self.stored_bytes - offset)
        return self.medium.read(self.start + offset, count) if count > 0 else b""


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
        self._medium = Medium()
        self._objects: dict[int, StoredObject] = {}
        self._buffered: list[StoredObject] = []
        self._next_handle = 0x0001
        self._lock = threading.RLock()
        self._dcim = self.add_folder("DCIM", 0).handle

    def close(self) -> None:
        """Throw the bytes away."""
        self._medium.close()

    def _take_handle(self) -> int:
        handle = self._next_handle
        self._next_handle += 1
        return handle

    def add_folder(self, name: str, parent: int) -> StoredObject:
        """Make a folder on the card."""
        info = ObjectInfo(CARD_ID, Format.ASSOCIATION, 0, name, parent=parent)
        with self._lock:
            folder = StoredObject(self._take_handle(), info, self._medium)
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

    def _write(self, info: ObjectInfo, data: bytes, thumb: bytes) -> StoredObject:
        start = self._medium.append(data)
        return StoredObject(self._take_handle(), info, self._medium, start, len(data), thumb)

    def add_file(self, info: ObjectInfo, data: bytes, thumb: bytes) -> StoredObject:
        """Put a file on the card."""
        with self._lock:
            stored = self._write(info, data, thumb)
            self._objects[stored.handle] = stored
            return stored

    def buffer_file(self, info: ObjectInfo, data: bytes, thumb: bytes) -> StoredObject:
        """Keep a file in the body's buffer; it is on no store."""
        with self._lock:
            stored = self._write(replace(info, storage=0, parent=0), data, thumb)
            self._buffered.append(stored)
            return stored

    def buffered(self) -> list[StoredObject]:
        """Return the files in the buffer, oldest first."""
        with self._lock:
            return list(self._buffered)

    def drop_buffered(self, handle: int) -> None:
        """Forget a file in the buffer."""
        with self._lock:
            self._buffered = [stored for stored in self._buffered if stored.handle != handle]

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
            self._objects.pop(handle, None)
        for child in children:
            self.delete(child)

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
