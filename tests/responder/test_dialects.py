"""Bytes of the families, as public implementations read them; live view and the shutter."""

from __future__ import annotations

import time
from typing import Any

from mock_camera import fields
from mock_camera.bodies import x0a, x0b, x0e, x1c, x11
from mock_camera.codes import Operation, Property, Response
from mock_camera.fields import Reader


def until(wire: Any, code: int, *params: int, seconds: float = 5.0) -> tuple[int, bytes | None, tuple[int, ...]]:
    """Ask until the answer is OK, at most so long."""
    end_s = time.monotonic() + seconds
    while True:
        answer: tuple[int, bytes | None, tuple[int, ...]] = wire.ask(code, *params)
        if answer[0] == Response.OK or time.monotonic() > end_s:
            return answer


def test_live_view_stands_still_while_the_shutter_is_open(start_camera: Any, connect: Any) -> None:
    wire = connect(start_camera("--body", "0a")).open()
    assert wire.ask(x0a.Op.GET_LIVE_VIEW)[0] == x0a.Code.NOT_LIVE_VIEW
    assert wire.ask(x0a.Op.START_LIVE_VIEW)[0] == Response.OK
    frames = [wire.ask(x0a.Op.GET_LIVE_VIEW)[1] for _ in range(5)]
    assert len(set(frames)) == 5
    assert all(frame[x0a.LIVE_VIEW_HEADER_BYTES :][:2] == b"\xff\xd8" for frame in frames)
    wire.ask(Operation.SET_DEVICE_PROP_VALUE, Property.EXPOSURE_TIME, data=fields.u32(5000))
    assert wire.ask(x0a.Op.CAPTURE, 0xFFFFFFFF, 0)[0] == Response.OK
    assert wire.ask(x0a.Op.DEVICE_READY)[0] == Response.DEVICE_BUSY
    assert wire.ask(x0a.Op.GET_LIVE_VIEW)[0] == Response.DEVICE_BUSY
    assert wire.ask(x0a.Op.CAPTURE, 0xFFFFFFFF, 0)[0] == Response.DEVICE_BUSY
    assert until(wire, x0a.Op.DEVICE_READY)[0] == Response.OK
    assert until(wire, x0a.Op.GET_LIVE_VIEW)[0] == Response.OK


def test_events_of_the_0a_body_are_fetched_once(start_camera: Any, connect: Any) -> None:
    camera = start_camera("--body", "0a")
    wire = connect(camera).open()
    assert wire.ask(x0a.Op.CHECK_EVENTS)[1] == bytes(2)
    assert camera.control("press")["ok"]
    events: list[tuple[int, int]] = []
    end_s = time.monotonic() + 5
    while (0x400D, 0) not in events and time.monotonic() < end_s:
        reader = Reader(wire.ask(x0a.Op.CHECK_EVENTS)[1])
        events += [(reader.u16(), reader.u32()) for _ in range(reader.u16())]
        assert reader.left == 0
    handle = camera.control("shots")["shots"][0]["handle"]
    # The new folder, the file, the end.
    assert events == [(0x4002, handle - 1), (0x4002, handle), (0x400D, 0)]
    assert wire.ask(x0a.Op.CHECK_EVENTS)[1] == bytes(2)


def records(data: bytes) -> list[tuple[int, bytes]]:
    """Split the list of records; it must end with the record (8, 0) and nothing behind it."""
    reader = Reader(data)
    found: list[tuple[int, bytes]] = []
    while True:
        size, code = reader.u32(), reader.u32()
        if (size, code) == (8, 0):
            assert reader.left == 0
            return found
        found.append((code, reader.take(size - 8)))


def test_records_of_the_0b_body_end_with_their_closing_record(start_camera: Any, connect: Any) -> None:
    camera = start_camera("--body", "0b")
    wire = connect(camera).open()
    assert wire.ask(x0b.Op.GET_EVENT)[1] == bytes.fromhex("08000000 00000000")
    assert wire.ask(x0b.Op.SET_EVENT_MODE, 1)[0] == Response.OK
    first = records(wire.ask(x0b.Op.GET_EVENT)[1])
    values = {Reader(c).u32(): c[4:] for code, c in first if code == x0b.Record.VALUE}
    choices = {Reader(c).u32(): c[4:] for code, c in first if code == x0b.Record.CHOICES}
    assert values[x0b.Prop.ISO] == fields.u32(0x48)
    assert values[x0b.Prop.IMAGE_FORMAT] == b"".join(map(fields.u32, (1, 16, 6, 0, 4)))
    assert choices[x0b.Prop.DESTINATION] == b"".join(map(fields.u32, (3, 2, 2, 4)))
    assert records(wire.ask(x0b.Op.GET_EVENT)[1]) == []
    request = fields.u32(12) + fields.u32(x0b.Prop.ISO) + fields.u32(0x50)
    assert wire.ask(x0b.Op.SET_PROPERTY, data=request)[0] == Response.OK
    assert camera.control("settings")["settings"]["iso"] == 200
    changed = records(wire.ask(x0b.Op.GET_EVENT)[1])
    assert changed[0] == (x0b.Record.VALUE, fields.u32(x0b.Prop.ISO) + fields.u32(0x50))


def test_the_blob_of_the_11_body_counts_its_properties(start_camera: Any, connect: Any) -> None:
    wire = connect(start_camera("--body", "11")).open()
    reader = Reader(wire.ask(x11.Op.GET_CODES, x11.NEW_PROTOCOL, 1)[1])
    assert reader.u16() == 0x012C
    properties, controls = reader.array16(), reader.array16()
    assert set(controls) == {0xD2C1, 0xD2C2, 0xD2D1}
    reader = Reader(wire.ask(x11.Op.GET_ALL)[1])
    assert (reader.u32(), reader.u32()) == (len(properties) + len(controls), 0)
    code, kind, settable, enabled = reader.u16(), reader.u16(), reader.u8(), reader.u8()
    assert (code, kind, settable, enabled) == (0x5007, 4, 1, 1)
    assert wire.ask(Operation.GET_OBJECT_INFO, x11.PICTURE)[0] == Response.INVALID_OBJECT_HANDLE
    jpeg = wire.ask(Operation.GET_OBJECT, x11.LIVE_VIEW)[1]
    assert jpeg[Reader(jpeg).u32() :][:2] == b"\xff\xd8"


def test_the_0e_body_shoots_only_when_its_action_says_so(start_camera: Any, connect: Any) -> None:
    camera = start_camera("--body", "0e")
    wire = connect(camera).open()
    put = Operation.SET_DEVICE_PROP_VALUE
    assert wire.ask(put, x0e.Prop.ACTION, data=fields.u16(0x0200))[0] == Response.OK
    assert wire.ask(Operation.INITIATE_CAPTURE, 0, 0)[0] == Response.OK
    assert wire.ask(Operation.GET_DEVICE_PROP_VALUE, x0e.Prop.STATE)[1] == fields.u16(0)
    assert wire.ask(put, x0e.Prop.ACTION, data=fields.u16(0x0304))[0] == Response.OK
    assert wire.ask(Operation.INITIATE_CAPTURE, 0, 0)[0] == Response.OK
    end_s = time.monotonic() + 5
    while wire.ask(Operation.GET_DEVICE_PROP_VALUE, x0e.Prop.STATE)[1] == fields.u16(0):
        assert time.monotonic() < end_s
    assert len(camera.control("shots")["shots"]) == 1


def test_wide_properties_of_the_1c_body(start_camera: Any, connect: Any) -> None:
    wire = connect(start_camera("--body", "1c")).open()
    assert wire.ask(x1c.Op.GET_PROPERTY, 0x02000021)[1] == b"".join(map(fields.u32, (0x02000021, 4, 100)))
    request = fields.u32(0x02000021) + fields.u32(4) + fields.u32(400)
    assert wire.ask(x1c.Op.SET_PROPERTY, 0x02000021, data=request)[0] == Response.OK
    assert wire.ask(x1c.Op.GET_PROPERTY, 0x02000021)[1][8:] == fields.u32(400)
    wrong = fields.u32(0x02000021) + fields.u32(4) + fields.u32(401)
    assert wire.ask(x1c.Op.SET_PROPERTY, 0x02000021, data=wrong)[0] == Response.INVALID_DEVICE_PROP_VALUE
    assert wire.ask(x1c.Op.GET_PROPERTY, 0x02FF0000)[0] == Response.DEVICE_PROP_NOT_SUPPORTED
    listed = Reader(wire.ask(x1c.Op.LIST_PROPERTY, 0x02000020)[1])
    listed.take(32)
    current, count = listed.u32(), listed.u32()
    assert (current, count, listed.left) == (400, 19, 19 * 4)
