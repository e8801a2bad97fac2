"""PTP/IP packets as bytes and back: pure functions, no sockets.

Every packet is ``u32 length`` (counting itself) ``+ u32 type + payload``, little-endian
(CIPA DC-X005-2005 sections 2.2 and 2.3).  Strings, arrays and dates inside payloads follow
ISO 15740 clause 5.3.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeAlias

from mock_camera.codes import PTPIP_VERSION, DataType, PacketType

HEADER_BYTES = 8
MAX_PARAMS = 5
_SCALARS: dict[DataType, str] = {
    DataType.INT8: "<b",
    DataType.UINT8: "<B",
    DataType.INT16: "<h",
    DataType.UINT16: "<H",
    DataType.INT32: "<i",
    DataType.UINT32: "<I",
    DataType.INT64: "<q",
    DataType.UINT64: "<Q",
}


class PacketError(ValueError):
    """Bytes that are not what the standard says they should be."""


def u8(value: int) -> bytes:
    """Pack an unsigned 8-bit number."""
    return struct.pack("<B", value & 0xFF)


def u16(value: int) -> bytes:
    """Pack an unsigned 16-bit number."""
    return struct.pack("<H", value & 0xFFFF)


def u32(value: int) -> bytes:
    """Pack an unsigned 32-bit number."""
    return struct.pack("<I", value & 0xFFFFFFFF)


def u64(value: int) -> bytes:
    """Pack an unsigned 64-bit number."""
    return struct.pack("<Q", value & 0xFFFFFFFFFFFFFFFF)


def string(text: str) -> bytes:
    """Pack a PTP string: u8 count of UCS-2 units with the NUL, then the units; empty is 00.

    Raises
    ------
    PacketError
        If the text is longer than 254 units or holds a character outside UCS-2.
    """
    if not text:
        return b"\x00"
    units = text.encode("utf-16-le")
    if len(units) // 2 != len(text) or len(text) > 254:
        raise PacketError(f"cannot be a PTP string: {text!r}")
    return u8(len(text) + 1) + units + b"\x00\x00"


def array16(values: list[int] | tuple[int, ...]) -> bytes:
    """Pack an array of u16: u32 count, then the elements."""
    return struct.pack(f"<I{len(values)}H", len(values), *values)


def array32(values: list[int] | tuple[int, ...]) -> bytes:
    """Pack an array of u32: u32 count, then the elements."""
    return struct.pack(f"<I{len(values)}I", len(values), *values)


def value(data_type: DataType, content: int | str) -> bytes:
    """Pack one property value of the given type.

    Raises
    ------
    PacketError
        If the content does not fit the type.
    """
    if data_type is DataType.STRING:
        return string(str(content))
    try:
        return struct.pack(_SCALARS[data_type], content)
    except struct.error as error:
        raise PacketError(f"{content!r} does not fit {data_type.name}") from error


class Reader:
    """A cursor over bytes that never reads past their end.

    Parameters
    ----------
    data : bytes
        What was received.
    """

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    @property
    def left(self) -> int:
        """Bytes not read yet."""
        return len(self._data) - self._at

    def take(self, count: int) -> bytes:
        """Return the next `count` bytes.

        Raises
        ------
        PacketError
            If fewer are left.
        """
        if count < 0 or count > self.left:
            raise PacketError(f"wanted {count} bytes, {self.left} left")
        chunk = self._data[self._at : self._at + count]
        self._at += count
        return chunk

    def u8(self) -> int:
        """Read an unsigned 8-bit number."""
        return self.take(1)[0]

    def u16(self) -> int:
        """Read an unsigned 16-bit number."""
        return int.from_bytes(self.take(2), "little")

    def u32(self) -> int:
        """Read an unsigned 32-bit number."""
        return int.from_bytes(self.take(4), "little")

    def u64(self) -> int:
        """Read an unsigned 64-bit number."""
        return int.from_bytes(self.take(8), "little")

    def string(self) -> str:
        """Read a PTP string."""
        count = self.u8()
        if not count:
            return ""
        try:
            text = self.take(2 * count).decode("utf-16-le")
        except UnicodeDecodeError as error:
            raise PacketError("not a PTP string") from error
        return text.removesuffix("\x00")

    def array16(self) -> list[int]:
        """Read an array of u16."""
        count = self.u32()
        return list(struct.unpack(f"<{count}H", self.take(2 * count)))

    def array32(self) -> list[int]:
        """Read an array of u32."""
        count = self.u32()
        return list(struct.unpack(f"<{count}I", self.take(4 * count)))

    def value(self, data_type: DataType) -> int | str:
        """Read one property value of the given type."""
        if data_type is DataType.STRING:
            return self.string()
        code = _SCALARS[data_type]
        number: int = struct.unpack(code, self.take(struct.calcsize(code)))[0]
        return number

    def rest(self) -> bytes:
        """Read all that is left."""
        return self.take(self.left)


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
