"""Looking at a roll without opening it for writing: no lock, nothing changed, also while it is being captured."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from tethercap.errors import RollNameError
from tethercap.roll import record
from tethercap.roll.core import read_folder_setup
from tethercap.roll.names import FrameId
from tethercap.roll.setup import RollSetup
from tethercap.roll.state import FrameRecord, rebuild


@dataclass(frozen=True, slots=True)
class RollView:
    """A roll as its record told it at one moment."""

    path: Path
    setup: RollSetup
    frames: Mapping[FrameId, FrameRecord]
    """As they lie on the film."""
    next_frame_id: FrameId | None
    """None where the numbers have run off the end of the film."""
    troubles: tuple[str, ...]
    """Places of the record that cannot be trusted."""


def read_roll(path: Path) -> RollView:
    """Read a roll's record and roll.toml.

    Raises
    ------
    RollError
        If the folder is no roll.
    ProfileError
        If roll.toml has a mistake.
    StorageError
    """
    setup = read_folder_setup(path)
    contents = record.read_record_file(path / record.FILE_NAME)
    state, odd = rebuild(setup, contents.lines)
    try:
        next_id = state.next_frame_id()
    except RollNameError:
        next_id = None
    frames = {frame_id: state.frames[frame_id] for frame_id in sorted(state.frames)}
    return RollView(path, setup, frames, next_id, (*map(str, contents.damage), *odd))
