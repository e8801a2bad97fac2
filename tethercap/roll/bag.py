"""A roll packed as a BagIt bag (version 1.0, RFC 8493): files for archives, with checksums that any tool can check."""

import hashlib
import shutil
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final

from tethercap import __version__
from tethercap.errors import RollError, RollExistsError
from tethercap.roll import fixity, lock
from tethercap.roll.core import FILED_SAFE, read_folder_setup
from tethercap.roll.fixity import MANIFEST_NAME, files_in, read_folder_manifest
from tethercap.roll.setup import RollSetup
from tethercap.roll.store import Disk, FileLayer, disk_troubles

_DECLARATION: Final = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
_ALGORITHM = "sha256"
_PIECE_BYTES = 1 << 20
_NOT_PACKED = frozenset({lock.FILE_NAME})


@dataclass(frozen=True, slots=True)
class Bag:
    """A bag that was written."""

    path: Path
    files: int
    size_bytes: int
    """Of the payload."""
    encoded: tuple[str, ...] = ()
    """Files with a percent sign or line feed in their name. The bag has them as the standard says; some validators,
    bagit-python 1.9 among them, do not decode the percent sign and miss them."""


def encode_path(path: str) -> str:
    """Path as a BagIt manifest writes it: line feed, carriage return and percent sign encoded (RFC 8493, 2.1.3)."""
    return path.replace("%", "%25").replace("\n", "%0A").replace("\r", "%0D")


def write_bag(
    folder: Path,
    out: Path,
    *,
    today: date,
    layer: FileLayer | None = None,
    progress: Callable[[int], None] | None = None,
) -> Bag:
    """Copy a roll into a new bag ``out/ROLL``; what is copied is checked against the roll's own manifest.

    The bag grows under a passing name and gets its own when it is complete and on the disk.

    Parameters
    ----------
    today : date
        Goes into the bag's information.
    progress : callable, optional
        Told the number of bytes of each piece that was copied.

    Raises
    ------
    RollError
        If a file of the roll is missing or changed; verify says which.
    RollExistsError
        If the bag is there already.
    StorageError
    """
    layer = layer or Disk()
    setup = read_folder_setup(folder)
    expected, _ = read_folder_manifest(folder)
    target, growing = out / setup.id, out / f".{setup.id}.growing"
    with disk_troubles(f"packing {setup.id}", safe=FILED_SAFE):
        out.mkdir(parents=True, exist_ok=True)
        if target.exists():
            raise RollExistsError(f"{target} is there already; nothing was overwritten.", todo="Choose another folder.")
        shutil.rmtree(growing, ignore_errors=True)
        growing.mkdir()
        try:
            size_bytes, files = _fill(layer, folder, growing, expected, setup, today, progress)
            layer.rename_new(growing, target)
            layer.sync_folder(out)
        finally:
            shutil.rmtree(growing, ignore_errors=True)
    return Bag(target, len(files), size_bytes, tuple(file for file in files if encode_path(file) != file))


def _fill(
    layer: FileLayer,
    folder: Path,
    bag: Path,
    expected: dict[str, str],
    setup: RollSetup,
    today: date,
    progress: Callable[[int], None] | None,
) -> tuple[int, list[str]]:
    files = [file for file in files_in(folder) if file not in _NOT_PACKED]
    missing = sorted(set(expected) - set(files))
    if missing:
        raise RollError(f"{missing[0]} is missing; a bag must be complete.", todo="Run tethercap verify to see more.")
    sums: dict[str, str] = {}
    size_bytes = 0
    (bag / "data").mkdir()
    for file in files:
        sums[f"data/{file}"] = _copy(layer, folder / file, bag / "data" / file, progress)
        size_bytes += (bag / "data" / file).stat().st_size
        if expected.get(file, sums[f"data/{file}"]) != sums[f"data/{file}"]:
            raise RollError(f"{file} is not what the manifest says.", todo="Run tethercap verify to see more.")
    tags = {
        "bagit.txt": _DECLARATION,
        "bag-info.txt": _info(setup, today, size_bytes, len(files)),
        f"manifest-{_ALGORITHM}.txt": _manifest(sums),
    }
    tag_sums = {name: hashlib.sha256(content).hexdigest() for name, content in tags.items()}
    tags[f"tagmanifest-{_ALGORITHM}.txt"] = _manifest(tag_sums)
    for name, content in tags.items():
        _write(layer, bag / name, [content])
    for place in sorted(path for path in (bag, *bag.rglob("*")) if path.is_dir()):
        layer.sync_folder(place)
    return size_bytes, files


def _copy(layer: FileLayer, source: Path, target: Path, progress: Callable[[int], None] | None) -> str:
    target.parent.mkdir(parents=True, exist_ok=True)
    with source.open("rb") as file:
        sha256 = _write(layer, target, _pieces_of(iter(lambda: file.read(_PIECE_BYTES), b""), progress))
    if fixity.file_sha256(target) != sha256:
        raise RollError(f"{target} reads back differently from what was written.", todo="Use another disk.")
    return sha256


def _pieces_of(pieces: Iterable[bytes], progress: Callable[[int], None] | None) -> Iterable[bytes]:
    for piece in pieces:
        yield piece
        if progress is not None:
            progress(len(piece))


def _write(layer: FileLayer, path: Path, pieces: Iterable[bytes]) -> str:
    digest = hashlib.sha256()
    handle = layer.open_new(path)
    try:
        for piece in pieces:
            layer.write(handle, piece)
            digest.update(piece)
        layer.sync(handle)
    finally:
        layer.close(handle)
    return digest.hexdigest()


def _manifest(sums: dict[str, str]) -> bytes:
    return "".join(f"{sums[path]}  {encode_path(path)}\n" for path in sorted(sums)).encode("utf-8", "surrogateescape")


def _info(setup: RollSetup, today: date, size_bytes: int, files: int) -> bytes:
    """Standard elements of RFC 8493, 2.2.2; a text of several lines is folded into one."""
    elements = {
        "Bagging-Date": today.isoformat(),
        "Bag-Software-Agent": f"tethercap {__version__}",
        "Payload-Oxum": f"{size_bytes}.{files}",
        "External-Identifier": setup.id,
        "External-Description": setup.caption or setup.title or f"Film roll {setup.id}, {MANIFEST_NAME} inside data/",
        "Contact-Name": setup.creator,
    }
    lines = (f"{label}: {' '.join(text.split())}\n" for label, text in elements.items() if text.strip())
    return "".join(lines).encode()
