"""PTP/IP packets as bytes and back: pure functions, no sockets.

Every packet is ``u32 length`` (counting itself) ``+ u32 type + payload``, little-endian
(CIPA DC-X005-2005 sections 2.2 and 2.3).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeAlias

from mock_camera.codes import PTPIP_VERSION, PacketType
from mock_camera.fields import PacketError, Reader, u16, u32, u64

HEADER_BYTES = 8
MAX_PARAMS = 5


@dataclass(frozen=True)
class InitCommandRequest:
    """The initiator asks for a command connection (section 2.3.1)."""

    guid: bytes
    name: str
    version: int = PTPIP_VERSION


@dataclass(frozen=True)
class InitCommandAck:
    """The responder grants it, with a connection number (section 2.3.2)."""

    connection: int
    guid: bytes
    name: str
    version: int = PTPIP_VERSION


@dataclass(frozen=True)
class InitEventRequest:
    """The initiator opens the event connection that belongs to a command connection."""

    connection: int


@dataclass(frozen=True)
class InitEventAck:
    """The responder grants the event connection."""


@dataclass(frozen=True)
class InitFail:
    """The responder refuses a connection."""

    reason: int


@dataclass(frozen=True)
class OperationRequest:
    """One operation with up to five parameters."""

    data_phase: int
    code: int
    transaction: int
    params: tuple[int, ...] = ()


@dataclass(frozen=True)
class OperationResponse:
    """The end of a transaction."""

    code: int
    transaction: int
    params: tuple[int, ...] = ()


@dataclass(frozen=True)
class Event:
    """Something that happened on the body, with up to three parameters."""

    code: int
    transaction: int
    params: tuple[int, ...] = ()


@dataclass(frozen=True)
class StartData:
    """A data phase begins; `total` counts its payload bytes (section 2.3.9)."""

    transaction: int
    total: int


@dataclass(frozen=True)
class Data:
    """A piece of a data phase (section 2.3.10)."""

    transaction: int
    payload: bytes = field(repr=False)


@dataclass(frozen=True)
class EndData:
    """The last piece of a data phase (section 2.3.11)."""

    transaction: int
    payload: bytes = field(default=b"", repr=False)


@dataclass(frozen=True)
class Cancel:
    """One side gives a transaction up."""

    transaction: int


@dataclass(frozen=True)
class ProbeRequest:
    """Is the other side alive?"""


@dataclass(frozen=True)
class ProbeResponse:
    """It is."""


Packet: TypeAlias = (
    InitCommandRequest
    | InitCommandAck
    | InitEventRequest
    | InitEventAck
    | InitFail
    | OperationRequest
    | OperationResponse
    | Event
    | StartData
    | Data
    | EndData
    | Cancel
    | ProbeRequest
    | ProbeResponse
)


def _wide(text: str) -> bytes:
    return text.encode("utf-16-le") + b"\x00\x00"


def _params(values: tuple[int, ...], most: int) -> bytes:
    if len(values) > most:
        raise PacketError(f"{len(values)} parameters, at most {most} fit")
    return b"".join(u32(v) for v in values)


def _init_ack(packet: InitCommandAck) -> bytes:
    return u32(packet.connection) + packet.guid + _wide(packet.name) + u32(packet.version)


def _request(packet: OperationRequest) -> bytes:
    head = u32(packet.data_phase) + u16(packet.code) + u32(packet.transaction)
    return head + _params(packet.params, MAX_PARAMS)


def _coded(packet: OperationResponse | Event) -> bytes:
    most = 3 if isinstance(packet, Event) else MAX_PARAMS
    return u16(packet.code) + u32(packet.transaction) + _params(packet.params, most)


_TYPES: dict[type[Packet], PacketType] = {
    InitCommandRequest: PacketType.INIT_COMMAND_REQUEST,
    InitCommandAck: PacketType.INIT_COMMAND_ACK,
    InitEventRequest: PacketType.INIT_EVENT_REQUEST,
    InitEventAck: PacketType.INIT_EVENT_ACK,
    InitFail: PacketType.INIT_FAIL,
    OperationRequest: PacketType.OPERATION_REQUEST,
    OperationResponse: PacketType.OPERATION_RESPONSE,
    Event: PacketType.EVENT,
    StartData: PacketType.START_DATA,
    Data: PacketType.DATA,
    EndData: PacketType.END_DATA,
    Cancel: PacketType.CANCEL,
    ProbeRequest: PacketType.PROBE_REQUEST,
    ProbeResponse: PacketType.PROBE_RESPONSE,
}


def _payload(packet: Packet) -> bytes:
    match packet:
        case InitCommandRequest(guid, name, version):
            return guid + _wide(name) + u32(version)
        case InitCommandAck():
            return _init_ack(packet)
        case InitEventRequest(number) | InitFail(number) | Cancel(number):
            return u32(number)
        case OperationRequest():
            return _request(packet)
        case OperationResponse() | Event():
            return _coded(packet)
        case StartData(transaction, total):
            return u32(transaction) + u64(total)
        case Data(transaction, payload) | EndData(transaction, payload):
            return u32(transaction) + payload
        case InitEventAck() | ProbeRequest() | ProbeResponse():
            return b""


def encode(packet: Packet) -> bytes:
    """Return the packet as it goes over the wire, header included."""
    payload = _payload(packet)
    return u32(HEADER_BYTES + len(payload)) + u32(_TYPES[type(packet)]) + payload


def split_header(header: bytes) -> tuple[int, int]:
    """Return (payload length in bytes, packet type number) of an 8-byte header.

    Raises
    ------
    PacketError
        If the stated length is shorter than the header itself.
    """
    reader = Reader(header)
    length, packet_type = reader.u32(), reader.u32()
    if length < HEADER_BYTES:
        raise PacketError(f"packet claims {length} bytes")
    return length - HEADER_BYTES, packet_type


def _read_wide(reader: Reader) -> str:
    units: list[int] = []
    while unit := reader.u16():
        units.append(unit)
    return b"".join(u16(unit) for unit in units).decode("utf-16-le", "replace")


def _read_params(reader: Reader, most: int) -> tuple[int, ...]:
    count, odd = divmod(reader.left, 4)
    if odd or count > most:
        raise PacketError(f"{reader.left} bytes of parameters")
    return tuple(reader.u32() for _ in range(count))


def _read_init_ack(reader: Reader) -> Packet:
    connection = reader.u32()
    return InitCommandAck(connection, reader.take(16), _read_wide(reader), reader.u32())


def _read_request(reader: Reader) -> Packet:
    phase, code, transaction = reader.u32(), reader.u16(), reader.u32()
    return OperationRequest(phase, code, transaction, _read_params(reader, MAX_PARAMS))


_DECODERS: dict[int, Callable[[Reader], Packet]] = {
    PacketType.INIT_COMMAND_REQUEST: lambda r: InitCommandRequest(r.take(16), _read_wide(r), r.u32()),
    PacketType.INIT_COMMAND_ACK: _read_init_ack,
    PacketType.INIT_EVENT_REQUEST: lambda r: InitEventRequest(r.u32()),
    PacketType.INIT_EVENT_ACK: lambda _: InitEventAck(),
    PacketType.INIT_FAIL: lambda r: InitFail(r.u32()),
    PacketType.OPERATION_REQUEST: _read_request,
    PacketType.OPERATION_RESPONSE: lambda r: OperationResponse(r.u16(), r.u32(), _read_params(r, MAX_PARAMS)),
    PacketType.EVENT: lambda r: Event(r.u16(), r.u32(), _read_params(r, 3)),
    PacketType.START_DATA: lambda r: StartData(r.u32(), r.u64()),
    PacketType.DATA: lambda r: Data(r.u32(), r.rest()),
    PacketType.END_DATA: lambda r: EndData(r.u32(), r.rest()),
    PacketType.CANCEL: lambda r: Cancel(r.u32()),
    PacketType.PROBE_REQUEST: lambda _: ProbeRequest(),
    PacketType.PROBE_RESPONSE: lambda _: ProbeResponse(),
}


def decode(packet_type: int, payload: bytes) -> Packet:
    """Return the packet that the payload spells.

    Parameters
    ----------
    packet_type : int
        The number in the header.
    payload : bytes
        All that follows the header.

    Raises
    ------
    PacketError
        If the type is unknown or the payload too short or too long for it.
    """
    if packet_type not in _DECODERS:
        raise PacketError(f"unknown packet type {packet_type}")
    reader = Reader(payload)
    packet = _DECODERS[packet_type](reader)
    if reader.left:
        raise PacketError(f"{reader.left} bytes too many in packet type {packet_type}")
    return packet
