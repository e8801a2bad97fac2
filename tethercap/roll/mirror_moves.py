"""Files of a second copy get the names that the roll has for them by now, instead of being copied once more.

The copy's own manifest tells what it held when it was last brought up to date, however long ago; what lies there
besides is known by its content. As in the roll, files trade names by way of passing ones, which carry the checksum, so
that a copy that was unplugged in between is understood by the next run.
"""

import re
import secrets
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Final

from tethercap.roll.core import ASIDE_FOLDER
from tethercap.roll.fixity import MANIFEST_NAME, file_sha256, read_manifest
from tethercap.roll.state import SIDECAR_SUFFIX
from tethercap.roll.store import FileLayer

_VIA_SUFFIX: Final = ".renaming"
_VIA = re.compile(r"\.([0-9a-f]{64})\.renaming")


def known_sums(copy: Path) -> dict[str, str]:
    """Path -> SHA-256 of the files that the copy held when it was brought up to date last."""
    try:
        sums, _ = read_manifest((copy / MANIFEST_NAME).read_bytes())
    except FileNotFoundError:
        return {}
    return sums


def follow_names(copy: Path, wanted: Mapping[str, str], layer: FileLayer) -> list[str]:
    """Rename files of the copy to what the roll calls them; take away what the roll no longer knows.

    What the copy's manifest and the roll's agree about is left alone; of the rest the content is looked at, since a
    copy that was unplugged while it was renamed holds other names than its manifest.

    Parameters
    ----------
    copy : Path
        The copy's folder.
    wanted : mapping
        Path -> SHA-256, as the roll's manifest has it.

    Returns
    -------
    list of str
        Files that went to the copy's aside/, since the roll has no place for them. Sidecars of such are removed: the
        roll can write them again.

    Raises
    ------
    OSError
    """
    known = known_sums(copy)
    there = _what_is_there(copy, known, wanted)
    moves = _moves(there, wanted)
    vias = {old: (copy / old).with_name(f".{there[old]}{_VIA_SUFFIX}") for old in moves}
    for old, via in vias.items():
        if copy / old != via:
            layer.rename_new(copy / old, via)
    aside = [file for file in sorted(there) if file not in moves and known.get(file) and file not in wanted]
    moved = _take_away(copy, aside, layer)
    for old, new in moves.items():
        (copy / new).parent.mkdir(parents=True, exist_ok=True)
        if not (copy / new).exists():
            layer.rename_new(vias[old], copy / new)
    for folder in sorted({(copy / file).parent for move in moves.items() for file in move}):
        layer.sync_folder(folder)
    return moved


def _what_is_there(copy: Path, known: Mapping[str, str], wanted: Mapping[str, str]) -> dict[str, str]:
    """Path -> SHA-256 of the copy's files in the folders that a roll has files in."""
    there: dict[str, str] = {}
    for folder in sorted({(copy / file).parent for file in (*known, *wanted)}):
        for path in sorted(folder.iterdir()) if folder.is_dir() else ():
            file, via = path.relative_to(copy).as_posix(), _VIA.fullmatch(path.name)
            if via is not None:
                there[file] = via[1]
            elif file in wanted and known.get(file) == wanted[file]:
                there[file] = wanted[file]
            elif path.is_file() and (file in known or (not path.name.startswith(".") and folder != copy)):
                there[file] = file_sha256(path)
    return there


def _moves(there: Mapping[str, str], wanted: Mapping[str, str]) -> dict[str, str]:
    """Name in the copy -> name in the roll, for content that stands elsewhere than it should."""
    free: dict[str, list[str]] = {}
    for file, sha256 in there.items():
        if wanted.get(file) != sha256:
            free.setdefault(sha256, []).append(file)
    moves: dict[str, str] = {}
    for file, sha256 in wanted.items():
        if there.get(file) != sha256 and free.get(sha256):
            moves[free[sha256].pop(0)] = file
    return moves


def _take_away(copy: Path, files: Iterable[str], layer: FileLayer) -> list[str]:
    moved = []
    for file in files:
        path = copy / file
        if path.suffix == SIDECAR_SUFFIX:
            layer.remove(path)
            continue
        folder = copy / ASIDE_FOLDER
        folder.mkdir(exist_ok=True)
        layer.rename_new(path, folder / f"{path.name.lstrip('.')}.{secrets.token_hex(3)}")
        moved.append(file)
    return moved
