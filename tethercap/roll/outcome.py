"""What goes into a roll and what comes back: values of `tethercap.roll.folder.Roll`."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from tethercap import __version__
from tethercap.check.findings import Finding, RawFindings
from tethercap.pictures import ShotData
from tethercap.roll.lines import CameraUsed, Filed, ReasonText
from tethercap.watch.sighting import Reason, Sighting


class KnownCamera(Protocol):
    """A camera's identity, as far as the roll wants to know it."""

    @property
    def make(self) -> str:
        """Maker."""
        ...

    @property
    def model(self) -> str:
        """Model."""
        ...

    @property
    def serial(self) -> str:
        """Serial number."""
        ...

    @property
    def firmware(self) -> str:
        """Firmware version."""
        ...


@dataclass(frozen=True, slots=True)
class Incoming:
    """A picture that has arrived whole in the roll's folder and waits to be checked and filed."""

    path: Path
    """Where it waits; it opens like any picture file, whatever its name ends in."""
    sha256: str
    size_bytes: int
    frame_id: str
    take: int
    suffix: str
    """The suffix it will be filed under, like ".dng"."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeOutcome:
    """What is known about a picture when it is filed."""

    accepted: bool
    """False keeps the picture and leaves the frame open."""
    forced: bool = False
    fired_by: str = ""
    findings: RawFindings | None = None
    """Of the check of the RAW."""
    sighting: Sighting | None = None
    """What was seen when it was fired."""
    shot: ShotData | None = None
    asked: Mapping[str, str] = field(default_factory=dict)
    """Settings as they were asked for."""
    settings: Mapping[str, str] = field(default_factory=dict)
    """Settings as the camera had them."""
    camera: KnownCamera | None = None
    camera_file: str = ""
    """The file's name on the camera; written down, never used as a path."""
    taken_at: str = ""
    """Time of the shot, ISO 8601 with time zone; not given, the time of filing."""
    strip: int | None = None
    """Number of the strip; not given, the roll's present one."""
    view: bytes = b""
    """Live view at the shot, small: a later run knows by it whether the frame lies in the holder still."""
    mirrored: bool | None = None
    """The film lies the other way up; not given, as the present strip does."""


@dataclass(frozen=True, slots=True)
class FiledTake:
    """A picture that is safe in the roll."""

    path: Path
    frame_id: str
    take: int
    sha256: str
    accepted: bool


def filed_line(incoming: Incoming, outcome: TakeOutcome, *, file: str, waits_as: str, take: int, rig: str) -> Filed:
    """Line of the record for a picture: where the frame lies in it comes from the RAW, where that was measured."""
    findings, sighting, camera = outcome.findings, outcome.sighting, outcome.camera
    alignment = findings.alignment if findings else None
    edges = findings.edges if findings else None
    return Filed(
        frame=incoming.frame_id,
        take=take,
        file=file,
        waits_as=waits_as,
        sha256=incoming.sha256,
        size_bytes=incoming.size_bytes,
        accepted=outcome.accepted,
        forced=outcome.forced,
        fired_by=outcome.fired_by,
        reasons=tuple(map(_reason_text, sighting.verdict.reasons)) if sighting else (),
        findings=tuple(map(_finding_text, findings.findings)) if findings else (),
        offset_mm=(alignment.offset.x_mm, alignment.offset.y_mm) if alignment else None,
        tilt_deg=alignment.tilt_deg if alignment else None,
        corners_px=tuple((x_px, y_px) for x_px, y_px in edges.corners) if edges else None,
        mm_per_px=edges.mm_per_px if edges else None,
        shot=outcome.shot,
        asked=dict(outcome.asked),
        settings=dict(outcome.settings),
        camera=_camera_used(camera) if camera is not None else None,
        camera_file=outcome.camera_file,
        taken_at=outcome.taken_at,
        rig=rig,
        strip=outcome.strip,
        mirrored=bool(outcome.mirrored),
        view=outcome.view,
        software=f"tethercap {__version__}",
    )


def _camera_used(camera: KnownCamera) -> CameraUsed:
    return CameraUsed(make=camera.make, model=camera.model, serial=camera.serial, firmware=camera.firmware)


def _reason_text(reason: Reason) -> ReasonText:
    return ReasonText(code=reason.code.value, text=reason.text)


def _finding_text(finding: Finding) -> ReasonText:
    return ReasonText(
        code=finding.kind.code,
        text=finding.detail or finding.kind.sentence,
        severity=finding.kind.severity.value,
        value=finding.value,
        unit=finding.unit,
    )
