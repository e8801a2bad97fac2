"""One shot on its way from the shutter command to its place in the roll."""

from concurrent.futures import Future
from dataclasses import dataclass, field
from pathlib import PurePosixPath

from tethercap.camera.base import CameraFile
from tethercap.image_files.jpeg import JPEG_SUFFIXES
from tethercap.image_files.raw import RAW_SUFFIXES
from tethercap.roll.folder import Incoming
from tethercap.session.check_job import CheckedFile
from tethercap.session.events import FiredBy
from tethercap.watch.sighting import Sighting

QUIET_S = 0.3
"""After the last file and this much silence nothing more is expected: some drivers never say 'complete'."""


def suffix_of(file: CameraFile) -> str:
    """Ending for the file in the roll: a known one in lower case, ".raw" for any other; a camera's name is used for
    nothing else.
    """
    suffix = PurePosixPath(file.name).suffix.lower()
    return suffix if suffix in RAW_SUFFIXES or suffix in JPEG_SUFFIXES else ".raw"


@dataclass(frozen=True, slots=True)
class WaitingFile:
    """A picture announced while another was being pulled or checked."""

    file: CameraFile
    seen_at_s: float
    frame_id: str | None
    """Frame that lay in the holder; None where the film had gone on and it has no number yet."""
    given_up: "Shot | None" = None
    """The shot it is of, where that one was given up."""


@dataclass(slots=True)
class Shot:
    """A shot under way. Lives in the runner's thread only."""

    frame_id: str
    take: int
    fired_by: FiredBy
    fired_at_s: float
    sighting: Sighting | None
    """What was seen when it was fired; None without live view."""
    view: bytes = b""
    """The live view when it was fired, small; empty without live view."""
    asked_again_at_s: float | None = None
    """When the camera came back and was asked for its picture, where it was lost in between."""
    files: list[CameraFile] = field(default_factory=list)
    last_file_at_s: float | None = None
    finished: bool = False
    """The camera said that nothing more comes."""
    pulled_in_s: float = 0.0
    picture: Incoming | None = None
    """The RAW (or the JPEG, where there is no RAW), safe in a temporary file."""
    companions: list[Incoming] = field(default_factory=list)
    checking: "Future[CheckedFile] | None" = None
    refusals: int = 0
    """How often the camera would not hand its picture over."""
    checks: int = 0
    """How often it was handed to the checking process."""

    def again(self) -> "Shot":
        """The same release, for one more picture of it."""
        return Shot(self.frame_id, self.take, self.fired_by, self.fired_at_s, self.sighting, self.view)

    @property
    def forced(self) -> bool:
        """True where a person overruled the verdict."""
        return self.fired_by is FiredBy.FORCED_KEY

    @property
    def files_safe(self) -> int:
        """How many of its files are in the roll folder already."""
        return len(self.companions) + (self.picture is not None)

    def all_files_in(self, now_s: float, expected_files: int) -> bool:
        """Tell whether no more files are to be expected."""
        if not self.files or self.last_file_at_s is None:
            return False
        return self.finished or len(self.files) >= expected_files or now_s - self.last_file_at_s >= QUIET_S

    def raw_first(self) -> list[CameraFile]:
        """Files with the RAW before its JPEG, whatever order they came in."""
        return sorted(self.files, key=lambda file: suffix_of(file) in JPEG_SUFFIXES)
