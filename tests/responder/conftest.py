"""Starts cameras for the tests and talks to them: by raw socket, by control channel, by the real driver."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from mock_camera import packets
from mock_camera.codes import DataPhase, Operation, Response
from mock_camera.packets import (
    Data,
    EndData,
    Event,
    InitCommandAck,
    InitCommandRequest,
    InitEventAck,
    InitEventRequest,
    OperationRequest,
    OperationResponse,
    Packet,
    StartData,
)

HERE = Path(__file__).parent
TINY_RIG = HERE / "tiny_rig.py"
DRIVER_CHILD = HERE / "driver_child.py"


class Camera:
    """A camera process with the tiny rig in front of it."""

    def __init__(self, *args: str, program: tuple[str, ...] = (str(TINY_RIG),)) -> None:
        command = [sys.executable, *program, "--until-stdin-closes", *args]
        self.process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        if not line:
            raise RuntimeError(self.process.communicate()[1].decode())
        self.ready: dict[str, Any] = json.loads(line)
        self.port: int = self.ready["ptpip_port"]

    def control(self, cmd: str, **options: Any) -> dict[str, Any]:
        with socket.create_connection(("127.0.0.1", self.ready["control_port"]), timeout=10) as sock:
            sock.sendall(json.dumps({"cmd": cmd, **options}).encode() + b"\n")
            with sock.makefile("rb") as answers:
                answer: dict[str, Any] = json.loads(answers.readline())
        return answer

    def drive(self, *commands: list[Any], target: str = "card", timeout_s: float = 40) -> list[Any]:
        """Run commands through the real driver in a child process; return their results."""
        done = subprocess.run(
            [sys.executable, str(DRIVER_CHILD), str(self.port)],
            input=json.dumps(commands),
            capture_output=True,
            text=True,
            timeout=timeout_s,
            env={**os.environ, "DRIVER_TARGET": target, "CONTROL_PORT": str(self.ready["control_port"])},
            check=False,
        )
        assert done.returncode == 0, f"the driver died with {done.returncode}: {done.stderr[-2000:]}"
        results: list[Any] = json.loads(done.stdout)
        return results

    def end(self) -> tuple[int, str, str]:
        """Close stdin; return (exit code, what else was on stdout, stderr)."""
        out, err = self.process.communicate(timeout=15)
        return self.process.returncode, out.decode(), err.decode()


class Wire:
    """An initiator by hand: sends and reads single packets."""

    def __init__(self, port: int) -> None:
        self.port = port
        self.command = self._connect()
        self.event: socket.socket | None = None
        self.connection = 0
        self.transaction = 0

    def _connect(self) -> socket.socket:
        sock = socket.create_connection(("127.0.0.1", self.port), timeout=10)
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return sock

    def send(self, packet: Packet) -> None:
        self.command.sendall(packets.encode(packet))

    def receive(self, sock: socket.socket | None = None) -> Packet:
        sock = sock or self.command
        length, kind = packets.split_header(self.read(8, sock))
        return packets.decode(kind, self.read(length, sock))

    def read(self, count: int, sock: socket.socket | None = None) -> bytes:
        data = b""
        while len(data) < count:
            fresh = (sock or self.command).recv(count - len(data))
            if not fresh:
                raise EOFError(f"closed after {len(data)} of {count} bytes")
            data += fresh
        return data

    def init(self) -> Wire:
        self.send(InitCommandRequest(bytes(16), "tests"))
        ack = self.receive()
        assert isinstance(ack, InitCommandAck)
        self.connection = ack.connection
        self.event = self._connect()
        self.event.sendall(packets.encode(InitEventRequest(ack.connection)))
        assert isinstance(self.receive(self.event), InitEventAck)
        return self

    def open(self) -> Wire:
        self.init()
        assert self.ask(Operation.OPEN_SESSION, 1, transaction=0)[0] == Response.OK
        return self

    def ask(
        self, code: int, *params: int, data: bytes | None = None, transaction: int | None = None
    ) -> tuple[int, bytes | None, tuple[int, ...]]:
        """Run one transaction; return (response code, data that came, response parameters)."""
        if transaction is None:
            self.transaction += 1
            transaction = self.transaction
        phase = DataPhase.NONE_OR_IN if data is None else DataPhase.OUT
        self.send(OperationRequest(phase, code, transaction, params))
        if data is not None:
            self.send(StartData(transaction, len(data)))
            self.send(EndData(transaction, data))
        return self.answer(transaction)

    def answer(self, transaction: int) -> tuple[int, bytes | None, tuple[int, ...]]:
        """Read an answer; return (response code, data that came, response parameters)."""
        came: bytes | None = None
        total = None
        while True:
            packet = self.receive()
            if isinstance(packet, OperationResponse):
                assert packet.transaction == transaction
                assert came is None or packet.code != Response.OK or len(came) == total
                return packet.code, came, packet.params
            assert isinstance(packet, StartData | Data | EndData)
            assert packet.transaction == transaction
            if isinstance(packet, StartData):
                came, total = b"", packet.total
            else:
                came = (came or b"") + packet.payload

    def next_event(self) -> Event:
        assert self.event is not None
        packet = self.receive(self.event)
        assert isinstance(packet, Event)
        return packet

    def close(self) -> None:
        self.command.close()
        if self.event:
            self.event.close()


StartCamera = Callable[..., Camera]


@pytest.fixture
def start_camera() -> Iterator[StartCamera]:
    """Start cameras; afterwards each must end by itself, cleanly and with nothing more on stdout."""
    cameras: list[Camera] = []

    def start(*args: str) -> Camera:
        cameras.append(Camera("--fast", *args))
        return cameras[-1]

    yield start
    endings = []
    for camera in cameras:
        try:
            endings.append(camera.end())
        except subprocess.TimeoutExpired:
            camera.process.kill()
            camera.process.communicate()
            raise
    for code, out, err in endings:
        assert (code, out, err) == (0, "", "")


@pytest.fixture
def connect() -> Iterator[Callable[[Camera], Wire]]:
    """Open raw initiators, and close them afterwards."""
    wires: list[Wire] = []

    def make(camera: Camera) -> Wire:
        wires.append(Wire(camera.port))
        return wires[-1]

    yield make
    for wire in wires:
        wire.close()
