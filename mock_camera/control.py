"""The control channel: one JSON object a line in, one a line out, on 127.0.0.1.

Commands for the film side (``truth``, ``place``, ``move``, ``hand``, ``bell``, ``held``,
``light``, ``film``) are handed to the rig.  The rest is answered here:

================== ====================================================================
shots              every exposure with where the film lay
press              the body's own button
fault              ``{"cmd": "fault", "name": ..., option: ...}`` or ``{"spec": "..."}``
clear-faults       lift all faults, wake the body
dial               ``{"setting": "iso", "value": 200}``: a dial turned on the body
settings           what the body is set to
hang-up            close the driver's connections
quit               end the camera
================== ====================================================================
"""

from __future__ import annotations

import json
import socketserver
import sys
import threading
import traceback
from collections.abc import Callable, Mapping
from typing import Any, cast

from mock_camera import faults
from mock_camera.bodies.common import Dialect
from mock_camera.codes import Response
from mock_camera.responder import Responder
from mock_camera.settings import CHOICES

Answer = dict[str, Any]
_MAX_LINE_BYTES = 1 << 16


class CommandError(ValueError):
    """A command that cannot be carried out; the text goes back to the sender."""


class Desk:
    """Carries out the commands of the control channel.

    Parameters
    ----------
    dialect : Dialect
        The camera.
    responder : Responder
        Its connections.
    quit_now : callable
        Ends the camera.
    """

    def __init__(self, dialect: Dialect, responder: Responder, quit_now: Callable[[], None]) -> None:
        self._dialect, self._responder, self._quit_now = dialect, responder, quit_now
        self._body = dialect.body
        self._commands: dict[str, Callable[[Mapping[str, Any]], Answer]] = {
            "shots": lambda _: {"shots": self._body.shots.copy()},
            "press": self._press,
            "fault": self._fault,
            "clear-faults": self._clear_faults,
            "dial": self._dial,
            "settings": self._settings,
            "hang-up": self._hang_up,
            "quit": self._quit,
        }

    def carry_out(self, line: bytes) -> Answer:
        """Return the answer to one line."""
        try:
            command = json.loads(line)
            if not isinstance(command, dict) or not isinstance(command.get("cmd"), str):
                raise CommandError('a command is an object with "cmd"')
            own = self._commands.get(command["cmd"])
            answer = own(command) if own else self._body.rig.control(command)
            return {"ok": True, **answer}
        except (ValueError, KeyError, TypeError, RecursionError) as error:
            return {"ok": False, "error": str(error) or type(error).__name__}

    def _press(self, _: Mapping[str, Any]) -> Answer:
        self._responder.wake()
        code = self._dialect.press()
        if code != Response.OK:
            raise CommandError(f"the body answers {Response(code).name}")
        return {}

    def _fault(self, command: Mapping[str, Any]) -> Answer:
        if "spec" in command:
            fault = faults.parse(str(command["spec"]))
        else:
            options = {key: content for key, content in command.items() if key not in ("cmd", "name")}
            fault = faults.build(str(command.get("name")), options)
        self._body.faults.add(fault)
        return {"name": fault.name}

    def _clear_faults(self, _: Mapping[str, Any]) -> Answer:
        self._body.faults.clear()
        self._responder.wake()
        return {}

    def _dial(self, command: Mapping[str, Any]) -> Answer:
        name, wanted = str(command.get("setting")), command.get("value")
        if name not in CHOICES:
            raise CommandError(f"no setting is called {name!r}; there are: {', '.join(CHOICES)}")
        if not isinstance(wanted, int | float | str):
            raise CommandError("a dial needs a value")
        content = wanted if isinstance(wanted, str) else self._body.settings.nearest(name, wanted)
        self._body.settings.put(name, content)
        self._dialect.setting_changed(name)
        return {"setting": name, "value": content}

    def _settings(self, _: Mapping[str, Any]) -> Answer:
        return {"settings": {name: self._body.settings.get(name) for name in CHOICES}}

    def _hang_up(self, _: Mapping[str, Any]) -> Answer:
        self._responder.hang_up()
        return {}

    def _quit(self, _: Mapping[str, Any]) -> Answer:
        self._quit_now()
        return {}


class _Handler(socketserver.StreamRequestHandler):
    def handle(self) -> None:
        desk = cast("ControlServer", self.server).desk
        try:
            while line := self.rfile.readline(_MAX_LINE_BYTES):
                if not line.endswith(b"\n"):
                    return
                self.wfile.write(json.dumps(desk.carry_out(line)).encode() + b"\n")
        except OSError:
            return


class ControlServer(socketserver.ThreadingTCPServer):
    """Listens for control connections on 127.0.0.1, each in a thread of its own."""

    daemon_threads = True
    block_on_close = False
    allow_reuse_address = True

    def __init__(self, desk: Desk, port: int = 0) -> None:
        super().__init__(("127.0.0.1", port), _Handler)
        self.desk = desk
        self._thread = threading.Thread(
            target=self.serve_forever, kwargs={"poll_interval": 0.05}, name="control", daemon=True
        )
        self._thread.start()

    @property
    def port(self) -> int:
        """Port that was taken."""
        number: int = self.server_address[1]
        return number

    def handle_error(self, request: object, client_address: object) -> None:
        """Say on stderr what went wrong; stdout belongs to the one line."""
        del request, client_address
        traceback.print_exc(file=sys.stderr)

    def close(self) -> None:
        """Stop listening."""
        self.shutdown()
        self._thread.join(timeout=5)
        self.server_close()
