"""The responder: connections, session and transactions of PTP/IP (CIPA DC-X005, ISO 15740 clause 9).

One initiator at a time.  What an operation does is the dialect's business; here its rules are
kept: session open, transaction id, parameters, data phases, cancelling, and the faults that
concern the wire.
"""

from __future__ import annotations

import contextlib
import socket
import sys
import threading
import time
import traceback

from mock_camera.bodies.common import Dialect, OperationSpec, Reply, Request
from mock_camera.codes import DataPhase, InitFailReason, Operation, Response
from mock_camera.fields import PacketError
from mock_camera.links import Link, LinkClosedError
from mock_camera.packets import (
    Cancel,
    Data,
    EndData,
    Event,
    InitCommandAck,
    InitCommandRequest,
    InitEventAck,
    InitEventRequest,
    InitFail,
    OperationRequest,
    OperationResponse,
    Packet,
    ProbeRequest,
    ProbeResponse,
    StartData,
)

GUID = bytes.fromhex("7465746865726361700000006d6f636b")
HANDSHAKE_S = 5.0
MAX_INCOMING_BYTES = 16 << 20
_CHUNK_BYTES = 128 << 10
_LAST_TRANSACTION = 0xFFFFFFFE


class _SilenceError(Exception):
    """The answer is withheld."""


class Responder:
    """Listens on 127.0.0.1 and serves one initiator.

    Parameters
    ----------
    dialect : Dialect
        What the operations do.
    port : int
        Port to listen on; 0 takes any.
    trace : bool
        Whether every operation is written to stderr.
    """

    def __init__(self, dialect: Dialect, port: int = 0, trace: bool = False) -> None:
        self._trace = trace
        self._dialect = dialect
        self._body = dialect.body
        self._faults = dialect.body.faults
        self._listener = socket.create_server(("127.0.0.1", port))
        self._closing = threading.Event()
        self._lock = threading.RLock()
        self._command: Link | None = None
        self._event: Link | None = None
        self._connection = 0
        self._session = 0
        self._last_transaction = 0
        self._cancelled: set[int] = set()
        self._last_heard_s = time.monotonic()
        self._asleep = False
        dialect.sink = self._send_event
        self._threads: list[threading.Thread] = []
        self._start(self._accept, "accept")

    @property
    def port(self) -> int:
        """Port that was taken."""
        number: int = self._listener.getsockname()[1]
        return number

    def close(self) -> None:
        """Hang up and stop listening."""
        self._closing.set()
        self.hang_up()
        for thread in list(self._threads):
            thread.join(timeout=5)
        self._listener.close()

    def hang_up(self) -> None:
        """Close both connections, if any."""
        with self._lock:
            links = [link for link in (self._command, self._event) if link]
        for link in links:
            link.close()

    def wake(self) -> None:
        """Wake a body that fell asleep."""
        self._last_heard_s = time.monotonic()
        self._asleep = False

    # Connections

    def _start(self, target: object, name: str, *args: object) -> None:
        self._threads = [thread for thread in self._threads if thread.is_alive()]
        thread = threading.Thread(target=target, name=name, args=args, daemon=True)  # type: ignore[arg-type]
        self._threads.append(thread)
        thread.start()

    def _accept(self) -> None:
        self._listener.settimeout(0.1)
        while not self._closing.is_set():
            self._fall_asleep_if_idle()
            try:
                sock, _ = self._listener.accept()
            except TimeoutError:
                continue
            except OSError:
                return
            if self._asleep:
                sock.close()
                continue
            self._start(self._serve, "connection", sock)

    def _fall_asleep_if_idle(self) -> None:
        fault = self._faults.standing("sleep")
        if fault is None:
            self._asleep = False
        elif not self._asleep and time.monotonic() - self._last_heard_s > fault.number("idle_s", 10.0):
            self._asleep = True
            self.hang_up()

    def _serve(self, sock: socket.socket) -> None:
        try:
            link = Link(sock)
        except OSError:  # gone before we looked
            sock.close()
            return
        try:
            first = link.read(HANDSHAKE_S)
            if isinstance(first, InitCommandRequest):
                self._serve_commands(link)
            elif isinstance(first, InitEventRequest):
                self._serve_events(link, first.connection)
        except (LinkClosedError, PacketError):
            pass
        except Exception:  # a fault of ours must not take the camera down
            traceback.print_exc(file=sys.stderr)
        finally:
            link.close()

    def _serve_commands(self, link: Link) -> None:
        with self._lock:
            busy = self._command is not None
            if not busy:
                self._command = link
                self._connection += 1
                number = self._connection
        if busy:
            link.write(InitFail(InitFailReason.BUSY))
            return
        try:
            self._last_heard_s = time.monotonic()
            link.write(InitCommandAck(number, GUID, self._dialect.model))
            while not self._closing.is_set():
                self._handle(link, link.read())
        finally:
            self._end_connection()

    def _end_connection(self) -> None:
        with self._lock:
            self._command = None
            event, self._event = self._event, None
            self._cancelled.clear()
        if event:
            event.close()
        self._end_session()

    def _serve_events(self, link: Link, number: int) -> None:
        with self._lock:
            fits = self._command is not None and number == self._connection and self._event is None
            if fits:
                self._event = link
        if not fits:
            link.write(InitFail(InitFailReason.REJECTED))
            return
        try:
            link.write(InitEventAck())
            while not self._closing.is_set():
                self._handle_event_packet(link, link.read())
        finally:
            with self._lock:
                if self._event is link:
                    self._event = None

    def _handle_event_packet(self, link: Link, packet: Packet) -> None:
        if isinstance(packet, ProbeRequest):
            link.write(ProbeResponse())
        elif isinstance(packet, Cancel):
            with self._lock:
                self._cancelled = {packet.transaction}
        elif not isinstance(packet, ProbeResponse):
            raise PacketError("not for the event connection")

    def _send_event(self, event: Event) -> None:
        with self._lock:
            link = self._event if self._session else None
        if link:
            with contextlib.suppress(LinkClosedError):
                link.write(event)

    # Transactions

    def _handle(self, link: Link, packet: Packet) -> None:
        if isinstance(packet, OperationRequest):
            self._last_heard_s = time.monotonic()
            self._transact(link, packet)
        elif isinstance(packet, ProbeRequest):
            link.write(ProbeResponse())
        elif not isinstance(packet, Cancel | Data | EndData | ProbeResponse):
            # What belongs to a transaction that is over is ignored; anything else is nonsense.
            raise PacketError("not for the command connection")

    def _transact(self, link: Link, packet: OperationRequest) -> None:
        spec = self._dialect.operations.get(packet.code)
        incoming: bytes | None = b""
        wants_data = packet.data_phase == DataPhase.OUT or (
            packet.data_phase == DataPhase.UNKNOWN and spec is not None and spec.takes_data
        )
        if wants_data:
            incoming = self._receive(link, packet.transaction)
        if incoming is None:
            reply = Reply(Response.TRANSACTION_CANCELLED)
        else:
            reply = self._answer(packet, spec, incoming, wants_data)
        if self._trace:
            params = " ".join(f"{n:#x}" for n in packet.params)
            data = f" < {incoming[:64].hex(' ')}" if incoming else ""
            sys.stderr.write(f"{time.monotonic():.4f} {packet.code:#06x} {params}{data} -> {reply.code:#06x}\n")
        with contextlib.suppress(_SilenceError):
            self._apply_wire_faults(packet.code)
            self._send_reply(link, packet, reply)

    def _receive(self, link: Link, transaction: int) -> bytes | None:
        """Return the data phase from the initiator; None if it was cancelled."""
        start = link.read(HANDSHAKE_S)
        if isinstance(start, Cancel):
            return None
        if not isinstance(start, StartData) or start.transaction != transaction:
            raise PacketError("a data phase must begin with StartData")
        if start.total > MAX_INCOMING_BYTES:
            raise PacketError(f"data phase of {start.total} bytes")
        received = bytearray()
        # The driver ends an empty data phase with StartData alone; a late EndData is ignored.
        while start.total:
            packet = link.read(HANDSHAKE_S)
            if isinstance(packet, Cancel):
                return None
            if not isinstance(packet, Data | EndData) or packet.transaction != transaction:
                raise PacketError("a packet that does not belong to the data phase")
            received += packet.payload
            if len(received) > start.total:
                raise PacketError("more data than announced")
            if isinstance(packet, EndData):
                break
        return bytes(received)

    def _answer(self, packet: OperationRequest, spec: OperationSpec | None, data: bytes, has_data: bool) -> Reply:
        if refusal := self._faults.strike("refuse", op=packet.code):
            return Reply(int(refusal.number("code", Response.GENERAL_ERROR)))
        if spec is None:
            return Reply(Response.OPERATION_NOT_SUPPORTED)
        if packet.code == Operation.OPEN_SESSION:
            return Reply(self._open_session(packet))
        if code := self._broken_rule(packet, spec, has_data):
            return Reply(code)
        if packet.code == Operation.CLOSE_SESSION:
            self._end_session()
            return Reply()
        params = (*packet.params, 0, 0, 0, 0, 0)[:5]
        return self._dialect.handle(spec, Request(packet.code, packet.transaction, params, data))

    def _broken_rule(self, packet: OperationRequest, spec: OperationSpec, has_data: bool) -> int:
        """Return the response code for the first rule that a request breaks; 0 if it breaks none."""
        if spec.needs_session and not self._session:
            return Response.SESSION_NOT_OPEN
        if self._session:
            number = packet.transaction
            if not 0 < number <= _LAST_TRANSACTION or number == self._last_transaction:
                return Response.INVALID_TRANSACTION_ID
            self._last_transaction = number
        if any(packet.params[spec.params :]):
            return Response.PARAMETER_NOT_SUPPORTED
        if has_data != spec.takes_data:
            return Response.GENERAL_ERROR
        return 0

    def _open_session(self, packet: OperationRequest) -> int:
        wanted = packet.params[0] if packet.params else 0
        if self._session:
            return Response.SESSION_ALREADY_OPEN
        if packet.transaction:
            return Response.INVALID_TRANSACTION_ID
        if any(packet.params[1:]):
            return Response.PARAMETER_NOT_SUPPORTED
        if not wanted:
            return Response.INVALID_PARAMETER
        self._last_transaction = 0
        self._session = wanted
        self._dialect.start_session()
        return Response.OK

    def _end_session(self) -> None:
        if self._session:
            self._session = 0
            self._dialect.end_session()

    def _apply_wire_faults(self, code: int) -> None:
        if late := self._faults.strike("delay", op=code):
            self._closing.wait(late.number("seconds", 1.0))
        if self._faults.strike("drop-event", op=code):
            with self._lock:
                event = self._event
            if event:
                event.close()
        if self._faults.strike("drop-command", op=code):
            raise LinkClosedError("dropped on purpose")
        if self._faults.strike("silence", op=code):
            raise _SilenceError

    def _send_reply(self, link: Link, packet: OperationRequest, reply: Reply) -> None:
        code, params = reply.code, reply.params
        if reply.data is not None and code == Response.OK:
            stopped = self._send_data(link, packet, reply)
            if stopped:
                code, params = stopped, ()
        link.write(OperationResponse(code, packet.transaction, params))

    def _send_data(self, link: Link, packet: OperationRequest, reply: Reply) -> int:
        """Send a data phase; return the response code that replaces OK if it was cut short, else 0."""
        data = memoryview(reply.data or b"")
        number = packet.transaction
        cut = self._faults.strike("truncate", op=packet.code)
        end = min(len(data), int(cut.number("bytes", len(data) // 2))) if cut else len(data)
        rate = self._body.timing.transfer_bytes_s if reply.paced else None
        link.write(StartData(number, len(data)))
        started_s, sent = time.monotonic(), 0
        while end - sent > _CHUNK_BYTES:
            if self._is_cancelled(link, number):
                link.write(EndData(number))
                return Response.TRANSACTION_CANCELLED
            link.write(Data(number, bytes(data[sent : sent + _CHUNK_BYTES])))
            sent += _CHUNK_BYTES
            self._keep_pace(started_s, sent, rate)
        self._keep_pace(started_s, end, rate)
        link.write(EndData(number, bytes(data[sent:end])))
        return Response.INCOMPLETE_TRANSFER if cut else 0

    def _keep_pace(self, started_s: float, sent: int, rate: float | None) -> None:
        if rate and (ahead_s := started_s + sent / rate - time.monotonic()) > 0:
            self._closing.wait(ahead_s)

    def _is_cancelled(self, link: Link, number: int) -> bool:
        with self._lock:
            if number in self._cancelled:
                self._cancelled.clear()
                return True
        return link.cancel_waits()
