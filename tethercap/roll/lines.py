"""What a roll's record can say: one type a kind of line.

Frames are written as film edges print them, paths relative to the roll's folder with "/" between the parts. Fields may
be added, never renamed; readers leave out what they do not know.
"""

from dataclasses import dataclass
from typing import Any, Literal

import msgspec

from tethercap.pictures import ShotData


class _Body(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", omit_defaults=True):
    """Common form of all lines."""


class Started(_Body, frozen=True, kw_only=True, tag="started"):
    """The roll was made."""

    roll_id: str
    software: str


class Opened(_Body, frozen=True, kw_only=True, tag="opened"):
    """A tethercap began to write to the roll."""

    software: str
    host: str


class ReasonText(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A reason or finding, as a code for programs and a text for people."""

    code: str
    text: str
    severity: str = ""
    value: float | None = None
    unit: str = ""


class CameraUsed(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The camera that copied the film."""

    make: str = ""
    model: str = ""
    serial: str = ""
    firmware: str = ""


class Filed(_Body, frozen=True, kw_only=True, tag="filed"):
    """A picture belongs to the roll under this name.

    Written before the file gets the name, so that a crash between the two loses nothing: whoever opens the roll
    next finds the file under `waits_as` and gives it its name.
    """

    frame: str
    take: int
    file: str
    waits_as: str = ""
    sha256: str
    size_bytes: int
    sidecar_sha256: str = ""
    accepted: bool
    forced: bool = False
    how: Literal["captured", "resumed", "adopted"] = "captured"
    """captured: checked by the run that took it. resumed: left whole by a run that was cut off, not checked.
    adopted: found in the folder without a line."""
    fired_by: str = ""
    reasons: tuple[ReasonText, ...] = ()
    """Why it was held, or what was known when it was forced."""
    findings: tuple[ReasonText, ...] = ()
    """What the check of the RAW found."""
    offset_mm: tuple[float, float] | None = None
    """Frame centre minus picture centre, x right and y down as the picture shows it."""
    tilt_deg: float | None = None
    """Clockwise positive."""
    corners_px: tuple[tuple[float, float], ...] | None = None
    """Frame corners in the RAW, clockwise from top left, pixel centres at integers."""
    mm_per_px: float | None = None
    """Size of one RAW pixel on the film."""
    shot: ShotData | None = None
    asked: dict[str, str] = {}
    """Settings as they were asked for."""
    settings: dict[str, str] = {}
    """Settings as the camera had them."""
    camera: CameraUsed | None = None
    camera_file: str = ""
    """The file's name on the camera."""
    taken_at: str = ""
    """Time of the shot, ISO 8601 with time zone."""
    rig: str = ""
    strip: int | None = None
    mirrored: bool = False
    view: bytes = b""
    """Live view at the shot, 48 x 32 grey values in base64: a later run knows by it what lies in the holder still."""
    software: str = ""


class Companion(_Body, frozen=True, kw_only=True, tag="companion"):
    """A second file of the same shot, such as the camera's own JPEG, belongs beside the RAW under this name."""

    frame: str
    take: int
    file: str
    waits_as: str = ""
    sha256: str
    size_bytes: int


class Withdrawn(_Body, frozen=True, kw_only=True, tag="withdrawn"):
    """A picture did not get the name that its line gave it, since something else has that name."""

    frame: str
    take: int
    sha256: str


class SetAside(_Body, frozen=True, kw_only=True, tag="set-aside"):
    """A file that belongs to no frame was moved out of the way; it is kept."""

    file: str
    was: str
    why: str
    sha256: str = ""
    size_bytes: int = 0
    frame: str = ""
    take: int = 0


class Skipped(_Body, frozen=True, kw_only=True, tag="skipped"):
    """A frame was left out on purpose."""

    frame: str
    why: str = ""
    view: bytes = b""
    """As in `filed`."""


class Blank(_Body, frozen=True, kw_only=True, tag="blank"):
    """A frame has no picture on it."""

    frame: str
    view: bytes = b""
    """As in `filed`."""


class Reopened(_Body, frozen=True, kw_only=True, tag="reopened"):
    """A skipped or blank frame is to be taken after all."""

    frame: str


class Picked(_Body, frozen=True, kw_only=True, tag="picked"):
    """One take was chosen to stand for its frame."""

    frame: str
    take: int


class NextFrame(_Body, frozen=True, kw_only=True, tag="next-frame"):
    """The next picture gets this number."""

    frame: str


class StripStarted(_Body, frozen=True, kw_only=True, tag="strip-started"):
    """A strip was put in."""

    strip: int
    numbers_run: Literal[1, -1] = 1
    mirrored: bool = False
    first: str = ""
    """Number of its first frame, where it was given."""


class StripEnded(_Body, frozen=True, kw_only=True, tag="strip-ended"):
    """The strip was taken out; what was said of how it lay counts no longer."""

    strip: int


class FrameMove(msgspec.Struct, frozen=True, kw_only=True):
    """One frame, with its takes and marks, gets another number."""

    frame: str
    new_frame: str


class FileMove(msgspec.Struct, frozen=True, kw_only=True):
    """One file gets another name, by way of a third."""

    old: str
    via: str
    new: str


class Renumbering(_Body, frozen=True, kw_only=True, tag="renumbering"):
    """Frames are about to get other numbers; first their files go to `via`, when all are there to `new`."""

    frames: tuple[FrameMove, ...]
    files: tuple[FileMove, ...]


class RenumberingParked(_Body, frozen=True, kw_only=True, tag="renumbering-parked"):
    """All files of the last renumbering stand at `via`."""


class Renumbered(_Body, frozen=True, kw_only=True, tag="renumbered"):
    """All files of the last renumbering have their new names."""


class Converted(_Body, frozen=True, kw_only=True, tag="converted"):
    """A positive was made."""

    frame: str
    take: int
    positive: str
    proof: str = ""
    positive_sha256: str
    proof_sha256: str = ""
    second: bool = False
    """Of the second frame, where two are in one shot; `frame` is the first, under whose number the shot is filed."""
    corners_px: tuple[tuple[float, float], ...] | None = None
    """Where the frame lies in the RAW, where two are in one shot."""
    takes: tuple[int, ...] = ()
    """Numbers of all takes it was made of, where it was made of several."""
    recipe: str = ""
    steps: Any = None
    """Each step of the conversion with its parameters."""
    base: Any = None
    """The film base that was used."""
    warnings: tuple[str, ...] = ()
    software: str = ""


class Made(_Body, frozen=True, kw_only=True, tag="made"):
    """A further file was made of a take, in a folder named by what it is: an archive picture, a mask of its dust, a
    positive that a person changed.
    """

    frame: str
    take: int
    file: str
    was: str = ""
    """Where it stood before it was put out of the way."""
    sha256: str
    second: bool = False
    """As in `converted`."""
    what: str = ""


class SheetMade(_Body, frozen=True, kw_only=True, tag="sheet-made"):
    """The contact sheet was written."""

    file: str
    sha256: str


class Describing(_Body, frozen=True, kw_only=True, tag="describing"):
    """Metadata in sidecars and positives is about to be written again."""


class Described(_Body, frozen=True, kw_only=True, tag="described"):
    """Metadata was written again; these files are as given now."""

    sha256: dict[str, str]
    """File -> SHA-256."""


class Noted(_Body, frozen=True, kw_only=True, tag="noted"):
    """Something worth knowing later."""

    text: str
    detail: str = ""


LineBody = (
    Started
    | Opened
    | Filed
    | Companion
    | Withdrawn
    | SetAside
    | Skipped
    | Blank
    | Reopened
    | Picked
    | NextFrame
    | StripStarted
    | StripEnded
    | Renumbering
    | RenumberingParked
    | Renumbered
    | Converted
    | Made
    | SheetMade
    | Describing
    | Described
    | Noted
)


@dataclass(frozen=True, slots=True)
class Line:
    """One line: its number, when it was written (UTC, ISO 8601) and what it says."""

    number: int
    at: str
    body: LineBody
