"""Looking at a roll from outside, as it lies on the disk, against what was said of it and what the camera knows."""

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tethercap.roll.core import read_folder_setup
from tethercap.roll.fixity import verify
from tethercap.roll.record import read_record_file
from tethercap.roll.state import RollState, rebuild

_HIDDEN_OF_A_RUN = frozenset({".lock"})


class LostError(AssertionError):
    """Something that was said to be safe is not."""


@dataclass(frozen=True, slots=True)
class Word:
    """A picture that was said to be filed."""

    frame: str
    take: int
    sha256: str
    accepted: bool


def read_state(folder: Path) -> RollState:
    """Rebuild what the record says, changing nothing."""
    contents = read_record_file(folder / "record.jsonl")
    if contents.damage:
        raise LostError(f"the record is damaged: {contents.damage}")
    state, odd = rebuild(read_folder_setup(folder), contents.lines)
    if odd:
        raise LostError(f"lines of the record were left out: {odd}")
    return state


def look_for_filed(folder: Path, words: Iterable[Word]) -> RollState:
    """Look whether each picture is there under its number with its content.

    Raises
    ------
    LostError
    """
    state = read_state(folder)
    places = {take.filed.sha256: take.filed for take in state.takes()}
    for word in words:
        filed = places.get(word.sha256)
        if filed is None:
            raise LostError(f"{word} is not in the record")
        if (filed.frame, filed.take, filed.accepted) != (word.frame, word.take, word.accepted):
            raise LostError(f"{word} is frame {filed.frame} take {filed.take}, accepted {filed.accepted}")
        if hashlib.sha256((folder / filed.file).read_bytes()).hexdigest() != word.sha256:
            raise LostError(f"{filed.file} has other content")
    return state


def look_at_numbers(state: RollState, shots: Iterable[Mapping[str, Any]]) -> None:
    """Hold every accepted picture against the label of the frame that lay before the camera.

    Raises
    ------
    LostError
    """
    labels = {str(shot["name"]): str(shot["frame_label"]) for shot in shots}
    for take in state.takes():
        if take.filed.accepted and labels.get(take.filed.camera_file) != take.filed.frame:
            label = labels.get(take.filed.camera_file)
            raise LostError(f"the film's frame {label} was filed as {take.filed.frame} take {take.number}")


def look_at_end(folder: Path, frames: int) -> None:
    """Look at a roll that is done: complete, sound, every positive made, nothing left lying about.

    Raises
    ------
    LostError
    """
    state = read_state(folder)
    taken = [str(frame_id) for frame_id in sorted(state.frames) if state.frames[frame_id].chosen]
    wanted = [str(number + 1) for number in range(frames)]
    if taken != wanted:
        raise LostError(f"frames {taken} instead of {wanted}")
    for frame in state.frames.values():
        chosen = frame.chosen
        if chosen is None or chosen.converted is None or not (folder / chosen.converted.positive).exists():
            raise LostError(f"frame {frame.frame_id} has no positive")
    left = [path for path in folder.rglob(".*") if path.name not in _HIDDEN_OF_A_RUN]
    if left:
        raise LostError(f"passing names are left: {left}")
    strangers = {f"aside/{path.name}" for path in (folder / "aside").glob("*")} - state.aside
    if strangers:
        raise LostError(f"nobody knows why these were set aside: {strangers}")
    report = verify(folder)
    if not report.is_sound or report.extra:
        raise LostError(str(report))
