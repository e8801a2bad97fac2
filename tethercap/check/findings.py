"""Findings about a picture: one registry of what can be said, and the values that say it."""

from dataclasses import dataclass
from enum import StrEnum

from tethercap.watch.sighting import Alignment, FrameEdges


class Severity(StrEnum):
    """How much a finding weighs."""

    NOTE = "note"
    WARNING = "warning"
    """Kept and accepted, and shown."""
    FAILURE = "failure"
    """Kept, not accepted: the frame stays open for another take."""


@dataclass(frozen=True, slots=True)
class FindingKind:
    """One thing that can be found; screens, sidecars, help and tests are made from this."""

    code: str
    severity: Severity
    sentence: str
    """For the person, one sentence."""
    help: str
    """What it means and what to do, a few sentences."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was found in one picture."""

    kind: FindingKind
    value: float | None = None
    unit: str = ""
    detail: str = ""


@dataclass(frozen=True, slots=True)
class RawFindings:
    """What the check of one RAW found."""

    findings: tuple[Finding, ...]
    edges: FrameEdges | None
    """In RAW pixels."""
    alignment: Alignment | None
    likeness: float | None = None
    """How much the picture looks like the live view at its release, -1..1; None where that is not known."""

    @property
    def passed(self) -> bool:
        """True where nothing weighs as a failure."""
        return all(finding.kind.severity is not Severity.FAILURE for finding in self.findings)
