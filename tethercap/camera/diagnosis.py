"""Why a camera refuses, when its driver does not say: ask the camera what usually lies behind it."""

from tethercap.camera import gphoto_errors
from tethercap.camera.opening import OpenCamera
from tethercap.errors import CameraError, CameraFullError, CameraGoneError, CameraRefusedError, CameraSilentError

ROOM_FOR_A_PICTURE_BYTES = 30_000_000
"""Below this a RAW of today's bodies may not fit."""
LOW_BATTERY_PERCENT = 5.0
WITHOUT_REASON = "driver result -1)"
"""How our sentence ends when the driver gave a number and no words."""


def find_reason(opened: OpenCamera) -> CameraError | None:
    """Ask the camera for the usual reasons of a refused or lost shot; None if none of them holds.

    Raises
    ------
    CameraError
        If the link fails.
    """
    for look in (_card, _prohibition, _battery, _focus):
        try:
            reason = look(opened)
        except (CameraGoneError, CameraSilentError):
            raise
        except CameraError:
            continue
        if reason is not None:
            return reason
    return None


def explain(error: CameraError, opened: OpenCamera) -> CameraError:
    """Return an error that says more, if the driver gave no reason and the camera shows one."""
    if not isinstance(error, CameraRefusedError) or WITHOUT_REASON not in error.what:
        return error
    return find_reason(opened) or error


def _card(opened: OpenCamera) -> CameraError | None:
    free_bytes = opened.camera.free_bytes()
    if not free_bytes:
        return CameraRefusedError(
            "The camera did not take the picture: it shows no card.", todo="Put one in and take the frame again."
        )
    told = [free for free in free_bytes if free is not None]
    if not told or max(told) >= ROOM_FOR_A_PICTURE_BYTES:
        return None
    return CameraFullError(
        f"The camera did not take the picture: its card is full ({max(told) / 1e6:.0f} MB left).",
        safe="Everything taken before is on the card or filed.",
        todo="Put in an empty card, or free some space once the roll is verified.",
    )


def _reading(opened: OpenCamera, name: str) -> str:
    return opened.camera.read_setting(name).current_text if name in opened.names else ""


def _prohibition(opened: OpenCamera) -> CameraError | None:
    _, listed, reasons = _reading(opened, "liveviewprohibit").partition("prohibit conditions: ")
    if not listed:
        return None
    meaning = gphoto_errors.meaning_of(gphoto_errors.UNSPECIFIED, (reasons,))
    return CameraRefusedError(
        f"The camera did not take the picture: {meaning.what} (it says: {reasons}).", todo=meaning.todo
    )


def _battery(opened: OpenCamera) -> CameraError | None:
    figure = _reading(opened, "batterylevel").rstrip("% ")
    if not figure.replace(".", "", 1).isdigit() or float(figure) > LOW_BATTERY_PERCENT:
        return None
    return CameraRefusedError(
        f"The camera did not take the picture: its battery stands at {figure} %.",
        todo="Change it or use a mains adapter.",
    )


def _focus(opened: OpenCamera) -> CameraError | None:
    said = _reading(opened, "focusmode")
    if not said or said.lower().startswith(("manual", "mf")):
        return None
    return CameraRefusedError(
        f"The camera did not take the picture; it may not have found focus (focus mode {said}).",
        todo="Switch the lens and the camera to manual focus.",
    )
