"""Who holds a USB camera, and whether this user may open it. Linux; elsewhere nothing is known and nothing is said."""

import contextlib
import os
import re
import sys
from pathlib import Path

from tethercap.errors import CameraInUseError, CameraPermissionError

_RULE_FOR = (
    'ACTION!="remove", SUBSYSTEM=="usb", ENV{{DEVTYPE}}=="usb_device", ENV{{{mark}}}=="{value}", '
    'MODE="0664", GROUP="plugdev", TAG+="uaccess"'
)
UDEV_RULE = "\n".join(
    (
        "# Cameras may be used by whoever is logged in here, and by the group plugdev.",
        "# The still-image class of USB: class 06, subclass 01, protocol 01.",
        _RULE_FOR.format(mark="ID_USB_INTERFACES", value="*:060101:*"),
        "# Bodies that hide it behind a class of their maker, by the mark that the system's own database sets.",
        _RULE_FOR.format(mark="ID_GPHOTO2", value="1"),
        "",
    )
)
"""Rule for udev; sorts before the system's rule that acts on the tag uaccess (73-)."""
UDEV_PATH = Path("/etc/udev/rules.d/60-tethercap-cameras.rules")

_USB_PORT = re.compile(r"usb:(\d+),(\d+)")
_DEVICES = Path("/dev/bus/usb")
_PROCESSES = Path("/proc")


def device_node(port: str) -> Path | None:
    """Return the device file of a USB port string, None for any other port."""
    found = _USB_PORT.fullmatch(port)
    return _DEVICES / f"{int(found[1]):03d}" / f"{int(found[2]):03d}" if found else None


def find_holders(node: Path, processes: Path = _PROCESSES) -> list[tuple[int, str]]:
    """Return (process id, program) of every process that has a device file open, as far as this user may see.

    Parameters
    ----------
    node : Path
        "/dev/bus/usb/001/004".
    processes : Path, optional
        Where the system shows its processes.
    """
    holders = []
    for process in processes.iterdir() if processes.is_dir() else ():
        if not process.name.isdigit() or int(process.name) == os.getpid():
            continue
        with contextlib.suppress(OSError):
            if any(_points_at(link, node) for link in (process / "fd").iterdir()):
                holders.append((int(process.name), (process / "comm").read_text().strip()))
    return holders


def _points_at(link: Path, node: Path) -> bool:
    with contextlib.suppress(OSError):
        return link.readlink() == node
    return False


def explain_claim(error: CameraInUseError, port: str) -> CameraInUseError:
    """Return the error with the program that holds the camera named, and what frees it."""
    node = device_node(port)
    holders = find_holders(node) if node is not None else []
    if not holders:
        return CameraInUseError(error.what, safe="Nothing was sent to the camera.", todo=_free_it(""))
    named = " and ".join(f"{program} (process {pid})" for pid, program in holders)
    return CameraInUseError(
        f"{named} has the camera at {port}.", safe="Nothing was sent to the camera.", todo=_free_it(holders[0][1])
    )


def _free_it(program: str) -> str:
    if sys.platform == "darwin":
        return (
            "The system's own camera service takes it: quit photo and transfer programs, replug the camera, try again."
        )
    if not program or program.startswith("gvfs"):
        return "The desktop opens cameras by itself: `gio mount -s gphoto2` makes it let go until the next replug."
    return f"Close {program}, then try again."


def check_access(port: str) -> None:
    """Check that this user may open a USB port's device file.

    Raises
    ------
    CameraPermissionError
        If not; with what to do.
    """
    node = device_node(port)
    if node is None or not node.exists() or os.access(node, os.R_OK | os.W_OK):
        return
    raise CameraPermissionError(
        f"This user may not open the camera at {port} ({node}).",
        safe="Nothing was sent to the camera.",
        todo=f"Run `tethercap doctor --udev` for the rule that allows it, and where to put it ({UDEV_PATH}).",
    )
