"""A second copy of a roll on another disk, kept up beside the work: it never holds up capture, and it catches up.

A thread of its own copies every file that the copy lacks, reads it back to be sure, and tries again later where the
disk is slow or gone. RAW files are never overwritten in the copy; what was made from them is, where it is as the copy
wrote it, and texts: record, manifest, roll.toml, sidecars. Files that got another name in the roll are renamed.
"""

import errno
import secrets
import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from tethercap.errors import RollError, RollExistsError, StorageError
from tethercap.roll import record, setup_file
from tethercap.roll.core import ASIDE_FOLDER, EDITED_FOLDER, RAW_FOLDER, RESULT_FOLDERS, read_folder_setup
from tethercap.roll.fixity import MANIFEST_NAME, file_sha256, read_manifest
from tethercap.roll.mirror_moves import follow_names, known_sums
from tethercap.roll.names import check_path
from tethercap.roll.state import SIDECAR_SUFFIX
from tethercap.roll.store import FileLayer, disk_troubles

_PIECE_BYTES = 1 << 20
_RETRY_S: Final = 5.0
_PASSING_SUFFIX = ".mirroring"
_PATIENCE_WITH_SOURCE: Final = 3
"""So often in a row a file of the roll may differ from its manifest before that is called damage."""


@dataclass(frozen=True, slots=True)
class MirrorStatus:
    """Where the copy stands."""

    waiting: int
    """Files still to be copied, as far as known."""
    error: StorageError | None = None
    """Why it does not get on."""
    moved_aside: tuple[str, ...] = ()
    """Files of the copy that had other content than the roll's; kept in its aside/."""

    @property
    def is_caught_up(self) -> bool:
        """The copy holds all that the roll holds."""
        return self.waiting == 0 and self.error is None

    @property
    def sentence(self) -> str:
        """What to tell the person; empty where all is well."""
        aside = f"In the second copy, files of the same names were moved aside: {', '.join(self.moved_aside)}."
        if self.is_caught_up:
            return aside if self.moved_aside else ""
        why = f" {self.error}" if self.error is not None else ""
        return f"The second copy still lacks {self.waiting} files.{why} The next run with the same copy catches up."


class SourceMovedError(RollError):
    """The roll's own file has other content than its manifest says: it is being renamed, or it is damaged."""


class Copying:
    """Brings a copy of a roll up to date, remembering what it has read back already.

    Attributes
    ----------
    moved_aside : list of str
        Files of the copy that had other content than the roll's.
    """

    def __init__(self, source: Path, target: Path, layer: FileLayer) -> None:
        self._source, self._target, self._layer = source, target, layer
        self._read_back: dict[str, str] = {}
        self._known: dict[str, str] = {}
        """What the copy held when it was brought up to date last."""
        self.moved_aside: list[str] = []

    def catch_up(
        self, waiting: Callable[[int], None] = lambda count: None, stop: Callable[[], bool] = lambda: False
    ) -> None:
        """Copy what the roll's manifest names and the copy lacks.

        Parameters
        ----------
        waiting : callable
            Told the number of files still to be copied.
        stop : callable
            Asked between files.

        Raises
        ------
        StorageError
        SourceMovedError
        """
        with disk_troubles(f"writing the second copy {self._target}", safe="The roll itself is not touched."):
            manifest = (self._source / MANIFEST_NAME).read_bytes()
            sums, _ = read_manifest(manifest)
            self._target.mkdir(parents=True, exist_ok=True)
            self._known = known_sums(self._target)
            if self._known.items() - sums.items():
                self.moved_aside += follow_names(self._target, sums, self._layer)
            todo = [file for file in sorted(sums) if self._read_back.get(file) != sums[file]]
            for done, file in enumerate(todo):
                waiting(len(todo) - done)
                if stop():
                    return
                self._bring_over(check_path(file), sums[file])
            for name in (setup_file.FILE_NAME, setup_file.RECIPES_NAME, record.FILE_NAME):
                if (self._source / name).exists():
                    self._write(name, (self._source / name).read_bytes())
            if (self._source / setup_file.RECIPES_NAME).exists():
                self._write(setup_file.RECIPES_NAME, (self._source / setup_file.RECIPES_NAME).read_bytes())
            self._write(MANIFEST_NAME, manifest)

    def _bring_over(self, file: str, sha256: str) -> None:
        """Copy one file and read it back."""
        source, there = self._source / file, self._target / file
        if not source.exists():
            return  # renamed meanwhile; the manifest that follows has its new name
        if not there.exists() or file_sha256(there) != sha256:
            there.parent.mkdir(parents=True, exist_ok=True)
            passing = there.with_name(f".{there.name}{_PASSING_SUFFIX}")
            with source.open("rb") as opened:
                self._fill(passing, iter(lambda: opened.read(_PIECE_BYTES), b""))
            if file_sha256(passing) != sha256:
                passing.unlink()
                if file_sha256(source) != sha256:
                    raise SourceMovedError(f"{file} of the roll has other content than its manifest says.")
                raise OSError(errno.EIO, "what was copied reads back differently", str(there))
            self._give_name(passing, there, file)
        self._read_back[file] = sha256

    def _give_name(self, passing: Path, there: Path, file: str) -> None:
        if there.exists() and self._may_be_replaced(there, file):
            self._layer.replace(passing, there)
        else:
            if there.exists():
                self._move_aside(there)
            self._layer.rename_new(passing, there)
        self._layer.sync_folder(there.parent)

    def _may_be_replaced(self, there: Path, file: str) -> bool:
        """Tell texts, and what was made from pictures and is as it was copied: the roll can make those again."""
        if there.suffix == SIDECAR_SUFFIX:
            return True
        is_made = file.partition("/")[0] not in {RAW_FOLDER, ASIDE_FOLDER}
        return is_made and self._known.get(file) == file_sha256(there)

    def _move_aside(self, there: Path) -> None:
        aside = self._target / ASIDE_FOLDER
        aside.mkdir(exist_ok=True)
        self._layer.rename_new(there, aside / f"{there.name}.{secrets.token_hex(3)}")
        self.moved_aside.append(there.relative_to(self._target).as_posix())

    def _fill(self, path: Path, pieces: Iterable[bytes]) -> None:
        path.unlink(missing_ok=True)
        handle = self._layer.open_new(path)
        try:
            for piece in pieces:
                self._layer.write(handle, piece)
            self._layer.sync(handle)
        finally:
            self._layer.close(handle)

    def _write(self, name: str, content: bytes) -> None:
        """Write a text of the roll's; the record may have grown since, then it follows with the next files."""
        path = self._target / name
        if path.exists() and path.read_bytes() == content:
            return
        passing = path.with_name(f".{name}{_PASSING_SUFFIX}")
        self._fill(passing, [content])
        self._layer.replace(passing, path)
        self._layer.sync_folder(self._target)


def check_target(source: Path, target: Path) -> None:
    """Refuse a place that cannot hold the copy.

    Raises
    ------
    RollError
        If it lies inside the roll.
    RollExistsError
        If something else than a copy of this roll is there.
    """
    if target.resolve().is_relative_to(source.resolve()):
        raise RollError(f"The second copy {target} cannot lie inside the roll.", todo="Choose another disk.")
    with disk_troubles(f"looking at {target}", safe="Nothing was changed."):
        is_used = target.exists() and any(target.iterdir())
    if is_used:
        # A copy that was begun and not finished has no roll.toml yet, only pictures of this roll.
        begun = {RAW_FOLDER, ASIDE_FOLDER, EDITED_FOLDER, *RESULT_FOLDERS} >= {path.name for path in target.iterdir()}
        if not begun and read_folder_setup(target).id != read_folder_setup(source).id:
            raise RollExistsError(f"{target} holds another roll.", todo="Choose another place for the second copy.")


def _damaged(error: SourceMovedError) -> StorageError:
    return StorageError(
        error.what,
        safe="The second copy holds what it held.",
        todo="Run tethercap verify on the roll, and on the copy.",
    )


class Mirror:
    """Keeps a second copy of a roll in a thread of its own.

    Parameters
    ----------
    source : Path
        The roll's folder.
    target : Path
        Folder of the copy; made where it is missing.
    on_status : callable
        Told from the mirror's thread whenever something changed.
    """

    def __init__(
        self,
        source: Path,
        target: Path,
        layer: FileLayer,
        on_status: Callable[[MirrorStatus], None] = lambda status: None,
        retry_s: float = _RETRY_S,
    ) -> None:
        check_target(source, target)
        self._copying = Copying(source, target, layer)
        self._on_status, self._retry_s = on_status, retry_s
        self._condition = threading.Condition()
        self._asked, self._done, self._stopping = 1, 0, False
        self._source_moved = 0
        self._status = MirrorStatus(waiting=1)
        # A disk that hangs for ever must not keep the program from ending.
        self._thread = threading.Thread(target=self._work, name=f"mirror of {source.name}", daemon=True)
        self._thread.start()

    @property
    def status(self) -> MirrorStatus:
        """Where the copy stands."""
        with self._condition:
            return self._status

    def nudge(self) -> None:
        """Tell that the roll has changed; returns at once."""
        with self._condition:
            self._asked += 1
            self._condition.notify_all()

    def finish(self, wait_s: float) -> MirrorStatus:
        """Let the copy catch up for at most `wait_s`, then end the thread; the status tells what is left."""
        with self._condition:
            self._condition.wait_for(lambda: self._done == self._asked or self._status.error is not None, wait_s)
            self._stopping = True
            self._condition.notify_all()
        self._thread.join(timeout=max(1.0, wait_s))
        return self.status

    def _work(self) -> None:
        while True:
            with self._condition:
                self._condition.wait_for(self._has_work, self._retry_s)
                if self._stopping:
                    return
                if self._done == self._asked and self._status.error is None:
                    continue
                asked = self._asked
            self._copy(asked)
            with self._condition:
                if self._done != asked:
                    self._condition.wait_for(lambda: self._stopping, self._retry_s)

    def _has_work(self) -> bool:
        return self._stopping or self._done != self._asked

    def _copy(self, asked: int) -> None:
        try:
            self._copying.catch_up(lambda count: self._tell(MirrorStatus(count)), lambda: self._stopping)
        except SourceMovedError as error:
            # While frames trade numbers; it says so only where that lasts.
            self._source_moved += 1
            if self._source_moved > _PATIENCE_WITH_SOURCE:
                self._tell(MirrorStatus(max(1, self._status.waiting), _damaged(error)))
        except StorageError as error:
            self._tell(MirrorStatus(max(1, self._status.waiting), error))
        except Exception as error:
            what = StorageError(f"The second copy failed: {error}.", safe="The roll itself is not touched.")
            self._tell(MirrorStatus(max(1, self._status.waiting), what))
        else:
            self._source_moved = 0
            with self._condition:
                self._done = asked
                is_last = asked == self._asked and not self._stopping
            self._tell(MirrorStatus(0 if is_last else 1, moved_aside=tuple(self._copying.moved_aside)))

    def _tell(self, status: MirrorStatus) -> None:
        with self._condition:
            changed, self._status = status != self._status, status
            self._condition.notify_all()
        if changed:
            self._on_status(status)
