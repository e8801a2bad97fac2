"""Frames get other numbers: files renamed in two steps, so that numbers may trade places and a crash is made good.

First the record says what is meant. Then every file goes to a passing name of its own; when all stand there the record
says so; then every file goes to its new name, and the record says that it is done. Whoever opens the roll after a crash
sees from the record which step was under way and repeats it: each rename either happened or did not.
"""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from tethercap.errors import RollError, RollExistsError, RollNameError
from tethercap.roll.core import FILED_SAFE, RollCore
from tethercap.roll.describe import write_metadata
from tethercap.roll.lines import FileMove, FrameMove, Renumbered, Renumbering, RenumberingParked
from tethercap.roll.names import FrameId, stem
from tethercap.roll.setup_file import RECIPES_NAME
from tethercap.roll.state import FrameRecord, RollState, TakeRecord, second_id
from tethercap.roll.store import disk_troubles, write_whole


def moves_to_insert(state: RollState, frame_id: FrameId) -> dict[FrameId, FrameId]:
    """Moves that set `frame_id` free: it and all that follow without a gap go up by one."""
    moves: dict[FrameId, FrameId] = {}
    while state.frame(frame_id) != FrameRecord(frame_id):
        moves[frame_id] = frame_id.next(1, by_halves=state.setup.by_halves)
        frame_id = moves[frame_id]
    return moves


def renumber(core: RollCore, new_ids: Mapping[FrameId, FrameId]) -> None:
    """Give frames other numbers, all at once.

    Raises
    ------
    RollExistsError
        If a number would be given twice.
    RollError
        While a picture is on its way: it would be filed under a number that means another frame by then.
    StorageError
    """
    with core.guard, disk_troubles("renumbering", safe="Every picture is there; opening the roll finishes this."):
        moves = {old: new for old, new in new_ids.items() if old != new and old in core.state.frames}
        _check_moves(core.state, moves)
        if not moves:
            return
        seconds = {
            second: new_id.second
            for frame_id, new_id in moves.items()
            if (second := second_id(core.state.frames, frame_id)) is not None
        }
        if core.arriving:
            raise RollError(
                f"A picture is on its way ({', '.join(sorted(core.arriving))}); nothing was renumbered.",
                safe=FILED_SAFE,
                todo="Try again when it is filed.",
            )
        core.say(
            Renumbering(
                frames=tuple(FrameMove(frame=str(old), new_frame=str(new)) for old, new in moves.items()),
                files=tuple(_file_moves(core, moves)),
            )
        )
        finish(core)
        _move_recipes(core, {**moves, **seconds})
        changed = [take for new in moves.values() for take in core.state.frame(new).takes]
        write_metadata(core, changed)


def _check_moves(state: RollState, moves: Mapping[FrameId, FrameId]) -> None:
    taken: set[FrameId] = set()
    for frame_id in state.frames:
        new_id = moves.get(frame_id, frame_id)
        for number in (new_id, *([new_id.second] if second_id(state.frames, frame_id) is not None else [])):
            if number in taken:
                raise RollExistsError(
                    f"Frame {number} would be there twice; nothing was renumbered.",
                    safe=FILED_SAFE,
                    todo="Give every frame a number of its own.",
                )
            taken.add(number)


def _file_moves(core: RollCore, moves: Mapping[FrameId, FrameId]) -> Iterable[FileMove]:
    for frame_id, new_id in moves.items():
        has_second = second_id(core.state.frames, frame_id) is not None
        for take in core.state.frame(frame_id).takes:
            for file, is_second in _files_of(take):
                if (core.path / file).exists() and (has_second or not is_second):
                    old_stem, new_stem = (
                        stem(core.state.setup.id, number.second if is_second else number, take.number)
                        for number in (frame_id, new_id)
                    )
                    folder, _, name = file.rpartition("/")
                    # What follows the number stays: a suffix, or the count of a positive that was kept.
                    rest = name.removeprefix(old_stem) if name.startswith(old_stem) else name[name.rindex(".") :]
                    yield FileMove(old=file, via=f"{folder}/.{name}.moving", new=f"{folder}/{new_stem}{rest}")


def _files_of(take: TakeRecord) -> Iterable[tuple[str, bool]]:
    """Each file of a take, and whether it is named by the second frame of two in one shot."""
    yield take.filed.file, False
    yield take.sidecar, False
    yield from ((companion.file, False) for companion in take.companions)
    yield from ((made.file, made.second) for made in take.made)
    for converted in (take.converted, take.second):
        if converted is not None:
            yield converted.positive, converted.second
            if converted.proof:
                yield converted.proof, converted.second


def finish(core: RollCore) -> bool:
    """Carry a renumbering through that the record began and did not end; False where there is none.

    Raises
    ------
    OSError
    """
    moving = core.state.moving
    if moving is None:
        return False
    if not core.state.moving_parked:
        for move in moving.files:
            _move_once(core, core.path / move.old, core.path / move.via)
        _sync_folders(core, moving)
        core.say(RenumberingParked())
    for move in moving.files:
        _move_once(core, core.path / move.via, core.path / move.new)
    _sync_folders(core, moving)
    core.say(Renumbered())
    return True


def _move_recipes(core: RollCore, moves: Mapping[FrameId, FrameId]) -> None:
    """Let what recipe.toml says of single frames go with their numbers; ranges stay as a person wrote them."""
    path = core.path / RECIPES_NAME
    if not path.is_file():
        return
    try:
        document = tomlkit.parse(path.read_text(encoding="utf-8"))
    except (TOMLKitError, UnicodeDecodeError):
        return  # whoever converts next is told what is wrong with it
    tables: Any = document.get("frame", {})
    old = {key: FrameId.parse(key) for key in list(tables) if _is_frame(key)}
    moved = {moves[frame].file_part: tables[key] for key, frame in old.items() if frame in moves}
    if moved:
        for key, frame in old.items():
            if frame in moves:
                tables.remove(key)
        for key, table in moved.items():
            tables.add(key, table)
        write_whole(core.layer, path, tomlkit.dumps(document).encode("utf-8"))


def _is_frame(text: str) -> bool:
    try:
        FrameId.parse(text)
    except RollNameError:
        return False
    return True


def _move_once(core: RollCore, source: Path, target: Path) -> None:
    """Rename, unless that has happened already."""
    if source.exists() and not target.exists():
        core.layer.rename_new(source, target)


def _sync_folders(core: RollCore, moving: Renumbering) -> None:
    for folder in sorted({(core.path / move.old).parent for move in moving.files}):
        core.layer.sync_folder(folder)
