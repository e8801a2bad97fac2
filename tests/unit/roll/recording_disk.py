"""A file layer that works on the real disk, writes down every call, and can show the disk after a power cut.

The model is what POSIX promises and no more: a file's content is safe after its fsync, a name (new, renamed, removed)
after an fsync of its folder. A rename is one step. Everything else may or may not have reached the disk.
"""

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from tethercap.roll.store import Disk


@dataclass(frozen=True)
class Call:
    """One call: its name, the paths it is about (relative), and what was written."""

    name: str
    path: str
    target: str = ""
    content: bytes = b""
    size_bytes: int = 0


@dataclass(frozen=True)
class Promise:
    """Something the roll said was safe, at this point of the calls."""

    what: object


class RecordingDisk(Disk):
    """The real disk, without waiting for it, and a list of what was asked of it."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.log: list[Call | Promise] = []
        self._open: dict[int, str] = {}

    def _name(self, path: Path) -> str:
        return path.relative_to(self.root).as_posix()

    def open_new(self, path: Path) -> int:
        handle = super().open_new(path)
        self._open[handle] = self._name(path)
        self.log.append(Call("create", self._name(path)))
        return handle

    def open_append(self, path: Path) -> int:
        if not path.exists():
            self.log.append(Call("create", self._name(path)))
        handle = super().open_append(path)
        self._open[handle] = self._name(path)
        return handle

    def write(self, handle: int, content: bytes) -> None:
        self.log.append(Call("write", self._open[handle], content=bytes(content)))
        super().write(handle, content)

    def truncate(self, handle: int, size_bytes: int) -> None:
        self.log.append(Call("truncate", self._open[handle], size_bytes=size_bytes))
        super().truncate(handle, size_bytes)

    def sync(self, handle: int) -> None:
        self.log.append(Call("sync", self._open[handle]))

    def rename_new(self, source: Path, target: Path) -> None:
        super().rename_new(source, target)
        self.log.append(Call("rename", self._name(source), self._name(target)))

    def replace(self, source: Path, target: Path) -> None:
        super().replace(source, target)
        self.log.append(Call("rename", self._name(source), self._name(target)))

    def remove(self, path: Path) -> None:
        super().remove(path)
        self.log.append(Call("remove", self._name(path)))

    def make_folder(self, path: Path) -> None:
        super().make_folder(path)
        self.log.append(Call("mkdir", self._name(path)))

    def sync_folder(self, path: Path) -> None:
        self.log.append(Call("sync_folder", self._name(path)))


@dataclass
class _File:
    """Content as programs see it, and as the disk is sure to hold it."""

    now: bytearray = field(default_factory=bytearray)
    safe: bytes = b""


@dataclass
class _Naming:
    """A change of names, and whether the disk is sure to hold it."""

    call: Call
    file: _File | None
    is_safe: bool = False


Keep = Callable[[int], bool]
"""Whether the n-th change of names that is not sure to be safe reached the disk."""
Content = Callable[[_File], bytes]
"""What the disk holds of a file."""


class PowerCut:
    """The disk after the first `length` calls of a log."""

    def __init__(self, log: list[Call | Promise], length: int) -> None:
        self.promises: list[object] = []
        self._namings: list[_Naming] = []
        self._names: dict[str, _File] = {}
        for call in log[:length]:
            if isinstance(call, Promise):
                self.promises.append(call.what)
            else:
                self._do(call)

    def _do(self, call: Call) -> None:
        match call.name:
            case "create":
                self._names[call.path] = file = _File()
                self._namings.append(_Naming(call, file))
            case "mkdir":
                self._namings.append(_Naming(call, None))
            case "write":
                self._names[call.path].now += call.content
            case "truncate":
                del self._names[call.path].now[call.size_bytes :]
            case "sync":
                file = self._names[call.path]
                file.safe = bytes(file.now)
            case "rename":
                file = self._names[call.target] = self._names.pop(call.path)
                self._namings.append(_Naming(call, file))
            case "remove":
                file = self._names.pop(call.path)
                self._namings.append(_Naming(call, file))
            case "sync_folder":
                for naming in self._namings:
                    folders = {_folder(naming.call.path), _folder(naming.call.target or naming.call.path)}
                    naming.is_safe = naming.is_safe or call.path in folders

    def write_to(self, folder: Path, keep: Keep, content: Content) -> None:
        """Make the disk's state in an empty folder."""
        names: dict[str, _File] = {}
        unsure = 0
        for naming in self._namings:
            if not naming.is_safe:
                unsure += 1
                if not keep(unsure):
                    continue
            call = naming.call
            match call.name:
                case "mkdir":
                    (folder / call.path).mkdir(parents=True, exist_ok=True)
                case "create":
                    assert naming.file is not None
                    names[call.path] = naming.file
                case "rename":
                    assert naming.file is not None
                    names.pop(call.path, None)
                    names[call.target] = naming.file
                case "remove":
                    names.pop(call.path, None)
        for name, file in names.items():
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content(file))

    def states(self, seed: int) -> Iterator[tuple[str, Keep, Content]]:
        """Ways in which the cut may have left the disk."""
        chance = random.Random(seed)
        unsure = sum(not naming.is_safe for naming in self._namings)
        yield "all reached the disk", lambda n: True, lambda file: bytes(file.now)
        yield "only what is sure", lambda n: False, lambda file: file.safe
        yield "names without content", lambda n: True, lambda file: file.safe
        yield "content without names", lambda n: False, lambda file: bytes(file.now)
        first = chance.randint(0, unsure)
        yield "some", lambda n: n <= first, lambda file: _partly(file, chance)


def _partly(file: _File, chance: random.Random) -> bytes:
    """What was not synced got there in part, or as a hole of zeros."""
    if len(file.now) <= len(file.safe):
        return file.safe
    end = chance.randint(len(file.safe), len(file.now))
    tail = bytes(file.now[len(file.safe) : end])
    return file.safe + (tail if chance.random() < 0.6 else bytes(len(tail)))


def _folder(path: str) -> str:
    parent = Path(path).parent.as_posix()
    return parent
