"""The settings tethercap speaks of, in words that belong to no maker, and their typed values."""

from dataclasses import dataclass
from enum import StrEnum


class Setting(StrEnum):
    """What can be read from, and sometimes set on, a camera."""

    ISO = "iso"
    APERTURE = "aperture"
    SHUTTER = "shutter"
    EXPOSURE_COMPENSATION = "exposure-compensation"
    PROGRAM = "program"
    IMAGE_FORMAT = "image-format"
    CAPTURE_TARGET = "capture-target"
    WHITE_BALANCE = "white-balance"
    FOCUS_MODE = "focus-mode"
    FOCUS_DRIVE = "focus-drive"
    LIVE_VIEW = "live-view"
    LIVE_VIEW_SIZE = "live-view-size"
    LIVE_VIEW_ZOOM = "live-view-zoom"
    BATTERY = "battery"
    SHOTS_LEFT = "shots-left"
    DRIVE_MODE = "drive-mode"
    PICTURE_STYLE = "picture-style"
    LONG_EXPOSURE_NR = "long-exposure-nr"
    QUIET_SHUTTER = "quiet-shutter"


class ValueKind(StrEnum):
    """What a camera's text turned out to mean."""

    NUMBER = "number"
    """`number` holds it: ISO, f-number, seconds, stops, percent."""
    WORD = "word"
    """One of our own words, in `word` ("raw", "raw+jpeg", "card", "manual" ...)."""
    AUTO = "auto"
    BULB = "bulb"
    TIME = "time"
    UNKNOWN = "unknown"
    """The text stands for itself; nothing is claimed about it."""


@dataclass(frozen=True, slots=True)
class Value:
    """A setting's value: what it means, and the camera's own text for it."""

    kind: ValueKind
    text: str
    """The camera's text, to be handed back unchanged when it is set."""
    number: float | None = None
    word: str | None = None

    @property
    def name(self) -> str | None:
        """Our word for it ("raw", "auto", "bulb"); None for numbers and for what is not understood."""
        if self.kind in (ValueKind.AUTO, ValueKind.BULB, ValueKind.TIME):
            return str(self.kind)
        return self.word


@dataclass(frozen=True, slots=True)
class SettingState:
    """One setting of one camera, now."""

    setting: Setting
    value: Value
    choices: tuple[Value, ...] = ()
    settable: bool = False
    note: str = ""
    """Why it is limited, and what to turn on the body ("shutter follows the mode dial: turn it to M")."""


@dataclass(frozen=True, slots=True)
class SettingChange:
    """What was asked for and what the camera made of it, read back."""

    setting: Setting
    asked: Value
    got: Value

    @property
    def taken(self) -> bool:
        """True where the camera now shows what was asked, numbers within 1 %."""
        if self.asked.number is not None and self.got.number is not None:
            return abs(self.got.number - self.asked.number) <= 0.01 * max(abs(self.asked.number), 1e-9)
        if self.asked.word is not None or self.got.word is not None:
            return self.asked.word == self.got.word
        return self.asked.text == self.got.text
