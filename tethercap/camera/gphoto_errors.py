"""The one place where the driver's errors become ours.

The driver gives a number that is often "unspecified", and the reason as text to its context. The text decides first,
the number after it. Numbers: gphoto2-port-result.h and gphoto2-result.h of libgphoto2 2.5; texts: its camlibs/ptp2
(library.c, config.c, ptp.c), read in the driver's source.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from tethercap.errors import (
    CameraBusyError,
    CameraError,
    CameraFullError,
    CameraGoneError,
    CameraInUseError,
    CameraRefusedError,
    CameraSilentError,
    DriverDiedError,
    NoCameraError,
    NotSupportedError,
)

UNSPECIFIED = -1
BAD_PARAMETERS = -2
NOT_SUPPORTED = -6
IO_ERROR = -7
TIMED_OUT = -10
BUSY = -110

KEPT_ON_CARD = "Pictures already taken are on the camera's card."
POWER_CYCLE = "Switch the camera off and on, check the cable, then reopen it."


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a code or a text means for the person at the table."""

    kind: type[CameraError]
    what: str
    safe: str = ""
    todo: str = ""


_REFUSED = Meaning(CameraRefusedError, "the camera refused", todo="Look at the camera's own display for the reason.")
_BROKEN_DRIVER = Meaning(
    DriverDiedError,
    "the driver is not usable on this computer",
    todo="Install tethercap again, then run `tethercap doctor`.",
)
_LINK = Meaning(CameraGoneError, "the link to the camera broke", KEPT_ON_CARD, POWER_CYCLE)
_PORT = Meaning(
    CameraGoneError,
    "the USB port or network link failed",
    KEPT_ON_CARD,
    "Try another cable or port, without a hub in between.",
)
_FILE_GONE = Meaning(
    CameraRefusedError,
    "the camera no longer has that file",
    todo="It may have been deleted on the camera, or the card was changed.",
)

CODES: dict[int, Meaning] = {
    -1: _REFUSED,
    -2: Meaning(
        CameraRefusedError,
        "the camera did not take the value or does not know it now",
        todo="Check the mode dial and the lens.",
    ),
    -3: Meaning(
        CameraFullError, "the camera has no room for the picture", todo="Put in an empty card or free some space."
    ),
    -4: _BROKEN_DRIVER,
    -5: Meaning(NoCameraError, "there is no such port", todo="Run `tethercap cameras` to see the ports there are."),
    -6: Meaning(NotSupportedError, "the camera does not offer this"),
    -7: _LINK,
    -8: Meaning(CameraRefusedError, "the driver's buffer was too small"),
    -10: Meaning(
        CameraSilentError,
        "the camera did not answer in time",
        KEPT_ON_CARD,
        "Wake it with a half press; else switch it off and on.",
    ),
    -20: _PORT,
    -21: _PORT,
    -31: _PORT,
    -32: _PORT,
    -33: _PORT,
    -34: _LINK,
    -35: _LINK,
    -37: _PORT,
    -41: _PORT,
    -51: _PORT,
    -52: Meaning(
        CameraGoneError, "the camera was unplugged or switched off", KEPT_ON_CARD, "Plug it in and switch it on."
    ),
    -53: Meaning(
        CameraInUseError,
        "another program holds the camera",
        todo="End that program, then try again; `tethercap doctor` names it.",
    ),
    -60: _PORT,
    -70: _PORT,
    -102: Meaning(CameraRefusedError, "the picture came over damaged", "It is still on the camera.", "Pull it again."),
    -103: Meaning(CameraRefusedError, "a file of that name exists already"),
    -105: Meaning(
        NoCameraError, "no camera was found", todo="Plug it in, switch it on, and set its USB menu to remote control."
    ),
    -107: _FILE_GONE,
    -108: _FILE_GONE,
    -109: Meaning(CameraRefusedError, "a folder of that name exists already"),
    -110: Meaning(CameraBusyError, "the camera is busy", todo="Wait a moment and try again."),
    -111: Meaning(CameraRefusedError, "the driver was given a wrong path"),
    -112: Meaning(CameraRefusedError, "the operation was cancelled"),
    -113: Meaning(
        CameraRefusedError,
        "the focus drive is at its end, or the step is too small",
        todo="Drive the other way, or in larger steps.",
    ),
    -114: Meaning(CameraRefusedError, "the system refused to read or write"),
    -115: Meaning(
        CameraRefusedError,
        "more pictures than the driver can list in one folder",
        todo="Start a new folder on the camera.",
    ),
}
"""Every number that the driver can give, and what it means."""


def _refusal(
    pattern: str, what: str, todo: str = "", kind: type[CameraError] = CameraRefusedError, safe: str = ""
) -> tuple[re.Pattern[str], Meaning]:
    return re.compile(pattern, re.IGNORECASE), Meaning(kind, what, safe, todo)


TEXTS: tuple[tuple[re.Pattern[str], Meaning], ...] = (
    _refusal(
        "store full|memorycard ran full|no more memory on card|card full",
        "the card is full",
        "Put in an empty card.",
        CameraFullError,
    ),
    _refusal(
        "battery (exhausted|low)|low battery", "the battery is empty", "Change the battery or use a mains adapter."
    ),
    _refusal(
        "temperature too high",
        "the camera is too hot",
        "Switch it off for some minutes; keep live view short in warm rooms.",
    ),
    _refusal(
        "no card or card protected|card protected|store read ?only|card read-only|write protected",
        "the card is missing or locked",
        "Put in a card and open its lock.",
    ),
    _refusal(
        "card unformatted|store unformatted|card not formatted", "the card is not formatted", "Format it in the camera."
    ),
    _refusal(
        "card error|store error|store not available|memory status not ready",
        "the camera cannot use its card",
        "Take the card out and in again, or use another.",
    ),
    _refusal(
        "out of focus|no focus|no auto-focus|auto-focus failed|did not focus",
        "the camera could not focus, so it did not fire",
        "Switch the lens and the camera to manual focus.",
    ),
    _refusal(
        "minimum aperture warning",
        "the lens is not at its smallest aperture setting",
        "Turn the aperture ring of the lens to its end.",
    ),
    _refusal("ttl error|lens is retracting", "the camera has trouble with the lens", "Take the lens off and on again."),
    _refusal("lens cover", "the lens cover is closed", "Open it."),
    _refusal("mirror-?up|mirror up", "the mirror is up", "Leave mirror-up mode on the camera."),
    _refusal(
        "program mode is not p/a/s/m", "the mode dial is in a place without live view", "Turn the mode dial to M."
    ),
    _refusal(
        "bulb warning|shutter speed (bulb|time)",
        "the shutter stands at bulb or time",
        "Choose a shutter time in numbers.",
    ),
    _refusal(
        "pending unretrieved sdram",
        "a picture waits in the camera's memory",
        "It is pulled first; then live view works.",
        CameraBusyError,
    ),
    _refusal("fully pressed button", "the camera's button is held down", "Let it go.", CameraBusyError),
    _refusal(
        "processing of shooting operation|not ready",
        "the camera still works on the last picture",
        "Wait a moment.",
        CameraBusyError,
    ),
    _refusal(
        "currently read-only|access denied|not adjust fnumber",
        "the camera does not let it be changed now",
        "Turn the mode dial to M; set the aperture on the lens if it has a ring.",
    ),
    _refusal(
        "not in enumeration|invalid device ?prop value|parsing the value",
        "the camera does not offer that value",
        "Choose one that it lists.",
    ),
    _refusal("device busy|release busy", "the camera is busy", "Wait a moment and try again.", CameraBusyError),
    _refusal("file .* does not exist|invalid object ?handle", _FILE_GONE.what, _FILE_GONE.todo),
    _refusal(
        "incomplete transfer", "the picture came over cut short", "Pull it again.", safe="It is still on the camera."
    ),
    _refusal(
        "does not support|operation not supported|device prop not supported",
        "the camera does not offer this",
        kind=NotSupportedError,
    ),
    _refusal(
        "does not seem to return a jpeg",
        "the camera sent a live picture that is none",
        "Try again; restart the camera if it stays.",
        CameraBusyError,
    ),
    _refusal("session not open", "the camera closed the session", POWER_CYCLE, CameraGoneError, KEPT_ON_CARD),
)
"""Texts of the driver, most telling first; the first that fits decides."""


def meaning_of(code: int, texts: Sequence[str]) -> Meaning:
    """Say what the driver meant.

    Parameters
    ----------
    code : int
        The driver's result, below zero.
    texts : sequence of str
        What it said to its context during the call; may be empty.
    """
    said = " / ".join(texts)
    for pattern, meaning in TEXTS:
        if pattern.search(said):
            return meaning
    meaning = CODES.get(code, _REFUSED)
    # The driver reports a broken link as a refused value while it reads settings; its text still tells.
    if code in (UNSPECIFIED, BAD_PARAMETERS) and re.search("i/o (error|problem)|timeout", said, re.IGNORECASE):
        return _LINK
    return meaning


def translate(code: int, texts: Sequence[str] = (), *, doing: str, safe: str = "", todo: str = "") -> CameraError:
    """Return our error for one of the driver's.

    Parameters
    ----------
    code : int
        The driver's result.
    texts : sequence of str
        What it said to its context.
    doing : str
        What was tried, to follow "could not" ("take the picture").
    safe, todo : str
        What holds for what was tried when the error itself says nothing better.
    """
    meaning = meaning_of(code, texts)
    own_words = "; ".join(dict.fromkeys(text.strip() for text in texts if text.strip()))
    said = f' (the driver says: "{own_words}", {code})' if own_words else f" (driver result {code})"
    what = f"Could not {doing}: {meaning.what}{said}."
    if meaning is _REFUSED:
        return meaning.kind(what, safe=safe or meaning.safe, todo=todo or meaning.todo)
    return meaning.kind(what, safe=meaning.safe or safe, todo=meaning.todo or todo)
