"""The family of vendor extension 0x0B that reports everything through one list of records, 0x9116.

Properties, new files and the state of the camera all come as records ``u32 size, u32 code,
...`` that are fetched by 0x9116 and closed by the record (8, 0).  Numbers of exposure count
eighths of a stop, thirds rounded to 0, 3 and 5.
"""

from __future__ import annotations

import math
from collections import deque
from enum import IntEnum

from mock_camera.bodies.common import Dialect, OperationSpec, Reply, Request
from mock_camera.bodies.properties import BoundProperty
from mock_camera.body import Shot
from mock_camera.card import StoredObject
from mock_camera.codes import UNSOLICITED, DataType, Response
from mock_camera.datasets import PropertyDesc, Value
from mock_camera.fields import Reader, array32, u16, u32
from mock_camera.settings import BIASES_EV, F_NUMBERS, ISOS, TIMES_S, Setting

_RAW_FORMAT = 0xB103
_NOT_READY = 0xA102
_RECORD_QUEUE = 4096


class Op(IntEnum):
    """Operations of the extension."""

    GET_STORAGE_IDS = 0x9101
    GET_STORAGE_INFO = 0x9102
    GET_DEVICE_INFO_EX = 0x9108
    SET_PROPERTY = 0x9110
    SET_REMOTE_MODE = 0x9114
    SET_EVENT_MODE = 0x9115
    GET_EVENT = 0x9116
    TRANSFER_COMPLETE = 0x9117
    SET_HOST_CAPACITY = 0x911A
    LOCK_CONTROLS = 0x911B
    UNLOCK_CONTROLS = 0x911C
    KEEP_AWAKE = 0x911D
    REQUEST_PROPERTY = 0x9127
    PRESS = 0x9128
    LET_GO = 0x9129
    SET_INFO_GROUP = 0x913D
    START_FINDER = 0x9151
    END_FINDER = 0x9152
    GET_FINDER = 0x9153
    FOCUS = 0x9154
    DRIVE_LENS = 0x9155
    ZOOM = 0x9158
    ZOOM_POSITION = 0x9159
    CANCEL_FOCUS = 0x9160


class Prop(IntEnum):
    """Properties of the extension."""

    APERTURE = 0xD101
    SHUTTER = 0xD102
    ISO = 0xD103
    BIAS = 0xD104
    PROGRAM = 0xD105
    DRIVE = 0xD106
    FOCUS = 0xD108
    WHITE_BALANCE = 0xD109
    BATTERY = 0xD111
    SHOTS_LEFT = 0xD11B
    DESTINATION = 0xD11C
    IMAGE_FORMAT = 0xD120
    FINDER_OUTPUT = 0xD1B0
    FINDER_MODE = 0xD1B1


class Record(IntEnum):
    """Codes of records."""

    OBJECT_ADDED = 0xC181
    OBJECT_WAITS = 0xC186
    VALUE = 0xC189
    CHOICES = 0xC18A
    STATUS = 0xC18B


CARD, HOST = 2, 4
PROGRAMS: dict[Setting, int] = {"program": 0, "shutter": 1, "aperture": 2, "manual": 3}
FOCUS: dict[Setting, int] = {"auto": 0, "manual": 3}
DRIVES: dict[Setting, int] = {"single": 0, "burst": 1}
WHITE_BALANCE: dict[Setting, int] = {"auto": 0, "daylight": 1, "tungsten": 3, "flash": 5}
# Four nibbles: size and compression of the first file (8 marks raw), then of the second, FF none.
FORMATS: dict[Setting, int] = {"raw": 0x0CFF, "raw+jpeg": 0x0C03, "jpeg": 0x03FF}


def eighths(stops: float, origin: int) -> int:
    """Return the code of a number that lies so many stops above the one with code `origin`."""
    whole, thirds = divmod(round(stops * 3), 3)
    return origin + 8 * whole + (0, 3, 5)[thirds]


def pack_format(code: int) -> bytes:
    """Return the image format of a code as the u32 sequence of the protocol."""
    files = [code >> 8] if code & 0xFF == 0xFF else [code >> 8, code & 0xFF]
    packed = u32(len(files))
    for file in files:
        packed += u32(16) + u32(6 if file & 8 else 1) + u32(file >> 4) + u32(file & 7)
    return packed


def read_format(data: bytes) -> int:
    """Return the code of an image format; the inverse of `pack_format`."""
    reader = Reader(data)
    count, codes = reader.u32(), []
    for _ in range(min(count, 2)):
        reader.u32()
        kind, size, compression = reader.u32(), reader.u32(), reader.u32()
        codes.append(size << 4 | compression | (8 if kind == 6 else 0))
    return codes[0] << 8 | (codes[1] if len(codes) > 1 else 0xFF)


class Body0B(Dialect):
    """Everything by records; live view through the finder; capture by pressing a button."""

    manufacturer = "Canon Inc."
    model = "Copy Body B"
    vendor_extension = 0x0B

    def add_operations(self) -> None:
        """Add the operations of the extension."""
        self._records: deque[bytes] = deque(maxlen=_RECORD_QUEUE)
        self._listening = False
        self._finder_output = 0
        self._destination = CARD
        self._host_shots = 0
        add = self.operations
        quiet = (Op.LOCK_CONTROLS, Op.UNLOCK_CONTROLS, Op.KEEP_AWAKE, Op.FOCUS, Op.CANCEL_FOCUS)
        for code in quiet:
            add[code] = OperationSpec(lambda _: Reply())
        for code in (Op.SET_REMOTE_MODE, Op.SET_INFO_GROUP, Op.ZOOM):
            add[code] = OperationSpec(lambda _: Reply(), params=1)
        add[Op.ZOOM_POSITION] = OperationSpec(lambda _: Reply(), params=2)
        add[Op.GET_STORAGE_IDS] = OperationSpec(self.get_storage_ids)
        add[Op.GET_STORAGE_INFO] = OperationSpec(self.get_storage_info, params=1)
        add[Op.GET_DEVICE_INFO_EX] = OperationSpec(self.get_device_info_ex)
        add[Op.SET_PROPERTY] = OperationSpec(self.put_property, takes_data=True)
        add[Op.SET_EVENT_MODE] = OperationSpec(self.set_event_mode, params=1)
        add[Op.GET_EVENT] = OperationSpec(self.get_event)
        add[Op.TRANSFER_COMPLETE] = OperationSpec(self.transfer_complete, params=1)
        add[Op.SET_HOST_CAPACITY] = OperationSpec(self.set_host_capacity, params=3)
        add[Op.REQUEST_PROPERTY] = OperationSpec(self.request_property, params=1)
        add[Op.PRESS] = OperationSpec(self.press_button, params=2)
        add[Op.LET_GO] = OperationSpec(lambda _: Reply(), params=1)
        add[Op.START_FINDER] = OperationSpec(lambda _: Reply(self._put_finder(2)))
        add[Op.END_FINDER] = OperationSpec(lambda _: Reply(self._put_finder(0)))
        add[Op.GET_FINDER] = OperationSpec(self.get_finder, params=3)
        add[Op.DRIVE_LENS] = OperationSpec(self.drive_lens, params=1)

    def add_properties(self) -> None:
        """Add the properties that come as records."""
        u16_type, u8_type = DataType.UINT16, DataType.UINT8
        times: dict[Setting, int] = {t: eighths(-math.log2(t), 0x38) for t in TIMES_S}
        apertures: dict[Setting, int] = {n: eighths(2 * math.log2(n), 0x08) for n in F_NUMBERS}
        isos: dict[Setting, int] = {iso: eighths(math.log2(iso / 100), 0x48) for iso in ISOS}
        for binding in (
            BoundProperty(Prop.APERTURE, u16_type, "f_number", apertures),
            BoundProperty(Prop.SHUTTER, u16_type, "time_s", times),
            BoundProperty(Prop.ISO, u16_type, "iso", isos),
            BoundProperty(Prop.BIAS, u8_type, "bias_ev", {b: eighths(b, 0) & 0xFF for b in BIASES_EV}),
            BoundProperty(Prop.PROGRAM, u16_type, "program", PROGRAMS),
            BoundProperty(Prop.DRIVE, u16_type, "drive", DRIVES),
            BoundProperty(Prop.FOCUS, DataType.UINT32, "focus", FOCUS),
            BoundProperty(Prop.WHITE_BALANCE, u8_type, "white_balance", WHITE_BALANCE),
            BoundProperty(Prop.IMAGE_FORMAT, u16_type, "quality", FORMATS),
        ):
            self.table.add_bound(binding)
        self.table.add_fixed(PropertyDesc(Prop.FINDER_MODE, u16_type, 1, 1, True, (0, 1)))
        u32_type, state = DataType.UINT32, self.table.add_state
        state(Prop.FINDER_OUTPUT, u32_type, lambda: self._finder_output, self._put_finder, (0, 1, 2, 3))
        state(Prop.DESTINATION, u32_type, lambda: self._destination, self._put_destination, (CARD, HOST))
        state(Prop.SHOTS_LEFT, u32_type, self._shots_left)
        state(Prop.BATTERY, u16_type, self._battery)

    def listed_properties(self) -> list[int]:
        """Return nothing: the properties come as records."""
        return []

    def _battery(self) -> int:
        percent = self.body.battery_percent
        return next(code for least, code in ((88, 2), (63, 4), (38, 1), (13, 5), (0, 0)) if percent >= least)

    def _shots_left(self) -> int:
        if self._destination == HOST:
            return self._host_shots
        return min(self.body.shots_left, 9999)

    # Properties

    def _put_finder(self, wanted: Value) -> int:
        if int(wanted) & ~1 and self.body.faults.standing("no-live-view"):
            return Response.GENERAL_ERROR
        self._finder_output = int(wanted)
        return Response.OK

    def _put_destination(self, wanted: Value) -> int:
        self._destination = int(wanted)
        self._queue_property(Prop.SHOTS_LEFT)
        return Response.OK

    def put_property(self, request: Request) -> Reply:
        """Answer 0x9110: u32 size, u32 property, value."""
        reader = Reader(request.data)
        size, code = reader.u32(), reader.u32()
        if size != len(request.data):
            return Reply(Response.INVALID_PARAMETER)
        desc = self.table.desc(code)
        if desc is None:
            return Reply(Response.DEVICE_PROP_NOT_SUPPORTED)
        rest = reader.rest()
        if code == Prop.IMAGE_FORMAT:
            rest = u16(read_format(rest))
        width = {DataType.UINT8: 1, DataType.UINT16: 2}.get(desc.data_type, 4)
        result = self.table.put_bytes(code, rest[:width])
        self._queue_property(code)
        return Reply(result)

    def request_property(self, request: Request) -> Reply:
        """Answer 0x9127: the property's record will come."""
        if request.params[0] not in self.table.codes:
            return Reply(Response.GENERAL_ERROR)
        self._queue_property(request.params[0])
        return Reply()

    def get_device_info_ex(self, _: Request) -> Reply:
        """Answer 0x9108: record codes and property codes."""
        packed = array32(list(Record)) + array32(self.table.codes) + array32([])
        return Reply(data=u32(4 + len(packed)) + packed)

    # Records

    def _queue(self, code: int, content: bytes) -> None:
        padded = content + bytes(-len(content) % 4)
        with self.lock:
            if self._listening:
                self._records.append(u32(8 + len(padded)) + u32(code) + padded)

    def _queue_property(self, code: int) -> None:
        desc = self.table.desc(code)
        if desc is None or not isinstance(desc.current, int):
            return
        now = pack_format(desc.current) if code == Prop.IMAGE_FORMAT else u32(desc.current)
        self._queue(Record.VALUE, u32(code) + now)
        if isinstance(desc.form, tuple):
            pack = pack_format if code == Prop.IMAGE_FORMAT else u32
            # A property that cannot be set now offers its current value alone.
            values = desc.form if desc.writable else (desc.current,)
            choices = b"".join(pack(int(value)) for value in values)
            self._queue(Record.CHOICES, u32(code) + u32(3) + u32(len(values)) + choices)

    def set_event_mode(self, request: Request) -> Reply:
        """Answer 0x9115: 1 starts the records with all properties, 0 ends them."""
        with self.lock:
            self._records.clear()
            self._listening = request.params[0] != 0
        for code in self.table.codes:
            self._queue_property(code)
        return Reply()

    def get_event(self, _: Request) -> Reply:
        """Answer 0x9116: all records since the last time, and the closing one."""
        with self.lock:
            records = b"".join(self._records)
            self._records.clear()
        return Reply(data=records + u32(8) + u32(0))

    def emit(self, code: int, params: tuple[int, ...] = (), transaction: int = UNSOLICITED) -> None:
        """Say nothing: this family has no events of the standard."""
        del code, params, transaction

    def setting_changed(self, name: str) -> None:
        """Report a dial turned on the body; the mode dial changes what can be set."""
        for changed in {name, "time_s", "f_number"} if name == "program" else {name}:
            if code := self.table.code_of(changed):
                self._queue_property(code)

    # Live view

    def get_finder(self, _: Request) -> Reply:
        """Answer 0x9153: blobs of u32 size, u32 kind, content; kind 1 is the JPEG."""
        if not self._finder_output & ~1:
            return Reply(_NOT_READY)
        jpeg = self.body.live_view()
        if jpeg is None:
            return Reply(_NOT_READY)
        return Reply(data=u32(8 + len(jpeg)) + u32(1) + jpeg)

    def drive_lens(self, request: Request) -> Reply:
        """Answer 0x9155(1 to 3, bit 15 for farther)."""
        if request.params[0] & 0x7FFF not in (1, 2, 3):
            return Reply(Response.INVALID_PARAMETER)
        return Reply(Response.OK if self._finder_output & ~1 else Response.DEVICE_BUSY)

    # Shots

    def press_button(self, request: Request) -> Reply:
        """Answer 0x9128(1 half, 2 full, 3 both at once; 1 without autofocus)."""
        if request.params[0] not in (1, 2, 3):
            return Reply(Response.INVALID_PARAMETER)
        if not request.params[0] & 2:
            return Reply()
        return Reply(self._shoot(request.transaction))

    def _shoot(self, transaction: int = UNSOLICITED, body_button: bool = False) -> int:
        target = "ram" if self._destination == HOST else "card"
        result = self.body.release(transaction, target, body_button)
        if result == Response.OK:
            self._queue(Record.STATUS, u32(1))
        return result

    def press(self) -> int:
        """The body's own button."""
        return self._shoot(body_button=True)

    def set_host_capacity(self, request: Request) -> Reply:
        """Answer 0x911A: the host has room for pictures."""
        self._host_shots = min(request.params[0], 9999)
        self._queue_property(Prop.SHOTS_LEFT)
        return Reply()

    def objects_added(self, shot: Shot, objects: list[StoredObject]) -> None:
        """Report files: on the card as added, in RAM as waiting to be fetched."""
        for stored in objects:
            name = stored.info.name.encode("ascii") + b"\x00"
            head, size, kind = u32(stored.handle), u32(stored.info.size_bytes), stored.info.format
            if stored.info.storage:
                middle = u32(stored.info.storage) + u32(kind) + bytes(8)
                rest = size + u32(stored.info.parent) + u32(stored.handle)
                self._queue(Record.OBJECT_ADDED, head + middle + rest + name)
            elif stored.is_file:
                shown = kind if name.endswith(b"JPG\x00") else _RAW_FORMAT
                self._queue(Record.OBJECT_WAITS, head + u32(shown) + bytes(4) + size + bytes(4) + name)

    def shot_finished(self, shot: Shot) -> None:
        """Report that the camera is idle again."""
        self._queue(Record.STATUS, u32(0))
        self._queue_property(Prop.SHOTS_LEFT)

    def store_filled(self, shot: Shot) -> None:
        """Report no shots left and idleness."""
        self.shot_finished(shot)

    def transfer_complete(self, request: Request) -> Reply:
        """Answer 0x9117: the host has the file, the buffer is free."""
        self.body.card.drop_buffered(request.params[0])
        return Reply()

    def end_session(self) -> None:
        """Leave live view and stop the records."""
        self._finder_output, self._listening, self._destination = 0, False, CARD
        with self.lock:
            self._records.clear()
