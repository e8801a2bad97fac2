"""What stands between this computer and the camera, found out one by one."""

import os
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from tethercap.camera.base import CameraIdentity
from tethercap.camera.driver_handle import LOG_NAME
from tethercap.camera.holders import UDEV_PATH, check_access, device_node, find_holders
from tethercap.errors import TethercapError

RULE_FOLDERS = tuple(
    map(Path, ("/etc/udev/rules.d", "/run/udev/rules.d", "/usr/lib/udev/rules.d", "/lib/udev/rules.d"))
)
_USB_DEVICES = Path("/sys/bus/usb/devices")
_STILL_IMAGE = ("06", "01")
"""USB class and subclass of still-image devices (USB Still Image Capture Device Definition, 1.0)."""
_CAMERA_MAKERS = frozenset({"04a9", "04b0", "04cb", "054c", "04da", "07b4", "33a2", "25fb", "1a98", "1003"})
"""USB numbers of makers whose bodies hide behind a class of their own or behind mass storage (public USB id list)."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was looked at."""

    name: str
    well: bool
    sentence: str
    todo: str = ""


@dataclass(frozen=True, slots=True)
class UsbCamera:
    """A device that looks like a camera to the system."""

    port: str
    name: str
    is_still_image: bool
    """False for a body that shows itself as something else, mostly as mass storage."""


def list_usb_cameras(devices: Path = _USB_DEVICES) -> list[UsbCamera]:
    """Return what the system sees on USB that is a camera, whatever mode it is in.

    Parameters
    ----------
    devices : Path, optional
        Where the system describes its USB devices.
    """
    found = []
    for device in sorted(devices.iterdir()) if devices.is_dir() else ():
        vendor = _said(device / "idVendor")
        if not vendor:
            continue
        classes = [
            (_said(interface / "bInterfaceClass"), _said(interface / "bInterfaceSubClass"))
            for interface in device.glob(f"{device.name}:*")
        ]
        is_still_image = _STILL_IMAGE in classes
        if is_still_image or vendor in _CAMERA_MAKERS:
            port = f"usb:{int(_said(device / 'busnum') or 0):03d},{int(_said(device / 'devnum') or 0):03d}"
            name = f"{_said(device / 'manufacturer')} {_said(device / 'product')}".strip()
            found.append(UsbCamera(port, name or "a camera without a name", is_still_image))
    return found


def _said(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return ""


def has_rule(folders: Iterable[Path] = RULE_FOLDERS) -> bool:
    """Whether a rule of the system lets people use cameras."""
    for folder in folders:
        if (folder / UDEV_PATH.name).exists():
            return True
        if folder.is_dir() and any("gphoto" in rule.name for rule in folder.glob("*.rules")):
            return True
    return False


def check_up(
    find: Callable[[], list[CameraIdentity]],
    log_dir: Path | None,
    *,
    usb: Callable[[], list[UsbCamera]] = list_usb_cameras,
) -> list[Finding]:
    """Look at everything between this computer and the camera.

    Parameters
    ----------
    find : callable
        Lists the cameras that the driver finds.
    log_dir : Path or None
        Where the driver's log goes.
    usb : callable, optional
        Lists the cameras that the system sees.
    """
    try:
        known = find()
        driver = Finding("driver", True, "The driver loads and answers.")
    except TethercapError as error:
        known = []
        driver = Finding("driver", False, error.what, error.todo)
    seen = usb()
    findings = [driver, _found(known, seen)]
    for camera in seen:
        findings.extend(_one(camera, {identity.port for identity in known}))
    findings.append(_rule(seen))
    where = f"The driver's log is {log_dir / LOG_NAME}." if log_dir is not None else "The driver's log goes nowhere."
    findings.append(Finding("log", log_dir is not None, where))
    return findings


def _found(known: list[CameraIdentity], seen: list[UsbCamera]) -> Finding:
    if known:
        named = ", ".join(f"{camera.model} at {camera.port}" for camera in known)
        return Finding("cameras", True, f"Found: {named}.")
    if seen:
        named = ", ".join(f"{camera.name} at {camera.port}" for camera in seen)
        return Finding(
            "cameras",
            False,
            f"The computer sees {named}, but it is not ready to be driven.",
            "Set the camera's USB menu to remote control, PTP or tether, not to mass storage, and plug it in again.",
        )
    return Finding(
        "cameras",
        False,
        "The computer sees no camera on USB.",
        "Switch it on, try another cable (some only charge) and a port on the computer itself.",
    )


def _one(camera: UsbCamera, known_ports: set[str]) -> list[Finding]:
    findings = []
    try:
        check_access(camera.port)
        findings.append(Finding("permission", True, f"This user may open {camera.name}."))
    except TethercapError as error:
        findings.append(Finding("permission", False, error.what, error.todo))
    node = device_node(camera.port)
    holders = find_holders(node) if node is not None else []
    for pid, program in holders:
        findings.append(
            Finding(
                "holder",
                False,
                f"{program} (process {pid}) has {camera.name} open.",
                "On a desktop `gio mount -s gphoto2` makes it let go; else close that program.",
            )
        )
    if not camera.is_still_image and camera.port not in known_ports:
        findings.append(
            Finding(
                "mode", False, f"{camera.name} is in another USB mode.", "Set its USB menu to remote control or PTP."
            )
        )
    return findings


def _rule(seen: list[UsbCamera]) -> Finding:
    if not RULE_FOLDERS[-1].is_dir() and not RULE_FOLDERS[0].is_dir():
        return Finding("rule", True, "This system needs no rule for cameras.")
    if has_rule():
        return Finding("rule", True, "The system has a rule that lets people use cameras.")
    nodes = [device_node(camera.port) for camera in seen]
    if all(os.access(node, os.R_OK | os.W_OK) for node in nodes if node is not None):
        return Finding("rule", True, "There is no rule for cameras, and none is needed for this user now.")
    return Finding(
        "rule",
        False,
        "The system has no rule that lets people use cameras.",
        "`tethercap doctor --udev` prints one; `--write PATH` puts it in a file.",
    )
