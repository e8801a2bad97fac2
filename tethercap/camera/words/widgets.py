"""A camera's setting as its driver offers it, before anything is understood about it."""

from dataclasses import dataclass
from enum import StrEnum


class WidgetKind(StrEnum):
    """The driver's kinds of setting."""

    RADIO = "RADIO"
    """One of `choices`."""
    MENU = "MENU"
    """One of `choices`; the driver uses it where RADIO would be too long, or for settings it only knows by number."""
    TEXT = "TEXT"
    RANGE = "RANGE"
    """A number in `range`."""
    TOGGLE = "TOGGLE"
    """0, 1, or 2 where the driver can write the state but not read it."""
    DATE = "DATE"
    """Seconds since the epoch."""
    BUTTON = "BUTTON"
    WINDOW = "WINDOW"
    SECTION = "SECTION"


@dataclass(frozen=True, slots=True)
class Widget:
    """One setting, in the driver's own words."""

    name: str
    """Last part of the path ("iso"); what the driver wants to hear when it is set."""
    path: str
    """Whole path ("/main/imgsettings/iso"); empty where a dump does not say."""
    label: str
    """The driver's caption, in the driver's language."""
    readonly: bool | None
    """None where a dump does not say."""
    kind: WidgetKind
    current: str | float | int | None
    """What it stands at now."""
    choices: tuple[str, ...] = ()
    """Texts in the driver's order, duplicates kept."""
    range: tuple[float, float, float] | None = None
    """(lowest, highest, step) of a RANGE."""

    @property
    def section(self) -> str:
        """Name of the group it stands in ("imgsettings"), empty where the path does not say."""
        parts = [part for part in self.path.split("/") if part]
        return parts[-2] if len(parts) >= 2 else ""

    @property
    def current_text(self) -> str:
        """The current value as the driver prints it; empty where there is none."""
        if self.current is None:
            return ""
        return f"{self.current:g}" if isinstance(self.current, float) else str(self.current)
