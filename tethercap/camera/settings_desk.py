"""Reading and setting a camera's settings in the camera process: widgets in, brand-free states out."""

import re
import time
from collections.abc import Callable, Iterable

from tethercap.camera.opening import OpenCamera
from tethercap.camera.words.plan import PlannedChange, plan_change, read_back
from tethercap.camera.words.resolve import understand
from tethercap.camera.words.understanding import Understanding
from tethercap.camera.words.widgets import Widget
from tethercap.errors import (
    CameraBusyError,
    CameraError,
    CameraGoneError,
    CameraSilentError,
    NotSupportedError,
)
from tethercap.exposure.settings import Setting, SettingChange, SettingState, Value

READ_BACK_S = 2.5
"""How long a body may take until it shows what was set; the driver itself may hold an old value for 2 s."""
READ_BACK_PAUSE_S = 0.1
BUSY_WAITS_S = (0.05, 0.1, 0.2, 0.35, 0.5)
"""Pauses between tries on a busy body."""
WATCHED = (Setting.PROGRAM, Setting.SHUTTER, Setting.APERTURE, Setting.ISO, Setting.IMAGE_FORMAT)
"""What must not change unseen in the middle of a roll."""

SUPPLIES = (Setting.BATTERY, Setting.SHOTS_LEFT)
"""What runs out."""

_NUMBERED = re.compile(r"[0-9a-f]{4}")
_WITHOUT_SETTING = frozenset({"opcode", "datetime", "datetimeutc", "syncdatetime", "syncdatetimeutc", "customfuncex"})
"""Widgets that read as something else than a setting, or take long to read."""


class SettingsDesk:
    """The settings of one open camera.

    Parameters
    ----------
    opened : OpenCamera
    """

    def __init__(self, opened: OpenCamera) -> None:
        self._opened = opened
        self._widgets: dict[str, Widget] = {}
        self._understanding: Understanding | None = None

    @property
    def known(self) -> dict[Setting, SettingState]:
        """Settings as they were when they were read last; empty before."""
        return dict(self._understanding.states) if self._understanding is not None else {}

    def read(self) -> dict[Setting, SettingState]:
        """Read every setting that the camera has.

        The first time every widget is read, later those that carry a setting: a whole reading takes a second on USB.

        Raises
        ------
        CameraError
        """
        if self._understanding is None:
            self._refresh(sorted(self._opened.names - _WITHOUT_SETTING))
        else:
            self._refresh(carrier.widget for carrier in self._understanding.carriers.values())
        return self.known

    def read_watched(self) -> list[Setting]:
        """Read the settings that matter to a roll; return those whose value has changed.

        Raises
        ------
        CameraError
        """
        before = self.known
        if self._understanding is None:
            return []
        carriers = self._understanding.carriers
        self._refresh(carriers[setting].widget for setting in WATCHED if setting in carriers)
        after = self.known
        moved = [s for s in WATCHED if s in before and s in after and before[s].value != after[s].value]
        if Setting.PROGRAM in moved:
            # Lists and read-only marks follow the mode dial.
            self.read()
        return moved

    def read_supplies(self) -> dict[Setting, SettingState]:
        """Read what runs out: battery and pictures left, as far as the camera has them.

        Raises
        ------
        CameraError
        """
        if self._understanding is None:
            return {}
        carriers = self._understanding.carriers
        self._refresh(carriers[setting].widget for setting in SUPPLIES if setting in carriers)
        known = self.known
        return {setting: known[setting] for setting in SUPPLIES if setting in known}

    def _refresh(self, names: Iterable[str]) -> None:
        for name in dict.fromkeys(names):
            try:
                self._widgets[name] = self._opened.camera.read_setting(name)
            except (CameraGoneError, CameraSilentError):
                raise
            except CameraError:
                # Some names are listed and cannot be read in this mode.
                self._widgets.pop(name, None)
        # Names before numbers, as the driver lists them.
        ordered = sorted(self._widgets.values(), key=lambda widget: bool(_NUMBERED.fullmatch(widget.name)))
        identity = self._opened.identity
        self._understanding = understand(ordered, identity.model, make=identity.make)

    @property
    def sentences(self) -> tuple[str, ...]:
        """What is limited on this camera and what to turn, then what is worth knowing."""
        understanding = self._understanding
        return (*understanding.why, *understanding.notes) if understanding is not None else ()

    def change(self, setting: Setting, wanted: Value | float | str) -> SettingChange:
        """Set the nearest value and read it back.

        Raises
        ------
        NotSupportedError
            If the camera lacks the setting, or it cannot be set now.
        CameraError
        """
        self.read()
        assert self._understanding is not None  # noqa: S101  # read() made it
        planned = plan_change(self._understanding, setting, wanted)
        if planned.widget in self._opened.traits.never_set:
            raise NotSupportedError(
                f"The {setting.value} cannot be set from here: the driver would crash on this camera.",
                todo="Set it on the camera.",
            )
        _patiently(lambda: self._opened.camera.write_setting(planned.widget, planned.text))
        return self._read_back(planned, self._understanding)

    def _read_back(self, planned: PlannedChange, understanding: Understanding) -> SettingChange:
        # The driver calls a refused setting done, so only what the body shows afterwards counts.
        until_s = time.monotonic() + READ_BACK_S
        while True:
            change = read_back(planned, self._opened.camera.read_setting(planned.widget), understanding)
            if change.taken or time.monotonic() > until_s:
                self.read()
                return change
            time.sleep(READ_BACK_PAUSE_S)


def _patiently(work: Callable[[], None]) -> None:
    for wait_s in BUSY_WAITS_S:
        try:
            work()
            return
        except CameraBusyError:
            time.sleep(wait_s)
    work()
