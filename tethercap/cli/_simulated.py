"""A simulated camera for the demo: mock_camera in a process of its own, and the line to its control channel.

It is started like any other program and spoken to over 127.0.0.1; nothing of it is imported.
"""

import contextlib
import json
import queue
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Sequence
from types import TracebackType
from typing import Any, Self

from tethercap.errors import CameraGoneError
from tethercap.session import events
from tethercap.session.events import SessionEvent

_START_DEADLINE_S = 60.0
_ANSWER_DEADLINE_S = 30.0


class SimulatedCamera:
    """A running mock_camera.

    Parameters
    ----------
    arguments : sequence of str
        Command line of mock_camera.
    program : sequence of str
        What Python is to run; a script that puts another rig before the camera takes mock_camera's place.

    Raises
    ------
    CameraGoneError
        If it does not start.
    """

    def __init__(self, arguments: Sequence[str], *, program: Sequence[str] = ("-m", "mock_camera")) -> None:
        command = [sys.executable, *program, "--until-stdin-closes", *arguments]
        self._process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
        )
        ports = self._read_ports()
        self.port = f"ptpip:127.0.0.1:{ports['ptpip_port']}:{ports['ptpip_port']}"
        self.control_port = int(ports["control_port"])
        """Where it takes orders, one JSON object a line."""
        self._socket = socket.create_connection(("127.0.0.1", self.control_port), timeout=_ANSWER_DEADLINE_S)
        self._lines = self._socket.makefile("rw", encoding="utf-8", newline="\n")
        self._lock = threading.Lock()

    @property
    def process_id(self) -> int:
        """Process that is the camera."""
        return self._process.pid

    def _read_ports(self) -> dict[str, Any]:
        stdout = self._process.stdout
        answers: queue.SimpleQueue[str] = queue.SimpleQueue()
        reader = threading.Thread(target=lambda: answers.put(stdout.readline() if stdout else ""), daemon=True)
        reader.start()
        try:
            line = answers.get(timeout=_START_DEADLINE_S)
            ports: dict[str, Any] = json.loads(line)
        except (queue.Empty, json.JSONDecodeError) as error:
            self._process.kill()
            raise CameraGoneError(
                "The simulated camera did not start.", todo="Run python -m mock_camera to see why."
            ) from error
        return ports

    def ask(self, cmd: str, **words: object) -> dict[str, Any]:
        """Send one control command and return the answer.

        Raises
        ------
        CameraGoneError
            If the simulated camera is gone or refuses.
        """
        with self._lock:
            try:
                self._lines.write(json.dumps({"cmd": cmd, **words}) + "\n")
                self._lines.flush()
                answer: dict[str, Any] = json.loads(self._lines.readline())
            except (OSError, ValueError) as error:
                raise CameraGoneError("The simulated camera is gone.") from error
        if not answer.get("ok"):
            raise CameraGoneError(f"The simulated camera refused {cmd!r}: {answer.get('error')}.")
        return answer

    def has_no_more_film(self) -> bool:
        """The hand has pulled the last strip out and the holder stays empty."""
        truth = self.ask("truth")
        return not truth["hand_working"] and not truth["film_present"]

    def close(self) -> None:
        """End the process; it ends by itself when its input closes."""
        with contextlib.suppress(OSError):
            self._lines.close()
            self._socket.close()
        if self._process.stdin is not None:
            self._process.stdin.close()
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        if self._process.stdout is not None:
            self._process.stdout.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def operator(camera: SimulatedCamera) -> Callable[[SessionEvent], None]:
    """Make the ear of the simulated hand: an `on_event` that passes the bells on from a thread of its own."""
    words: queue.SimpleQueue[str | None] = queue.SimpleQueue()

    def tell() -> None:
        while (word := words.get()) is not None:
            with contextlib.suppress(CameraGoneError):
                camera.ask(word)

    def on_event(event: SessionEvent) -> None:
        match event:
            case events.FrameFiled():
                words.put("bell" if event.accepted else "held")
            case events.FrameSkipped():
                words.put("bell")
            case events.RunEnded():
                words.put(None)

    threading.Thread(target=tell, name="operator", daemon=True).start()
    return on_event


class EndOfFilm:
    """Tells, from what the runner says, when there is no more film to come; asks the simulated camera now and then."""

    _ASK_EVERY_S = 0.5

    def __init__(self, camera: SimulatedCamera) -> None:
        self._camera = camera
        self._strip_is_out = False
        self._asked_at_s = 0.0

    def is_reached(self, event: SessionEvent) -> bool:
        """Take note of an event; true once after the last strip has left the holder."""
        match event:
            case events.StripStarted() | events.StripEnded():
                self._strip_is_out = isinstance(event, events.StripEnded)
            case events.Watched() if self._strip_is_out:
                now_s = event.sighting.taken_at_s
                if now_s - self._asked_at_s >= self._ASK_EVERY_S:
                    self._asked_at_s = now_s
                    return self._camera.has_no_more_film()
        return False
