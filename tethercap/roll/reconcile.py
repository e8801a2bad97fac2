"""Opening a roll: bring record and files together again after a run that was cut off. No picture is ever deleted."""

import re
from pathlib import Path

from tethercap import __version__
from tethercap.errors import RollNameError
from tethercap.roll import renumber
from tethercap.roll.arrival import Leftover, leftovers
from tethercap.roll.core import ASIDE_FOLDER, RAW_FOLDER, RESULT_FOLDERS, RollCore
from tethercap.roll.describe import write_metadata
from tethercap.roll.fixity import file_sha256
from tethercap.roll.lines import Companion, Described, Filed, Noted, SetAside, Withdrawn
from tethercap.roll.names import FrameId, check_path, check_suffix, parse_stem, stem
from tethercap.roll.state import SIDECAR_SUFFIX

_SOFTWARE = f"tethercap {__version__}"
_RESULT_PATHS = tuple(f"{folder}/" for folder in RESULT_FOLDERS)
_UNFINISHED_TEXT_SUFFIX = ".new"
_UNFINISHED_RESULT = re.compile(r"\..*\.(\d+\.part|describing\.[a-z]+)")


def reconcile(core: RollCore) -> tuple[str, ...]:
    """Put right what can be put right, and tell the rest.

    Returns
    -------
    tuple of str
        What was found, fit to be shown; also written into the record.

    Raises
    ------
    OSError
    StorageError
    """
    notes = [f"The record is damaged: {damage}. All the rest of it is used." for damage in core.damage]
    if renumber.finish(core):
        notes.append("A renumbering that was cut off was finished.")
    notes += _name_waiting(core)
    _name_waiting_results(core)
    notes += _take_up_leftovers(core)
    notes += _adopt_strangers(core)
    notes += _tell_missing(core)
    _write_missing_sidecars(core)
    notes += _go_on_describing(core)
    _sweep(core)
    for note in notes:
        core.say(Noted(text=note))
    core.write_manifest()
    return tuple(notes)


def _name_waiting(core: RollCore) -> list[str]:
    """Give their names to pictures whose line was written just before a crash."""
    notes = []
    lines: list[Filed | Companion] = [take.filed for take in core.state.takes()]
    lines += [companion for take in core.state.takes() for companion in take.companions]
    for line in lines:
        if not line.waits_as or not (core.path / line.waits_as).exists():
            continue
        if not (core.path / line.file).exists():
            core.put_in_place(line)
            notes.append(f"Frame {line.frame}: {line.file} was received and recorded, and got its name only now.")
        elif isinstance(line, Filed) and file_sha256(core.path / line.file) != line.sha256:
            # Another file has the name; the picture is taken up like one that nobody recorded.
            core.say(Withdrawn(frame=line.frame, take=line.take, sha256=line.sha256))
    if notes:
        core.layer.sync_folder(core.path / RAW_FOLDER)
    return notes


def _name_waiting_results(core: RollCore) -> None:
    """Give their names to positives, proofs and sheets that the record knows already."""
    for name in ("", *RESULT_FOLDERS):
        for path in _files_in(core.path / name):
            waiting = _UNFINISHED_RESULT.fullmatch(path.name)
            if waiting is None:
                continue
            target = path.with_name(path.name[1 : waiting.start(1) - 1])
            if core.state.sums.get(core.relative(target)) == file_sha256(path):
                core.layer.replace(path, target)
                core.layer.sync_folder(target.parent)


def _files_in(folder: Path) -> list[Path]:
    return sorted(path for path in folder.iterdir() if path.is_file()) if folder.is_dir() else []


def _take_up_leftovers(core: RollCore) -> list[str]:
    """File pictures that had arrived whole, as takes that nobody checked; set parts aside."""
    notes = []
    for leftover in leftovers(core.path / RAW_FOLDER, core.state.setup.id):
        if leftover.is_whole and leftover.frame_id is not None:
            notes.append(_file_leftover(core, leftover, leftover.frame_id))
        else:
            what = "whole, but of no frame" if leftover.is_whole else "not whole"
            target = core.move_aside(leftover.path, f"left by a run that was cut off, {what}")
            notes.append(
                f"{leftover.stem}{leftover.suffix} was left by a run that was cut off ({what}); "
                f"it is kept as {ASIDE_FOLDER}/{target.name}. The card has the picture if it was not erased."
            )
    return notes


def _file_leftover(core: RollCore, leftover: Leftover, frame_id: FrameId) -> str:
    sha256 = file_sha256(leftover.path)
    if any(take.filed.sha256 == sha256 for take in core.state.takes()):
        core.move_aside(leftover.path, "a copy of a picture that is filed", sha256=sha256)
        return f"Frame {frame_id}: a copy of a picture that is filed was set aside."
    take = core.free_take(frame_id)
    filed = Filed(
        frame=str(frame_id),
        take=take,
        file=f"{RAW_FOLDER}/{stem(core.state.setup.id, frame_id, take)}{leftover.suffix}",
        waits_as=core.relative(leftover.path),
        sha256=sha256,
        size_bytes=leftover.path.stat().st_size,
        accepted=False,
        how="resumed",
        software=_SOFTWARE,
    )
    line = core.write_line(filed)
    core.put_in_place(filed)
    core.layer.sync_folder(core.path / RAW_FOLDER)
    core.state.apply(line)
    return (
        f"Frame {frame_id}: a picture had arrived and was not checked when the run was cut off; "
        f"it is kept as take {take}, not accepted."
    )


def _adopt_strangers(core: RollCore) -> list[str]:
    """Take in pictures under a name of this roll that the record does not know, and files in aside/ without a line."""
    notes = []
    for path in sorted((core.path / RAW_FOLDER).iterdir(), key=_raw_before_jpeg):
        file = f"{RAW_FOLDER}/{path.name}"
        known = parse_stem(core.state.setup.id, path.stem)
        if file not in core.state.sums and known is not None and path.is_file() and _is_picture_name(path):
            notes.append(_adopt(core, path, *known))
    aside = core.path / ASIDE_FOLDER
    for path in sorted(aside.iterdir()) if aside.is_dir() else ():
        file = f"{ASIDE_FOLDER}/{path.name}"
        if path.is_file() and file not in core.state.aside and _is_own_path(file):
            size_bytes, sha256 = path.stat().st_size, file_sha256(path)
            core.say(SetAside(file=file, was="", why="found there", sha256=sha256, size_bytes=size_bytes))
    return notes


def _raw_before_jpeg(path: Path) -> tuple[bool, str]:
    return path.suffix in {".jpg", ".jpeg"}, path.name


def _adopt(core: RollCore, path: Path, frame_id: FrameId, take: int) -> str:
    file, sha256, size_bytes = f"{RAW_FOLDER}/{path.name}", file_sha256(path), path.stat().st_size
    frame = str(frame_id)
    if core.state.take(frame_id, take) is not None:
        core.say(Companion(frame=frame, take=take, file=file, sha256=sha256, size_bytes=size_bytes))
        return f"Frame {frame}: {file} was not in the record; it was taken in beside the picture of that number."
    core.say(
        Filed(
            frame=frame, take=take, file=file, sha256=sha256, size_bytes=size_bytes,
            accepted=True, how="adopted", software=_SOFTWARE,
        )
    )  # fmt: skip
    return f"Frame {frame}: {file} was not in the record; it was taken in, unchecked."


def _is_picture_name(path: Path) -> bool:
    try:
        check_suffix(path.suffix)
    except RollNameError:
        return False
    return True


def _is_own_path(file: str) -> bool:
    try:
        check_path(file)
    except RollNameError:
        return False
    return True


def _tell_missing(core: RollCore) -> list[str]:
    """Name the files of the record that are not there; sidecars can be written again and are not named."""
    missing = [
        file
        for file in sorted(core.state.sums)
        if not file.endswith(SIDECAR_SUFFIX) and not (core.path / file).exists()
    ]
    return [f"{file} is in the record and not in the folder. Look for it in copies of this roll." for file in missing]


def _write_missing_sidecars(core: RollCore) -> None:
    """Write sidecars that are not there, and note those that the record does not know."""
    sums: dict[str, str] = {}
    for take in core.state.takes():
        path = core.path / take.sidecar
        if not (core.path / take.filed.file).exists():
            continue
        is_new = not path.exists()
        if is_new and (packet := core.sidecar_bytes(take)) is not None:
            core.write_sidecar(take, packet)
        if path.exists() and (is_new or take.sidecar not in core.state.sums):
            sums[take.sidecar] = file_sha256(path)
    if any(core.state.sums.get(file) != sha256 for file, sha256 in sums.items()):
        core.say(Described(sha256=sums))


def _go_on_describing(core: RollCore) -> list[str]:
    """Write metadata anew where that was cut off: each file is the old one or the new one, nobody knows which."""
    if not core.state.describing:
        return []
    sidecars = (take.sidecar for take in core.state.takes())
    files = [*sidecars, *(file for file in core.state.sums if file.startswith(_RESULT_PATHS))]
    core.say(Described(sha256={file: file_sha256(core.path / file) for file in files if (core.path / file).exists()}))
    write_metadata(core, core.state.takes())
    return ["Writing metadata was cut off. Sidecars were written anew; run tethercap describe for the positives."]


def _sweep(core: RollCore) -> None:
    """Take away sidecars, manifests, positives, proofs and sheets that were half written: all can be made again."""
    for folder in (core.path, core.path / RAW_FOLDER):
        for path in folder.iterdir():
            if path.name.startswith(".") and path.suffix == _UNFINISHED_TEXT_SUFFIX and path.is_file():
                core.layer.remove(path)
    for name in ("", *RESULT_FOLDERS):
        for path in _files_in(core.path / name):
            if _UNFINISHED_RESULT.fullmatch(path.name):
                core.layer.remove(path)
