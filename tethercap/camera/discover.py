"""Finding cameras and opening one; the door through which the rest of the program gets its camera."""

import os
from pathlib import Path

from tethercap.camera.base import Camera, CameraIdentity
from tethercap.camera.child import ChildCamera
from tethercap.camera.driver_handle import DriverProcess
from tethercap.camera.protocol import Verb


def default_log_dir() -> Path | None:
    """Return the user's folder for logs, made if needed; None if it cannot be."""
    base = os.environ.get("XDG_STATE_HOME") or "~/.local/state"
    folder = Path(base).expanduser() / "tethercap"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError:
        return None
    return folder


def find_cameras(*, log_dir: Path | None = None) -> list[CameraIdentity]:
    """List the cameras on USB, opening none: port and the driver's name for each.

    Raises
    ------
    CameraError
        If the driver cannot be asked.
    """
    driver = DriverProcess(log_dir or default_log_dir())
    try:
        found: list[CameraIdentity] = driver.call(Verb.FIND)
        return found
    finally:
        driver.end()


def open_camera(port: str | None = None, serial: str | None = None, *, log_dir: Path | None = None) -> Camera:
    """Open a camera.

    Parameters
    ----------
    port : str, optional
        "usb:001,004", or "ptpip:127.0.0.1:15740:15740" for one on the network; the only camera there is if left out.
    serial : str, optional
        Serial number that the body must have.
    log_dir : Path, optional
        Where the driver's log goes; the user's state folder if left out.

    Raises
    ------
    CameraError
        If there is none, or more than one and none is named, or it cannot be opened: each with what to do.
    """
    return ChildCamera(port, serial, log_dir=log_dir or default_log_dir())
