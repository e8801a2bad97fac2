"""Checksums of a roll's files: the manifest that ``sha256sum -c`` reads, and checking against it."""

import hashlib
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from tethercap.errors import RollError, StorageError
from tethercap.roll import lock, record, setup_file
from tethercap.roll.state import rebuild

MANIFEST_NAME: Final = "manifest-sha256.txt"

_PIECE_BYTES = 1 << 20
_MANIFEST_LINE = re.compile(r"([0-9a-fA-F]{64}) [ *](.+)")
_OUTSIDE_MANIFEST = frozenset(
    {MANIFEST_NAME, record.FILE_NAME, setup_file.FILE_NAME, setup_file.RECIPES_NAME, lock.FILE_NAME}
)
"""The record has a checksum in each of its lines, and roll.toml and recipe.toml are for people to change."""


def file_sha256(path: Path, progress: Callable[[int], None] | None = None) -> str:
    """SHA-256 of a file's content, hex.

    Parameters
    ----------
    progress : callable, optional
        Told the number of bytes of each piece that was read.

    Raises
    ------
    OSError
    """
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while piece := file.read(_PIECE_BYTES):
            digest.update(piece)
            if progress is not None:
                progress(len(piece))
    return digest.hexdigest()


def manifest_text(sums: Mapping[str, str]) -> bytes:
    """Manifest of files and their SHA-256, sorted by path, as ``sha256sum -c`` reads it (GNU coreutils, text form)."""
    return "".join(f"{sums[file]}  {file}\n" for file in sorted(sums)).encode()


def read_manifest(content: bytes) -> tuple[dict[str, str], tuple[str, ...]]:
    """Path -> SHA-256 from a manifest, and the lines that are none."""
    sums: dict[str, str] = {}
    odd: list[str] = []
    for line in content.decode("utf-8", "surrogateescape").splitlines():
        match = _MANIFEST_LINE.fullmatch(line)
        if match is not None:
            sums[match[2]] = match[1].lower()
        elif line.strip():
            odd.append(line)
    return sums, tuple(odd)


@dataclass(frozen=True, slots=True)
class FixityReport:
    """What checking a roll's files against its manifest found; paths are relative to the roll's folder."""

    folder: Path
    checked: int
    """Files whose content fits."""
    missing: tuple[str, ...] = ()
    changed: tuple[str, ...] = ()
    unreadable: tuple[str, ...] = ()
    extra: tuple[str, ...] = ()
    """Files that the manifest does not know."""
    unlisted: tuple[str, ...] = ()
    """Files of the record that the manifest leaves out."""
    record_damage: tuple[str, ...] = ()
    """Places of the record that cannot be trusted."""
    manifest_damage: tuple[str, ...] = ()
    """Lines of the manifest that are none."""
    in_use: bool = False
    """Somebody was writing to the roll meanwhile, so files may be on their way."""

    @property
    def is_sound(self) -> bool:
        """Nothing is missing, changed or damaged; files that only lie there besides do no harm."""
        return not (
            self.missing
            or self.changed
            or self.unreadable
            or self.unlisted
            or self.record_damage
            or self.manifest_damage
        )


def check_files(
    folder: Path, sums: Mapping[str, str], progress: Callable[[int], None] | None = None
) -> tuple[int, list[str], list[str], list[str]]:
    """Number of files that fit, then the missing, the changed and the unreadable ones."""
    fits, missing, changed, unreadable = 0, [], [], []
    root = folder.resolve()
    for file in sorted(sums):
        path = folder / file
        try:
            if not path.resolve().is_relative_to(root):
                unreadable.append(file)
            elif file_sha256(path, progress) == sums[file]:
                fits += 1
            else:
                changed.append(file)
        except FileNotFoundError:
            missing.append(file)
        except (OSError, ValueError):
            unreadable.append(file)
    return fits, missing, changed, unreadable


def files_in(folder: Path) -> list[str]:
    """Every file below `folder`, as paths relative to it with "/" between the parts, sorted."""
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file())


def read_folder_manifest(folder: Path) -> tuple[dict[str, str], tuple[str, ...]]:
    """Read a roll's manifest.

    Raises
    ------
    RollError
        If the folder is no roll or has no manifest.
    StorageError
    """
    try:
        return read_manifest((folder / MANIFEST_NAME).read_bytes())
    except FileNotFoundError:
        raise RollError(
            f"{folder} has no {MANIFEST_NAME}, so there is nothing to check it against.",
            todo="Name the folder of a roll; opening a roll with capture or describe writes its manifest.",
        ) from None
    except OSError as error:
        what = f"{folder / MANIFEST_NAME} cannot be read: {error.strerror}."
        raise StorageError(what, todo="Look at the disk.") from error


def recorded_files(folder: Path) -> tuple[set[str], tuple[str, ...]]:
    """Files that the record says the roll holds, and what is wrong with the record or roll.toml."""
    contents = record.read_record_file(folder / record.FILE_NAME)
    damage = [f"{record.FILE_NAME} {damage}" for damage in contents.damage]
    if contents.torn:
        damage.append(f"{record.FILE_NAME}: the last line was never finished; opening the roll mends it")
    try:
        setup = setup_file.read_setup((folder / setup_file.FILE_NAME).read_bytes())
    except OSError:
        return set(), (*damage, f"{setup_file.FILE_NAME} cannot be read")
    state, troubles = rebuild(setup, contents.lines)
    return set(state.sums), (*damage, *troubles)


def verify(folder: Path, progress: Callable[[int], None] | None = None) -> FixityReport:
    """Check every file of a roll against its manifest, and the record against its own checksums. Changes nothing.

    Parameters
    ----------
    progress : callable, optional
        Told the number of bytes of each piece that was read.

    Raises
    ------
    RollError
        If there is no manifest.
    ProfileError
        If roll.toml has a mistake.
    StorageError
    """
    sums, odd = read_folder_manifest(folder)
    recorded, record_damage = recorded_files(folder)
    fits, missing, changed, unreadable = check_files(folder, sums, progress)
    known = set(sums) | _OUTSIDE_MANIFEST
    return FixityReport(
        folder=folder,
        checked=fits,
        missing=tuple(missing),
        changed=tuple(changed),
        unreadable=tuple(unreadable),
        extra=tuple(file for file in files_in(folder) if file not in known),
        unlisted=tuple(sorted(recorded - set(sums))),
        record_damage=record_damage,
        manifest_damage=odd,
        in_use=(folder / lock.FILE_NAME).exists(),
    )


def total_bytes(folder: Path, files: Iterable[str]) -> int:
    """Size of the given files together, those that are there."""
    sizes = 0
    for file in files:
        try:
            sizes += (folder / file).stat().st_size
        except (OSError, ValueError):
            continue
    return sizes
