"""The only door to gphoto2. Imported in the camera process alone: the driver may hang, or end its process.

Every call goes through `GPhotoCamera._call`: it has a deadline kept by a timer that needs no Python to strike, its
errors become ours, and the driver's own words are caught from its context.
"""

import contextlib
import os
import time
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import Enum
from typing import Any, Protocol

with warnings.catch_warnings():
    # The bindings (2.6) warn about their own generated code on newer Pythons.
    warnings.simplefilter("ignore", DeprecationWarning)
    import gphoto2 as gp

from tethercap.camera import gphoto_errors
from tethercap.camera.base import CameraFile
from tethercap.camera.words.widgets import Widget, WidgetKind
from tethercap.errors import NoCameraError, NotSupportedError

# Handing in a CameraFile is the only way to hand in a context too; the binding calls it deprecated.
warnings.filterwarnings("ignore", "In function", DeprecationWarning)

NETWORK_MODEL = "PTP/IP Camera"
"""The driver's entry for a body reached over the network."""
STILL_THERE = "The picture is still on the camera."
PULL_AGAIN = "Pull it again."

_KINDS = {
    gp.GP_WIDGET_WINDOW: WidgetKind.WINDOW,
    gp.GP_WIDGET_SECTION: WidgetKind.SECTION,
    gp.GP_WIDGET_TEXT: WidgetKind.TEXT,
    gp.GP_WIDGET_RANGE: WidgetKind.RANGE,
    gp.GP_WIDGET_TOGGLE: WidgetKind.TOGGLE,
    gp.GP_WIDGET_RADIO: WidgetKind.RADIO,
    gp.GP_WIDGET_MENU: WidgetKind.MENU,
    gp.GP_WIDGET_BUTTON: WidgetKind.BUTTON,
    gp.GP_WIDGET_DATE: WidgetKind.DATE,
}
_WITHOUT_VALUE = frozenset({WidgetKind.WINDOW, WidgetKind.SECTION, WidgetKind.BUTTON})


class Timer(Protocol):
    """Ends the process if a driver call does not return."""

    def start(self, doing: str, deadline_s: float) -> None:
        """A call begins."""
        ...

    def stop(self) -> None:
        """It returned."""
        ...


class DriverEventKind(Enum):
    """What the driver's event queue can hold."""

    NOTHING = "nothing"
    FILE_ADDED = "file added"
    COMPLETE = "complete"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class DriverEvent:
    """One entry of the driver's event queue."""

    kind: DriverEventKind
    folder: str = ""
    name: str = ""
    text: str = ""


def driver_version() -> str:
    """Return the versions of the bindings and of the driver."""
    return f"gphoto2 {gp.__version__}, libgphoto2 {gp.gp_library_version(gp.GP_VERSION_SHORT)[0]}"


def find_ports() -> list[tuple[str, str]]:
    """Return (port, the driver's name for the body) of every camera found on USB."""
    try:
        found = gp.Camera.autodetect()
        return [(found.get_value(index), found.get_name(index)) for index in range(found.count())]
    except gp.GPhoto2Error as error:
        raise gphoto_errors.translate(error.code, doing="look for cameras") from None


class GPhotoCamera:
    """An open camera behind the driver.

    Parameters
    ----------
    port : str
        "usb:001,004", or "ptpip:127.0.0.1:15740:15740" with a dotted address.
    timer : Timer
        Guards every call.

    Raises
    ------
    CameraError
    """

    def __init__(self, port: str, timer: Timer) -> None:
        _occupy_stdin()
        self.port = port
        self._timer = timer
        self._said: list[str] = []
        self._context = gp.Context()
        # The callback lives as long as the object that registering it returned.
        self._keep = self._context.set_error_func(self._hear, None)
        self._camera: Any = gp.Camera()
        with self._call("open the camera", 45.0):
            self._choose_port()
            self._camera.init(self._context)

    def _hear(self, _context: object, text: bytes | str, _user: object) -> None:
        self._said.append(text.decode(errors="replace") if isinstance(text, bytes) else text)

    @contextlib.contextmanager
    def _call(self, doing: str, deadline_s: float, safe: str = "", todo: str = "") -> Iterator[None]:
        self._said.clear()
        self._timer.start(doing, deadline_s)
        try:
            yield
        except gp.GPhoto2Error as error:
            raise gphoto_errors.translate(error.code, tuple(self._said), doing=doing, safe=safe, todo=todo) from None
        finally:
            self._timer.stop()

    def _choose_port(self) -> None:
        # Lists are read anew each time: after a replug the old ones name a port that is gone.
        ports = gp.PortInfoList()
        ports.load()
        try:
            self._camera.set_port_info(ports.get_info(ports.lookup_path(self.port)))
        except gp.GPhoto2Error as error:
            raise NoCameraError(
                f"There is no camera port {self.port!r} (driver result {error.code}).",
                todo="Run `tethercap cameras` to see the ports there are.",
            ) from None
        if self.port.startswith("ptpip:"):
            abilities = gp.CameraAbilitiesList()
            abilities.load(self._context)
            self._camera.set_abilities(abilities.get_abilities(abilities.lookup_model(NETWORK_MODEL)))

    # Who it is

    def driver_model(self) -> str:
        """Return the driver's name for the body."""
        return str(self._camera.get_abilities().model)

    def claims_capture(self) -> bool:
        """Whether the driver's table says that this entry can take pictures."""
        return bool(self._camera.get_abilities().operations & gp.GP_OPERATION_CAPTURE_IMAGE)

    def claims_live_view(self) -> bool:
        """Whether the driver's table says that this entry has live view."""
        return bool(self._camera.get_abilities().operations & gp.GP_OPERATION_CAPTURE_PREVIEW)

    def offers_capture(self) -> bool:
        """Whether the body itself offers a release, by its own list of operations.

        Raises
        ------
        CameraError
        """
        with self._call("see what the camera can do", 40.0):
            said = str(self._camera.get_summary(self._context).text)
        return "No Image Capture" not in said or "No vendor specific capture" not in said

    # Settings

    def setting_names(self) -> tuple[str, ...]:
        """Return the names of every setting that the driver offers for this body."""
        with self._call("list the settings", 20.0):
            listed = self._camera.list_config(self._context)
            return tuple(listed.get_name(index) for index in range(listed.count()))

    def read_setting(self, name: str) -> Widget:
        """Return one setting as it stands.

        Raises
        ------
        CameraError
        """
        with self._call(f"read {name}", 10.0):
            widget = self._camera.get_single_config(name, self._context)
            if widget is None:
                # Some of the driver's readers give up without a word.
                raise NotSupportedError(f"The driver cannot read {name} on this camera.")
            return _widget_of(widget, name)

    def write_setting(self, name: str, value: str | float | int) -> None:
        """Set one setting, always by a fresh widget: the driver sends what it sees as changed only.

        Raises
        ------
        CameraError
        """
        with self._call(f"set {name} to {value}", 40.0):
            widget = self._camera.get_single_config(name, self._context)
            if widget is None:
                raise NotSupportedError(f"The driver cannot set {name} on this camera.")
            kind = widget.get_type()
            widget.set_value(
                float(value)
                if kind == gp.GP_WIDGET_RANGE
                else int(value)
                if kind in (gp.GP_WIDGET_TOGGLE, gp.GP_WIDGET_DATE)
                else str(value)
            )
            self._camera.set_single_config(name, widget, self._context)

    def read_all_settings(self) -> list[Widget]:
        """Return the whole tree; takes seconds on real bodies, for dumps alone."""
        with self._call("read the whole configuration", 50.0):
            root = self._camera.get_config(self._context)
            return list(_walk(root, ""))

    # Pictures

    def preview(self, copy: Callable[[memoryview], None]) -> None:
        """Take a live picture and hand its bytes to `copy`; they are gone when `copy` returns.

        Raises
        ------
        CameraError
        """
        with self._call("take a live picture", 12.0):
            picture = gp.CameraFile()
            self._camera.capture_preview(picture, self._context)
            copy(memoryview(picture.get_data_and_size()))

    def trigger(self, deadline_s: float) -> None:
        """Release the shutter.

        Raises
        ------
        CameraError
        """
        with self._call("take the picture", deadline_s):
            self._camera.trigger_capture(self._context)

    def next_event(self, wait_ms: int = 1) -> DriverEvent:
        """Return what happened next, waiting no more than `wait_ms`.

        Raises
        ------
        CameraError
        """
        with self._call("hear from the camera", 15.0):
            kind, content = self._camera.wait_for_event(wait_ms, self._context)
            if kind == gp.GP_EVENT_FILE_ADDED:
                return DriverEvent(DriverEventKind.FILE_ADDED, content.folder, content.name)
            if kind == gp.GP_EVENT_CAPTURE_COMPLETE:
                return DriverEvent(DriverEventKind.COMPLETE)
            if kind == gp.GP_EVENT_TIMEOUT:
                return DriverEvent(DriverEventKind.NOTHING)
            return DriverEvent(DriverEventKind.OTHER, text=content if isinstance(content, str) else "")

    # Files

    def describe_file(self, folder: str, name: str) -> CameraFile:
        """Return what the camera says about a file.

        Raises
        ------
        CameraError
        """
        with self._call(f"look at {name}", 15.0):
            about = self._camera.file_get_info(folder, name, self._context).file
            taken = float(about.mtime) if about.fields & gp.GP_FILE_INFO_MTIME and about.mtime else None
            size = int(about.size) if about.fields & gp.GP_FILE_INFO_SIZE else 0
            return CameraFile(folder, name, size, about.type if about.fields & gp.GP_FILE_INFO_TYPE else "", taken)

    def read_piece(self, file: CameraFile, offset: int, into: memoryview) -> int:
        """Read part of a file into `into`; return how many bytes came.

        Raises
        ------
        NotSupportedError
            If the body only gives whole files.
        CameraError
        """
        with self._call(f"pull {file.name}", 15.0, STILL_THERE, PULL_AGAIN):
            return int(
                self._camera.file_read(file.folder, file.name, gp.GP_FILE_TYPE_NORMAL, offset, into, self._context)
            )

    def read_whole(self, file: CameraFile, deadline_s: float) -> bytes:
        """Read a whole file.

        Raises
        ------
        CameraError
        """
        with self._call(f"pull {file.name}", deadline_s, STILL_THERE, PULL_AGAIN):
            content = gp.CameraFile()
            self._camera.file_get(file.folder, file.name, gp.GP_FILE_TYPE_NORMAL, content, self._context)
            return bytes(content.get_data_and_size())

    def list_files(self, folder: str) -> tuple[str, ...]:
        """Return the names of the files in a folder.

        Raises
        ------
        CameraError
        """
        with self._call("list the pictures", 40.0):
            listed = self._camera.folder_list_files(folder, self._context)
            return tuple(listed.get_name(index) for index in range(listed.count()))

    def list_folders(self, folder: str) -> tuple[str, ...]:
        """Return the names of the folders in a folder.

        Raises
        ------
        CameraError
        """
        with self._call("list the folders", 20.0):
            listed = self._camera.folder_list_folders(folder, self._context)
            return tuple(listed.get_name(index) for index in range(listed.count()))

    def free_bytes(self) -> list[int | None]:
        """Return the free space of each card, None for one that the camera does not tell; empty without a card.

        Raises
        ------
        CameraError
        """
        with self._call("look at the card", 15.0):
            stores = self._camera.get_storageinfo(self._context)
        told = gp.GP_STORAGEINFO_FREESPACEKBYTES
        return [int(store.freekbytes) * 1024 if store.fields & told else None for store in stores]

    # The way out

    def leave(self) -> None:
        """End the session; an error here means that it was over already."""
        self._timer.start("end the session", 3.0)
        try:
            with contextlib.suppress(gp.GPhoto2Error):
                self._camera.exit(self._context)
        finally:
            self._timer.stop()
        _occupy_stdin()

    def reset_port(self) -> None:
        """Reset a USB port, the driver's last means before the plug; the body appears anew.

        Raises
        ------
        CameraError
        """
        with self._call("reset the port", 10.0):
            port = gp.GPPort()
            port.set_info(self._camera.get_port_info())
            port.open()
            try:
                port.reset()
            finally:
                port.close()
        time.sleep(1.0)


def _occupy_stdin() -> None:
    # The driver closes file 0 when it leaves a network camera; the next file opened would get its number, and be
    # closed by the next leave.
    try:
        os.fstat(0)
    except OSError:
        os.open(os.devnull, os.O_RDONLY)


def _walk(widget: Any, above: str) -> Iterator[Widget]:
    path = f"{above}/{widget.get_name()}"
    for child in (widget.get_child(index) for index in range(widget.count_children())):
        if child.count_children():
            yield from _walk(child, path)
        else:
            yield _widget_of(child, child.get_name(), f"{path}/{child.get_name()}")


def _widget_of(widget: Any, name: str, path: str = "") -> Widget:
    kind = _KINDS[widget.get_type()]
    has_choices = kind in (WidgetKind.RADIO, WidgetKind.MENU)
    return Widget(
        name=name,
        path=path,
        label=str(widget.get_label()),
        readonly=bool(widget.get_readonly()),
        kind=kind,
        current=None if kind in _WITHOUT_VALUE else widget.get_value(),
        choices=tuple(widget.get_choice(index) for index in range(widget.count_choices())) if has_choices else (),
        range=tuple(widget.get_range()) if kind is WidgetKind.RANGE else None,
    )
