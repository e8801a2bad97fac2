"""Packets into the simulated camera: it answers, refuses or hangs up, and goes on serving others."""

import contextlib
import json
import socket
from functools import partial

from hypothesis import strategies as st

from mock_camera import packets
from mock_camera.codes import DataPhase, Operation
from mock_camera.packets import (
    Cancel,
    EndData,
    InitCommandRequest,
    InitEventRequest,
    OperationRequest,
    Packet,
    ProbeRequest,
    StartData,
)
from tests.contract.subjects import SimulatedBody
from tests.fuzz.damage import damaged

_DEADLINE_S = 10.0


def _bytes(*several: Packet) -> bytes:
    return b"".join(packets.encode(packet) for packet in several)


def _ask(code: int, transaction: int, *params: int) -> OperationRequest:
    return OperationRequest(DataPhase.NONE_OR_IN, code, transaction, params)


_HELLO = InitCommandRequest(bytes(16), "fuzz")
_TALKS = (
    _bytes(_HELLO),
    _bytes(_HELLO, _ask(Operation.GET_DEVICE_INFO, 0)),
    _bytes(
        _HELLO, _ask(Operation.OPEN_SESSION, 0, 1), _ask(Operation.GET_STORAGE_IDS, 1),
        _ask(Operation.GET_OBJECT_HANDLES, 2, 0xFFFFFFFF, 0, 0), _ask(Operation.GET_DEVICE_PROP_DESC, 3, 0x5001),
        _ask(Operation.GET_OBJECT_INFO, 4, 1), _ask(Operation.GET_PARTIAL_OBJECT, 5, 2, 0, 100),
        _ask(Operation.INITIATE_CAPTURE, 6, 0, 0), _ask(Operation.CLOSE_SESSION, 7),
    ),
    _bytes(
        _HELLO, _ask(Operation.OPEN_SESSION, 0, 1),
        OperationRequest(DataPhase.OUT, Operation.SET_DEVICE_PROP_VALUE, 1, (0x500F,)),
        StartData(1, 2), EndData(1, b"\x64\0"), ProbeRequest(), Cancel(1),
    ),
    _bytes(InitEventRequest(1)),
    _bytes(_HELLO, _ask(Operation.OPEN_SESSION, 0, 1), *(_ask(0x9200 + code, 1 + code, 1, 2, 3) for code in range(12))),
    _bytes(_HELLO, _ask(Operation.OPEN_SESSION, 0, 1), *(_ask(0x9100 + code, 1 + code, 0) for code in range(48))),
)  # fmt: skip
_WORDS = (
    b"\x08\0\0\0", b"\xff\xff\xff\xff", b"\x06\0\0\0", b"\x01\x10", b"\x0e\x10", b"\0\0\0\0", _bytes(ProbeRequest()),
)  # fmt: skip
talks = damaged(_TALKS, _WORDS)
orders = damaged(
    [
        b'{"cmd":"truth"}\n',
        b'{"cmd":"fault","spec":"battery:percent=3"}\n',
        b'{"cmd":"dial","setting":"iso","value":1}',
    ],
    (b"\n", b"{", b"1e999", b"null", b'"cmd":', b"\\ud800", b"[" * 2000, b'{"cmd":"shots"}\n', b"-1", b"NaN"),
)


class WireTarget:
    """A running simulated camera that is sent rubbish."""

    def __init__(self, *arguments: str) -> None:
        self._body = SimulatedBody(*arguments)
        _, host, port, _ = self._body.port.split(":")
        self._place = host, int(port)
        self.hung_up = 0
        """Talks that the camera ended, not we."""

    def talk(self, content: bytes) -> None:
        """Send it all, read what comes, hang up; then a proper initiator must be served.

        Raises
        ------
        AssertionError
            If it does not answer any more.
        """
        with socket.create_connection(self._place, _DEADLINE_S) as line:
            line.settimeout(0.02)
            with contextlib.suppress(OSError):
                line.sendall(content)
                line.shutdown(socket.SHUT_WR)
                while line.recv(1 << 16):
                    pass
                self.hung_up += 1
        self._must_answer()

    def order(self, content: bytes) -> None:
        """Send lines to the control channel; each gets one line back, and the camera goes on."""
        if b"quit" in content:
            return
        with socket.create_connection(("127.0.0.1", self._body.control_port), _DEADLINE_S) as line:
            line.settimeout(_DEADLINE_S)
            with contextlib.suppress(OSError):
                line.sendall(content)
                line.shutdown(socket.SHUT_WR)
                came = b"".join(iter(partial(line.recv, 1 << 16), b""))
                for text in came.splitlines():
                    assert "ok" in json.loads(text)
        self._body.ask("clear-faults")

    def _must_answer(self) -> None:
        with socket.create_connection(self._place, _DEADLINE_S) as line:
            line.settimeout(_DEADLINE_S)
            line.sendall(_bytes(_HELLO))
            length, kind = packets.split_header(_exactly(line, 8))
            packets.decode(kind, _exactly(line, length))

    def close(self) -> None:
        """End the camera; it must end in order."""
        assert self._body.ask("shots")["ok"]
        self._body.close()


def _exactly(line: socket.socket, count: int) -> bytes:
    came = b""
    while len(came) < count:
        fresh = line.recv(count - len(came))
        assert fresh, f"the camera hung up after {len(came)} of {count} bytes"
        came += fresh
    return came


def talk_strategy() -> st.SearchStrategy[bytes]:
    """Damaged talks, and plain rubbish."""
    return st.one_of(talks, talks, st.binary(max_size=200))
