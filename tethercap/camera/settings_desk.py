"""Reading and setting a camera's settings in the camera process: widgets in, brand-free states out."""

import contextlib
import time
from collections.abc import Callable

from tethercap.camera.choosing import choose
from tethercap.camera.opening import OpenCamera
from tethercap.camera.plain_words import understand_plainly
from tethercap.camera.words.widgets import Widget
from tethercap.errors import CameraBusyError, CameraError, CameraGoneError, CameraSilentError, NotSupportedError
from tethercap.exposure.settings import Setting, SettingChange, SettingState, Value

READ_BACK_S = 2.5
"""How long a body may take until it shows what was set; the driver itself may hold an old value for 2 s."""
BUSY_WAITS_S = (0.05, 0.1, 0.2, 0.35, 0.5)
"""Pauses between tries on a busy body."""


class SettingsDesk:
    """The settings of one open camera."""

    def __init__(self, opened: OpenCamera) -> None:
        self._opened = opened
        self._widget_names: dict[Setting, str] = {}
        self.last: dict[Setting, SettingState] = {}

    def read(self) -> dict[Setting, SettingState]:
        """Read every setting that the camera has.

        Raises
        ------
        CameraError
        """
        widgets = self._read_widgets()
        self.last, self._widget_names = understand_plainly(widgets)
        return self.last

    def _read_widgets(self) -> list[Widget]:
        widgets = []
        for name in sorted(self._opened.names):
            if len(name) == 4 and all(c in "0123456789abcdef" for c in name):
                continue
            try:
                widgets.append(self._opened.camera.read_setting(name))
            except (CameraGoneError, CameraSilentError):
                raise
            except CameraError:
                continue
        return widgets

    def change(self, setting: Setting, wanted: Value | float | str) -> SettingChange:
        """Set the nearest value and read it back.

        Raises
        ------
        NotSupportedError
            If the camera lacks the setting, or it cannot be set now.
        CameraError
        """
        state = (self.last or self.read()).get(setting)
        name = self._widget_names.get(setting)
        if state is None or name is None:
            raise NotSupportedError(f"This camera has no setting for {setting.value}.")
        if name in self._opened.traits.never_set:
            raise NotSupportedError(
                f"{setting.value} cannot be set from here on this camera: its driver would crash.",
                todo="Set it on the camera.",
            )
        asked = choose(state, wanted)
        _patiently(lambda: self._opened.camera.write_setting(name, asked.text))
        return SettingChange(setting, asked, self._read_back(setting, asked))

    def _read_back(self, setting: Setting, asked: Value) -> Value:
        until_s = time.monotonic() + READ_BACK_S
        while True:
            got = self.read()[setting].value
            if SettingChange(setting, asked, got).taken or time.monotonic() > until_s:
                return got
            time.sleep(0.1)


def _patiently(work: Callable[[], None]) -> None:
    for wait_s in BUSY_WAITS_S:
        with contextlib.suppress(CameraBusyError):
            return work()
        time.sleep(wait_s)
    return work()
