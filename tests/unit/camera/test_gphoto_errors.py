"""Every number of the driver, and the texts that decide before the number does."""

from __future__ import annotations

import subprocess
import sys

import pytest

from tethercap.camera.gphoto_errors import CODES, TEXTS, meaning_of, translate
from tethercap.errors import (
    CameraBusyError,
    CameraError,
    CameraFullError,
    CameraGoneError,
    CameraInUseError,
    CameraRefusedError,
    CameraSilentError,
    NoCameraError,
    NotSupportedError,
)


def driver_codes() -> dict[str, int]:
    """Return the driver's error constants, read in a process of its own."""
    script = "import gphoto2 as gp; print(*(f'{n}={getattr(gp, n)}' for n in dir(gp) if n.startswith('GP_ERROR')))"
    done = subprocess.run([sys.executable, "-W", "ignore", "-c", script], capture_output=True, text=True, check=True)
    return {name: int(number) for name, number in (pair.split("=") for pair in done.stdout.split())}


def test_every_number_of_the_driver_has_a_meaning() -> None:
    codes = driver_codes()
    assert len(codes) > 25
    unmapped = {name: code for name, code in codes.items() if code not in CODES}
    assert unmapped == {}


@pytest.mark.parametrize(
    ("code", "kind"),
    [
        (-1, CameraRefusedError),
        (-3, CameraFullError),
        (-5, NoCameraError),
        (-6, NotSupportedError),
        (-7, CameraGoneError),
        (-10, CameraSilentError),
        (-52, CameraGoneError),
        (-53, CameraInUseError),
        (-105, NoCameraError),
        (-110, CameraBusyError),
    ],
)
def test_a_number_alone(code: int, kind: type[CameraError]) -> None:
    error = translate(code, doing="take the picture")
    assert type(error) is kind
    assert error.what.startswith("Could not take the picture: ")
    assert str(code) in error.what


@pytest.mark.parametrize(
    ("code", "text", "kind", "says"),
    [
        (-1, "PTP Store Full", CameraFullError, "card is full"),
        (-1, "Camera memorycard ran full during capture.", CameraFullError, "card is full"),
        (-1, "Out of Focus", CameraRefusedError, "focus"),
        (-1, "Fuji Capture failed: Perhaps no auto-focus?", CameraRefusedError, "focus"),
        (-1, "Liveview cannot start: Temperature too high", CameraRefusedError, "too hot"),
        (-1, "Liveview cannot start: Battery exhausted", CameraRefusedError, "battery"),
        (-1, "Liveview cannot start: Exposure Program Mode is not P/A/S/M", CameraRefusedError, "mode dial"),
        (-1, "Liveview cannot start: Pending unretrieved SDRAM image", CameraBusyError, "memory"),
        (-1, "Recording destination card, but no card or card protected", CameraRefusedError, "missing or locked"),
        (-1, "Canon EOS Capture failed to release: Perhaps no more memory on card?", CameraFullError, "full"),
        (-1, "PTP Access Denied", CameraRefusedError, "changed now"),
        (-2, "The property 'ISO Speed' / 0x500f was not set (0x2019: PTP Device Busy)", CameraBusyError, "busy"),
        (-2, "Sorry, the property 'F-Number' / 0x5007 is currently read-only.", CameraRefusedError, "changed now"),
        (-2, "PTP I/O Error", CameraGoneError, "link"),
        (-1, "Sorry, your Canon camera does not support Canon EOS Capture", NotSupportedError, "does not offer"),
        (-1, "PTP Session Not Open", CameraGoneError, "session"),
        (-1, "File '/store_00010001/A.DNG' does not exist.", CameraRefusedError, "no longer has"),
    ],
)
def test_the_driver_s_text_decides_first(code: int, text: str, kind: type[CameraError], says: str) -> None:
    error = translate(code, (text,), doing="do it")
    assert type(error) is kind
    assert says in error.what
    assert text in error.what, "the driver's own words are kept"


def test_no_text_is_shadowed_by_one_before_it() -> None:
    """Each pattern must be reachable by a text of its own."""
    for index, (pattern, meaning) in enumerate(TEXTS):
        sample = pattern.pattern.split("|")[0].replace(" ?", " ").replace("-?", "-").replace(".*", "x")
        sample = sample.replace("(exhausted", "exhausted").replace("(bulb", "bulb").rstrip(")")
        assert meaning_of(-1, (sample,)) is meaning, f"text {index}: {sample!r}"


def test_what_the_caller_knows_is_said_where_the_driver_says_nothing() -> None:
    error = translate(-1, doing="pull A.DNG", safe="It is still there.", todo="Pull it again.")
    assert (error.safe, error.todo) == ("It is still there.", "Pull it again.")
    own = translate(-7, doing="pull A.DNG", safe="It is still there.", todo="Pull it again.")
    assert own.todo != "Pull it again."


def test_every_meaning_is_a_sentence_that_can_follow_could_not() -> None:
    for meaning in (*CODES.values(), *(meaning for _, meaning in TEXTS)):
        assert meaning.what[0].islower()
        assert not meaning.what.endswith(".")
        assert not meaning.todo or meaning.todo.endswith(".")
