"""What was understood of a camera: every setting in our words, and how far it can be controlled."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from tethercap.camera.words.formats import FormatReading
from tethercap.camera.words.makers import Maker
from tethercap.camera.words.widgets import WidgetKind
from tethercap.exposure.settings import Setting, SettingState


class Control(StrEnum):
    """How far a camera can be controlled as it stands."""

    FULL = "full"
    """Sensitivity, exposure time, aperture (or a manual lens) and RAW are in our hands."""
    LIMITED = "limited"
    """Something is missing; a sentence says what, and what to turn."""
    NONE = "not controllable"
    """No setting to work with; a sentence says which menu to look into."""


class FocusKind(StrEnum):
    """How the lens is driven. Units of two makers cannot be compared."""

    STEPS = "steps"
    """Named steps near and far in three sizes, no position."""
    RANGE = "range"
    """A signed number of steps or a speed, relative."""
    POSITION = "position"
    """A number that is the lens's position itself."""


@dataclass(frozen=True, slots=True)
class FocusDrive:
    """The focus drive of a camera."""

    widget: str
    kind: FocusKind
    unit: str
    """What one is ("lens pulses"), for the screen."""
    range: tuple[float, float, float] | None = None
    """(lowest, highest, step) of a RANGE."""


@dataclass(frozen=True, slots=True)
class NumberedReading:
    """A setting found only under a property number: shown as a help, never set."""

    widget: str
    encoding: str
    values: tuple[float, ...] = ()
    auto: tuple[str, ...] = ()
    current: float | str | None = None


@dataclass(frozen=True, slots=True)
class BaseIso:
    """The sensitivity to photograph film at."""

    iso: float
    certain: bool
    """True where a table by model says so; else it is a proposal and shown as one."""


@dataclass(frozen=True, slots=True)
class Carrier:
    """The widget behind a setting."""

    widget: str
    kind: WidgetKind
    range: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class Understanding:
    """What was understood of one camera, now.

    Lists and read-only flags follow the mode dial: read again after it was turned.
    """

    model: str
    maker: Maker
    states: Mapping[Setting, SettingState]
    """Every setting the camera has a widget for, also those that cannot be set now."""
    carriers: Mapping[Setting, Carrier]
    """Which widget each of them lives in."""
    control: Control
    why: tuple[str, ...] = ()
    """Sentences for the person: what is limited and which dial, switch or menu to change."""
    notes: tuple[str, ...] = ()
    """Sentences about what is normal but worth knowing."""
    base_iso: BaseIso | None = None
    formats: FormatReading | None = None
    focus: FocusDrive | None = None
    numbered: Mapping[Setting, NumberedReading] = field(default_factory=dict)
    manual_lens: bool = False
    """The lens tells the camera no aperture: it is set on the lens itself."""

    def widget_name(self, setting: Setting) -> str | None:
        """Name of the widget a setting lives in; None where the camera has none."""
        carrier = self.carriers.get(setting)
        return carrier.widget if carrier else None
