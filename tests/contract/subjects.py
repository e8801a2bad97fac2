"""The cameras that the contract is held against, each with the hands to press its button and turn its dials."""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np

from tethercap.camera.base import Camera, CameraEvent, CameraLost, CaptureFinished, FileAppeared
from tethercap.camera.child import ChildCamera
from tethercap.camera.fake import FakeCamera, FakeFile
from tethercap.cli._simulated import SimulatedCamera
from tethercap.clock import SystemClock
from tethercap.exposure.settings import Setting

TINY_RIG = Path(__file__).parents[1] / "responder" / "tiny_rig.py"
ROOT = Path(__file__).parents[2]


class SimulatedBody(SimulatedCamera):
    """A simulated camera with a rig that draws at once.

    Parameters
    ----------
    *arguments : str
        Its command line.
    fast : bool
        Whether it cuts its waits short.
    """

    def __init__(self, *arguments: str, fast: bool = True) -> None:
        super().__init__([*(["--fast"] if fast else []), *arguments], program=[str(TINY_RIG)])

    def fault(self, spec: str) -> None:
        """Let something go wrong from now on."""
        self.ask("fault", spec=spec)


@dataclass
class Subject:
    """A camera under test."""

    name: str
    camera: Camera
    press: Callable[[], object] | None = None
    """Press the body's own button; None where there is none."""
    turn_dial: Callable[[Setting, float], object] | None = None
    close_also: list[Callable[[], object]] = field(default_factory=list)

    def wait_for(self, wanted: type[CameraEvent], seconds: float = 20.0) -> list[CameraEvent]:
        """Collect events until one of a kind came; return all of them."""
        happened: list[CameraEvent] = []
        until_s = time.monotonic() + seconds
        while time.monotonic() < until_s:
            fresh = self.camera.events()
            happened.extend(fresh)
            if any(isinstance(event, wanted) for event in fresh):
                return happened
            assert not any(isinstance(event, CameraLost) for event in fresh), fresh
            time.sleep(0.005)
        raise AssertionError(f"no {wanted.__name__} within {seconds} s, only {happened}")

    def shoot(self) -> list[FileAppeared]:
        """Fire and return the files that came."""
        self.camera.events()
        self.camera.fire()
        return [event for event in self.wait_for(CaptureFinished) if isinstance(event, FileAppeared)]

    def pull(self, appeared: FileAppeared) -> bytes:
        """Return a file's content."""
        return b"".join(self.camera.pull(appeared.file))


def picture(number: int) -> bytes:
    """Return a JPEG that differs from number to number."""
    pixels = np.full((68, 102, 3), number % 256, np.uint8)
    return bytes(cv2.imencode(".jpg", pixels)[1].tobytes())


def make_fake() -> Subject:
    """Return the camera in memory."""

    def expose(number: int) -> list[FakeFile]:
        return [FakeFile(b"II*\0" + number.to_bytes(4, "little") * 400_000)]

    camera = FakeCamera(SystemClock(time.monotonic, time.sleep), live=picture, expose=expose, file_after_s=0.02)
    return Subject("fake", camera, camera.press, camera.turn_dial)


def make_simulated(body: str, *arguments: str, log_dir: Path | None = None) -> Subject:
    """Return the real driver in its process, on a simulated body."""
    simulated = SimulatedBody("--body", body, *arguments)
    words = {Setting.ISO: "iso", Setting.APERTURE: "f_number", Setting.SHUTTER: "time_s"}
    try:
        camera = ChildCamera(simulated.port, log_dir=log_dir)
    except BaseException:
        simulated.close()
        raise
    return Subject(
        body,
        camera,
        lambda: simulated.ask("press"),
        lambda setting, value: simulated.ask("dial", setting=words[setting], value=value),
        [simulated.close],
    )


@contextlib.contextmanager
def virtual_camera(folder: Path, log_dir: Path | None = None) -> Iterator[Subject]:
    """Yield the real driver in its process, on the virtual camera inside the bindings' wheel."""
    folder.mkdir(exist_ok=True)
    pixels = np.random.default_rng(1).integers(0, 255, (480, 640, 3), np.uint8)
    assert cv2.imwrite(str(folder / "picture.jpg"), pixels)
    before = os.environ.get("VCAMERADIR")
    os.environ["VCAMERADIR"] = str(folder)
    try:
        camera = ChildCamera(log_dir=log_dir)
        try:
            yield Subject("virtual", camera)
        finally:
            camera.close()
    finally:
        os.environ.pop("VCAMERADIR")
        if before is not None:
            os.environ["VCAMERADIR"] = before
