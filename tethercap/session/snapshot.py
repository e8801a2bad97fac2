"""The whole of a running roll at one moment, for anyone who asks from any thread."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal

from tethercap.exposure.settings import Setting, SettingState
from tethercap.session.events import FrameFiled, Mode
from tethercap.session.states import RunState


class FrameMark(StrEnum):
    """What became of a frame so far."""

    TAKEN = "taken"
    FORCED = "forced"
    HELD = "held"
    """Taken, and the check failed: open for another take."""
    OPEN = "open"
    """Known of, and not taken yet."""
    BLANK = "blank"
    SKIPPED = "skipped"


@dataclass(frozen=True, slots=True, kw_only=True)
class Snapshot:
    """Where a roll stands."""

    state: RunState = RunState.NO_FILM
    mode: Mode = Mode.BY_KEY
    roll_id: str = ""
    next_frame_id: str = ""
    strip: int = 0
    """Counts strips put in since the start, from 1; 0 before the first."""
    numbers_run: Literal[1, -1] = 1
    """-1 where numbers fall from frame to frame on this strip."""
    mirrored: bool = False
    """This strip lies with its other side up."""
    frames: Mapping[str, FrameMark] = field(default_factory=dict)
    frames_expected: int | None = None
    frames_per_minute: float | None = None
    """Over the last frames filed; None before the second."""
    settings: Mapping[Setting, SettingState] = field(default_factory=dict)
    last_filed: FrameFiled | None = None
    conversions_waiting: int = 0
    can_watch: bool = True
