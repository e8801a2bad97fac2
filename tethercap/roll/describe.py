"""What is known about a roll goes into its pictures' metadata: sidecars anew, properties into positives and proofs.

RAW files are never opened for writing. What another program changed in the meantime is kept: a sidecar is moved to
aside/ before a new one is written, a positive is left as it is.
"""

import hashlib
import shutil
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from tethercap.errors import TethercapError
from tethercap.roll import setup_file
from tethercap.roll.core import FILED_SAFE, RollCore
from tethercap.roll.fixity import file_sha256
from tethercap.roll.lines import Described, Describing
from tethercap.roll.metadata import positive_properties
from tethercap.roll.names import FrameId
from tethercap.roll.setup import FrameNotes
from tethercap.roll.state import TakeRecord
from tethercap.roll.store import disk_troubles, write_whole

Embedder = Callable[[Path, Mapping[str, object]], None]
"""Writes properties into a picture file in place."""


@dataclass(frozen=True, slots=True)
class DescribeReport:
    """What writing metadata did; paths relative to the roll's folder."""

    written: tuple[str, ...]
    unchanged: int
    """Files that said it all already."""
    kept: tuple[str, ...]
    """Sidecars that another program had changed, and where they are kept now."""
    left: tuple[str, ...]
    """Positives and proofs that another program had changed; not touched."""
    troubles: tuple[str, ...]


class _Writing:
    """One run over a roll's files."""

    def __init__(self, core: RollCore) -> None:
        self.core = core
        self.sums: dict[str, str] = {}
        self.unchanged = 0
        self.kept: list[str] = []
        self.left: list[str] = []
        self.troubles: list[str] = []

    def sidecar(self, take: TakeRecord) -> None:
        """Write a take's sidecar anew where it says something else."""
        core, file, path = self.core, take.sidecar, self.core.path / take.sidecar
        packet = core.sidecar_bytes(take)
        if packet is None or not (core.path / take.filed.file).exists():
            return
        now = file_sha256(path) if path.exists() else ""
        wanted = hashlib.sha256(packet).hexdigest()
        if now == wanted:
            self._as_it_should_be(file, wanted)
            return
        if now and now != core.state.sums.get(file, now):
            self.kept.append(core.relative(core.move_aside(path, "changed by another program", sha256=now)))
        write_whole(core.layer, path, packet, sync_folder=False)
        self.sums[file] = wanted

    def _as_it_should_be(self, file: str, sha256: str) -> None:
        self.unchanged += 1
        if self.core.state.sums.get(file) != sha256:
            self.sums[file] = sha256

    def results(self, take: TakeRecord, embed: Embedder) -> None:
        """Write properties into a take's positive and proof."""
        first = FrameId.parse(take.filed.frame)
        for converted, at in ((take.converted, take.converted_at), (take.second, take.second_at)):
            if converted is not None:
                frame_id = first.second if converted.second else first
                further = [
                    other
                    for number in converted.takes
                    if number != take.number and (other := self.core.state.take(first, number)) is not None
                ]
                properties = positive_properties(self.core.state.setup, frame_id, take, further=further, made_at=at)
                jpegs = [made.file for made in take.made if made.what == "jpeg" and made.second == converted.second]
                for file in filter(None, (converted.positive, converted.proof, *jpegs)):
                    self._result(file, properties, embed)

    def _result(self, file: str, properties: Mapping[str, object], embed: Embedder) -> None:
        core, path = self.core, self.core.path / file
        if not path.exists():
            return
        if file_sha256(path) != core.state.sums.get(file):
            self.left.append(file)
            return
        # The new one gets the old one's suffix, which tells the embedder what it is.
        beside = path.with_name(f".{path.stem}.describing{path.suffix}")
        try:
            shutil.copyfile(path, beside)
            embed(beside, properties)
            sha256 = file_sha256(beside)
            if sha256 == core.state.sums.get(file):
                self.unchanged += 1
                return
            handle = core.layer.open_append(beside)
            try:
                core.layer.sync(handle)
            finally:
                core.layer.close(handle)
            core.layer.replace(beside, path)
        except (TethercapError, ValueError) as error:
            self.troubles.append(f"{file}: {error}")
        else:
            self.sums[file] = sha256
        finally:
            beside.unlink(missing_ok=True)


def write_metadata(
    core: RollCore,
    takes: Iterable[TakeRecord],
    embed: Embedder | None = None,
    progress: Callable[[], None] = lambda: None,
) -> DescribeReport:
    """Write the metadata of some takes anew.

    Parameters
    ----------
    embed : callable, optional
        Without it positives and proofs stay as they are.
    progress : callable
        Called after each take.

    Raises
    ------
    StorageError
    """
    with core.guard, disk_troubles("writing metadata", safe=FILED_SAFE):
        writing = _Writing(core)
        core.say(Describing())
        for take in list(takes):
            writing.sidecar(take)
            if embed is not None:
                writing.results(take, embed)
            progress()
        for folder in sorted({(core.path / file).parent for file in writing.sums}):
            core.layer.sync_folder(folder)
        core.say(Described(sha256=writing.sums))
        core.write_manifest()
    return DescribeReport(
        tuple(writing.sums), writing.unchanged, tuple(writing.kept), tuple(writing.left), tuple(writing.troubles)
    )


def change_setup(core: RollCore, changes: Mapping[str, object], frames: Iterable[FrameNotes]) -> None:
    """Change roll.toml, comments kept, and go on with what it says now.

    Raises
    ------
    ProfileError
        If it would not be usable; then nothing is changed.
    StorageError
    """
    path = core.path / setup_file.FILE_NAME
    with core.guard, disk_troubles(f"changing {setup_file.FILE_NAME}", safe=FILED_SAFE):
        edited = setup_file.edit_setup(path.read_bytes(), changes, frames, str(path))
        write_whole(core.layer, path, edited)
        core.state.setup = setup_file.read_setup(edited, str(path))
        core.changed()
