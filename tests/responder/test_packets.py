"""Bytes on the wire against vectors made by hand from CIPA DC-X005-2005 and ISO 15740 layouts."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mock_camera import fields, packets
from mock_camera.codes import DataType
from mock_camera.datasets import DeviceInfo, ObjectInfo, PropertyDesc, Range, StorageInfo, date_text, read_value
from mock_camera.fields import PacketError, Reader
from mock_camera.packets import (
    Cancel,
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

VECTORS: list[tuple[Packet, str]] = [
    (OperationRequest(1, 0x1002, 0, (1,)), "16000000 06000000 01000000 0210 00000000 01000000"),
    (OperationResponse(0x2001, 0), "0e000000 07000000 0120 00000000"),
    (OperationRequest(1, 0x100E, 5, (0, 0)), "1a000000 06000000 01000000 0e10 05000000 00000000 00000000"),
    (OperationResponse(0x2019, 5), "0e000000 07000000 1920 05000000"),
    (Event(0x4002, 5, (0x1234,)), "12000000 08000000 0240 05000000 34120000"),
    (Event(0x400D, 5), "0e000000 08000000 0d40 05000000"),
    (StartData(3, 8), "14000000 09000000 03000000 0800000000000000"),
    (EndData(3, fields.array32([0x00010001])), "14000000 0c000000 03000000 01000000 01000100"),
    (InitFail(2), "0c000000 05000000 02000000"),
    (InitEventRequest(1), "0c000000 03000000 01000000"),
    (InitEventAck(), "08000000 04000000"),
    (ProbeRequest(), "08000000 0d000000"),
    (ProbeResponse(), "08000000 0e000000"),
    (Cancel(7), "0c000000 0b000000 07000000"),
    (
        InitCommandRequest(bytes(range(16)), "A", 0x00010000),
        "20000000 01000000 000102030405060708090a0b0c0d0e0f 4100 0000 00000100",
    ),
    (
        InitCommandAck(1, bytes(range(16)), "A", 0x00010000),
        "24000000 02000000 01000000 000102030405060708090a0b0c0d0e0f 4100 0000 00000100",
    ),
]


@pytest.mark.parametrize(("packet", "text"), VECTORS, ids=lambda v: type(v).__name__)
def test_a_packet_is_its_bytes_and_back(packet: Packet, text: str) -> None:
    data = bytes.fromhex(text)
    assert packets.encode(packet) == data
    length, kind = packets.split_header(data[:8])
    assert length == len(data) - 8
    assert packets.decode(kind, data[8:]) == packet


def test_string_array_and_property_vectors() -> None:
    assert fields.string("A1") == bytes.fromhex("03 4100 3100 0000")
    assert fields.string("") == b"\x00"
    desc = PropertyDesc(0x5007, DataType.UINT16, 800, 560, True, (560, 800))
    assert desc.encode() == bytes.fromhex("0750 0400 01 3002 2003 02 0200 3002 2003")
    ranged = PropertyDesc(0x5001, DataType.UINT8, 87, 100, False, Range(0, 100, 1))
    assert ranged.encode() == bytes.fromhex("0150 0200 00 64 57 01 00 64 01")


def test_object_info_has_its_fields_at_the_offsets_of_the_standard() -> None:
    info = ObjectInfo(0x00010001, 0x3811, 1_000_000, "A1", 0x55, True, 77, (160, 120), (6000, 4000), 14)
    data = info.encode()
    reader = Reader(data)
    assert (reader.u32(), reader.u16(), reader.u16(), reader.u32()) == (0x00010001, 0x3811, 1, 1_000_000)
    assert int.from_bytes(data[12:14], "little") == 0x3801
    numbers = [int.from_bytes(data[at : at + 4], "little") for at in (14, 18, 22, 26, 30, 34, 38)]
    assert numbers == [77, 160, 120, 6000, 4000, 14, 0x55]
    assert data[52:59] == bytes.fromhex("03 4100 3100 0000")


def test_storage_and_device_info_read_back() -> None:
    reader = Reader(StorageInfo(64_000, 32_000, 7, "card", "X").encode())
    assert (reader.u16(), reader.u16(), reader.u16()) == (4, 3, 0)
    assert (reader.u64(), reader.u64(), reader.u32()) == (64_000, 32_000, 7)
    assert (reader.string(), reader.string(), reader.left) == ("card", "X", 0)
    info = DeviceInfo(10, 100, "ext", (0x1001,), (0x4002,), (0x5001,), (0x3811,), (0x3801,), "m", "n", "v", "s")
    reader = Reader(info.encode())
    assert (reader.u16(), reader.u32(), reader.u16(), reader.string(), reader.u16()) == (100, 10, 100, "ext", 0)
    assert [reader.array16() for _ in range(5)] == [[0x1001], [0x4002], [0x5001], [0x3811], [0x3801]]
    assert [reader.string() for _ in range(4)] == ["m", "n", "v", "s"]
    assert reader.left == 0


def test_a_date_is_at_least_fifteen_characters() -> None:
    from datetime import datetime

    assert date_text(datetime(2031, 2, 3, 4, 5, 6, 780_000)) == "20310203T040506.7"


def test_a_value_of_the_wrong_size_is_refused() -> None:
    assert read_value(DataType.INT16, b"\xfe\xff") == -2
    for data in (b"", b"\x01", b"\x01\x02\x03"):
        with pytest.raises(PacketError):
            read_value(DataType.INT16, data)


def test_forms_admit_what_they_list() -> None:
    ranged = PropertyDesc(1, DataType.INT16, 0, 0, True, Range(-10, 10, 5))
    assert [n for n in (-15, -10, -7, 0, 10, 15) if ranged.allows(n)] == [-10, 0, 10]
    assert not ranged.allows("5")


@given(st.integers(0, 40), st.binary(max_size=64))
def test_nonsense_is_a_packet_error_and_nothing_else(kind: int, payload: bytes) -> None:
    try:
        packet = packets.decode(kind, payload)
    except PacketError:
        return
    again = packets.encode(packet)
    assert packets.decode(kind, again[8:]) == packet


@given(st.text(alphabet=st.characters(max_codepoint=0xD7FF, exclude_characters="\x00"), max_size=254))
def test_strings_come_back(text: str) -> None:
    reader = Reader(fields.string(text))
    assert reader.string() == text
    assert reader.left == 0


def test_a_string_that_is_too_long_is_refused() -> None:
    with pytest.raises(PacketError):
        fields.string("x" * 255)
    with pytest.raises(PacketError):
        fields.string("\U0001f39e")
