"""The one small layer through which a roll changes the disk, and what its refusals mean.

Everything a roll promises about crashes and power cuts rests on the order of these few calls. A test puts a recording
layer in their place and cuts it off after every call.
"""

import contextlib
import ctypes
import errno
import fcntl
import itertools
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

from tethercap.errors import RollExistsError, StorageError

_AT_FDCWD = -100
_RENAME_NOREPLACE = 1
"""linux/fs.h; renameat2 fails with EEXIST instead of replacing."""
_FULL_SYNC: int | None = getattr(fcntl, "F_FULLFSYNC", None)
"""macOS only, where fsync leaves the content in the drive's own memory (its fsync(2) manual page says so)."""
_NO_SUCH_CALL = frozenset({errno.ENOSYS, errno.EINVAL, errno.EOPNOTSUPP, errno.EPERM})
"""What file systems answer that do not know a kind of rename or link."""


class FileLayer(Protocol):
    """The calls that change files. A handle is an open file descriptor."""

    def open_new(self, path: Path) -> int:
        """Create a file for writing; fails where something has that name."""
        ...

    def open_append(self, path: Path) -> int:
        """Open a file for appending, created where there is none."""
        ...

    def write(self, handle: int, content: bytes) -> None:
        """Write all of `content`."""
        ...

    def truncate(self, handle: int, size_bytes: int) -> None:
        """Cut the file to `size_bytes`."""
        ...

    def sync(self, handle: int) -> None:
        """Return when the file's content is on the disk."""
        ...

    def close(self, handle: int) -> None:
        """Close the file."""
        ...

    def rename_new(self, source: Path, target: Path) -> None:
        """Rename, never over something else; FileExistsError where `target` is there."""
        ...

    def replace(self, source: Path, target: Path) -> None:
        """Rename over what is there, in one step. Only for text that the roll can write again."""
        ...

    def remove(self, path: Path) -> None:
        """Take away a file that holds no picture."""
        ...

    def make_folder(self, path: Path) -> None:
        """Make one folder; fails where something has that name."""
        ...

    def sync_folder(self, path: Path) -> None:
        """Return when the folder's names are on the disk."""
        ...


class Disk:
    """The real file system."""

    def open_new(self, path: Path) -> int:
        """Create a file for writing; fails where something has that name."""
        return os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o666)

    def open_append(self, path: Path) -> int:
        """Open a file for appending, created where there is none."""
        return os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC, 0o666)

    def write(self, handle: int, content: bytes) -> None:
        """Write all of `content`."""
        view = memoryview(content)
        while view:
            view = view[os.write(handle, view) :]

    def truncate(self, handle: int, size_bytes: int) -> None:
        """Cut the file to `size_bytes`."""
        os.ftruncate(handle, size_bytes)

    def sync(self, handle: int) -> None:
        """Return when the file's content is on the disk."""
        if _FULL_SYNC is not None:
            with contextlib.suppress(OSError):
                fcntl.fcntl(handle, _FULL_SYNC)
                return
        os.fsync(handle)

    def close(self, handle: int) -> None:
        """Close the file."""
        os.close(handle)

    def rename_new(self, source: Path, target: Path) -> None:
        """Rename, never over something else; FileExistsError where `target` is there."""
        if _rename_by_kernel(source, target):
            return
        try:
            os.link(source, target)
        except OSError as error:
            if error.errno not in _NO_SUCH_CALL:
                raise
            # A file system without links (a memory card's): the roll's lock keeps other writers away meanwhile.
            if os.path.lexists(target):
                raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(target)) from None
            source.rename(target)
        else:
            source.unlink()

    def replace(self, source: Path, target: Path) -> None:
        """Rename over what is there, in one step."""
        source.replace(target)

    def remove(self, path: Path) -> None:
        """Take away a file that holds no picture."""
        path.unlink()

    def make_folder(self, path: Path) -> None:
        """Make one folder; fails where something has that name."""
        path.mkdir()

    def sync_folder(self, path: Path) -> None:
        """Return when the folder's names are on the disk."""
        handle = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
        try:
            os.fsync(handle)
        except OSError as error:
            # Some network and user-space file systems cannot sync a folder; there is nothing better to do there.
            if error.errno not in _NO_SUCH_CALL:
                raise
        finally:
            os.close(handle)


def _rename_by_kernel(source: Path, target: Path) -> bool:
    """Rename with the kernel's own check; False where kernel, C library or file system do not offer it."""
    renameat2 = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)
    if renameat2 is None:
        return False
    if renameat2(_AT_FDCWD, os.fsencode(source), _AT_FDCWD, os.fsencode(target), _RENAME_NOREPLACE) == 0:
        return True
    code = ctypes.get_errno()
    if code in _NO_SUCH_CALL:
        return False
    raise OSError(code, os.strerror(code), str(source), None, str(target))


def waiting_path(path: Path) -> Path:
    """Name under which a result is written before it takes the place of the one that is at `path`."""
    return path.with_name(f".{path.name}.{os.getpid()}.part")


def place_of(waiting: Path) -> Path:
    """Where a result that waits under its `waiting_path` belongs."""
    return waiting.with_name(waiting.name[1:].rsplit(".", 2)[0])


def free_name(path: Path) -> Path:
    """Give `path`, or where something has that name the first of ``name-2.tif``, ``name-3.tif`` ... that is free."""
    names = (path.stem if count == 1 else f"{path.stem}-{count}" for count in itertools.count(1))
    return next(free for name in names if not (free := path.with_name(name + path.suffix)).exists())


def write_whole(layer: FileLayer, path: Path, content: bytes, *, sync_folder: bool = True) -> None:
    """Put `content` at `path` so that a crash leaves the old text or the new one, never a part.

    Parameters
    ----------
    sync_folder : bool
        Wait until the new name is on the disk as well.
    """
    beside = path.with_name(f".{path.name}.new")
    if beside.exists():
        layer.remove(beside)
    handle = layer.open_new(beside)
    try:
        layer.write(handle, content)
        layer.sync(handle)
    finally:
        layer.close(handle)
    layer.replace(beside, path)
    if sync_folder:
        layer.sync_folder(path.parent)


_SENTENCES = {
    errno.ENOSPC: ("The disk is full", "Make room on it, then try again."),
    errno.EDQUOT: ("Your share of the disk is used up", "Make room, then try again."),
    errno.EROFS: ("The disk may only be read", "Make it writable (a switch, a mount option), then try again."),
    errno.EACCES: ("The folder may not be written to by you", "Change its permissions, then try again."),
    errno.EPERM: ("The folder may not be written to by you", "Change its permissions, then try again."),
    errno.EIO: ("The disk reports a fault while reading or writing", "Do not trust this disk: use another one."),
    errno.ENODEV: ("The disk is gone", "Plug it in again, then try again."),
    errno.ENXIO: ("The disk is gone", "Plug it in again, then try again."),
    errno.ENOENT: ("A folder or file is not there; the disk may be gone", "Plug it in again, then try again."),
    errno.ENOTDIR: ("A file is where a folder should be", "Choose another place for the roll."),
    errno.ESTALE: ("The network disk lost the folder", "Connect it again, then try again."),
    errno.ETIMEDOUT: ("The network disk does not answer", "Connect it again, then try again."),
    errno.EFBIG: ("The disk does not take files this large", "Use a disk with another file system."),
    errno.ENAMETOOLONG: ("The name is too long for this disk", "Choose a shorter roll id or a folder nearer the top."),
}


@contextlib.contextmanager
def disk_troubles(doing: str, *, safe: str) -> Iterator[None]:
    """Turn the system's errors into sentences.

    Parameters
    ----------
    doing : str
        What was being done, to follow "while": "filing frame 7".
    safe : str
        What is safe if it fails.

    Raises
    ------
    StorageError
    RollExistsError
        Where something is in the way.
    """
    try:
        yield
    except FileExistsError as error:
        raise RollExistsError(
            f"{error.filename2 or error.filename} is there already (while {doing}); nothing was overwritten.",
            safe=safe,
            todo="Move it away or choose another place.",
        ) from error
    except OSError as error:
        unknown = (error.strerror or str(error), "Look at the disk, then try again.")
        what, todo = _SENTENCES.get(error.errno or 0, unknown)
        where = f": {error.filename}" if error.filename else ""
        raise StorageError(f"{what} (while {doing}){where}.", safe=safe, todo=todo) from error
