"""Numbers, strings, arrays and values of the protocol as bytes and back (ISO 15740 clause 5.3).

Everything is little-endian.
"""

from __future__ import annotations

import struct

from mock_camera.codes import DataType

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
