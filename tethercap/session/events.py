"""What happens while a roll is captured, as facts: frozen, in the past tense, made in the runner's thread."""

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Literal

from tethercap.check.findings import RawFindings
from tethercap.errors import TethercapError
from tethercap.exposure.settings import Setting, SettingChange, SettingState
from tethercap.pictures import LiveFrame
from tethercap.session.states import RunState
from tethercap.watch.sighting import Reason, Sighting


class Mode(StrEnum):
    """Who fires."""

    BY_KEY = "by key"
    HANDS_FREE = "hands-free"
    PAUSED = "paused"


class FiredBy(StrEnum):
    """What released the shutter."""

    KEY = "key"
    FORCED_KEY = "forced"
    HANDS_FREE = "hands-free"
    BODY = "body"
    """The camera's own button."""


class Signal(StrEnum):
    """What a bell may say."""

    SEATED = "seated"
    FILED = "filed"
    HELD = "held"
    STRIP_DONE = "strip done"


@dataclass(frozen=True, slots=True)
class Watched:
    """A live frame was watched."""

    frame: LiveFrame
    sighting: Sighting


@dataclass(frozen=True, slots=True)
class StateChanged:
    """The roll went from one state to another."""

    before: RunState
    after: RunState
    at_s: float


@dataclass(frozen=True, slots=True)
class ModeChanged:
    """Somebody changed who fires."""

    mode: Mode


@dataclass(frozen=True, slots=True)
class Signalled:
    """Something worth a sound."""

    signal: Signal


@dataclass(frozen=True, slots=True)
class FireRefused:
    """A key asked for a shot and got none."""

    frame_id: str
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class ShotFired:
    """The camera accepted the shutter command."""

    frame_id: str
    take: int
    fired_by: FiredBy
    fired_at_s: float


@dataclass(frozen=True, slots=True)
class PullProgressed:
    """Some of the file has arrived."""

    frame_id: str
    done_bytes: int
    total_bytes: int


@dataclass(frozen=True, slots=True)
class ShotChecked:
    """The RAW was opened and looked at."""

    frame_id: str
    take: int
    findings: RawFindings


@dataclass(frozen=True, slots=True)
class FrameFiled:
    """The file is in the roll, safe; accepted or kept as a take that is not good enough."""

    frame_id: str
    take: int
    path: Path
    sha256: str
    size_bytes: int
    accepted: bool
    forced: bool
    pulled_in_s: float


@dataclass(frozen=True, slots=True)
class FrameHeld:
    """The frame stays open."""

    frame_id: str
    reasons: tuple[Reason, ...]
    sentences: tuple[str, ...]
    """What to do, fit to be shown."""


@dataclass(frozen=True, slots=True)
class FrameSkipped:
    """The frame was left out on purpose."""

    frame_id: str
    why: str


@dataclass(frozen=True, slots=True)
class NextFrameSet:
    """The number that the next accepted picture will get."""

    frame_id: str


@dataclass(frozen=True, slots=True)
class StripStarted:
    """Film came into the holder after there was none, or a person said how the strip in it lies."""

    strip: int
    numbers_run: Literal[1, -1] = 1
    """-1 where numbers fall from frame to frame."""
    mirrored: bool = False
    """It lies with its other side up."""


@dataclass(frozen=True, slots=True)
class StripEnded:
    """The film left the holder, or the strip's last frame was filed."""

    strip: int
    frames_filed: int


@dataclass(frozen=True, slots=True)
class SettingsRead:
    """The camera's settings as they are now."""

    settings: dict[Setting, SettingState]


@dataclass(frozen=True, slots=True)
class SettingChanged:
    """A setting was changed by us and read back."""

    change: SettingChange


@dataclass(frozen=True, slots=True)
class CameraTroubled:
    """The camera failed; `recovering` says whether the runner is trying to get it back."""

    error: TethercapError
    recovering: bool


@dataclass(frozen=True, slots=True)
class CameraCameBack:
    """The same body answers again."""

    after_s: float


@dataclass(frozen=True, slots=True)
class Advised:
    """Something about the disks that the person should know; nothing is held up by it."""

    sentence: str


@dataclass(frozen=True, slots=True)
class StorageTroubled:
    """The disk refused; the picture is still on the camera and can be pulled again."""

    frame_id: str
    error: TethercapError


@dataclass(frozen=True, slots=True)
class ProofMade:
    """A shot can be looked at; it may not be checked yet, nor be good."""

    frame_id: str
    take: int
    jpeg: bytes
    """Half as large as the RAW, sRGB."""


@dataclass(frozen=True, slots=True)
class PositiveMade:
    """A frame was converted."""

    frame_id: str
    take: int
    positive: Path
    proof: Path
    seconds: float


@dataclass(frozen=True, slots=True)
class ConversionFailed:
    """A frame could not be converted; its RAW is safe."""

    frame_id: str
    take: int
    error: TethercapError


@dataclass(frozen=True, slots=True)
class CannotWatch:
    """No live view from this camera: shots are taken on key alone."""

    why: str


@dataclass(frozen=True, slots=True)
class RunEnded:
    """The runner stopped; everything filed is on disk."""

    frames_filed: int
    why: str


SessionEvent = (
    Watched
    | StateChanged
    | ModeChanged
    | Signalled
    | FireRefused
    | ShotFired
    | PullProgressed
    | ShotChecked
    | FrameFiled
    | FrameHeld
    | FrameSkipped
    | NextFrameSet
    | StripStarted
    | StripEnded
    | SettingsRead
    | SettingChanged
    | CameraTroubled
    | CameraCameBack
    | Advised
    | StorageTroubled
    | ProofMade
    | PositiveMade
    | ConversionFailed
    | CannotWatch
    | RunEnded
)
