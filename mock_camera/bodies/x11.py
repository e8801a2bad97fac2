"""The family of vendor extension 0x11: one blob of all properties, two fixed object handles.

Controls are pressed by 0x9207, settings set by 0x9205, everything read by 0x9209.  The newest
picture waits under 0xFFFFC001 and live view under 0xFFFFC002.
"""

from __future__ import annotations

from enum import IntEnum

from mock_camera.bodies.common import LIVE_VIEW_NAME, Dialect, OperationSpec, Reply, Request
from mock_camera.bodies.properties import BoundProperty, fraction, stops
from mock_camera.body import Shot
from mock_camera.card import StoredObject
from mock_camera.codes import DataType, Format, Property, Response
from mock_camera.datasets import ObjectInfo, PropertyDesc, Range, Value
from mock_camera.fields import PacketError, Reader, array16, u8, u16, u32, value
from mock_camera.settings import BIASES_EV, F_NUMBERS, ISOS, TIMES_S, Setting

PICTURE, LIVE_VIEW = 0xFFFFC001, 0xFFFFC002
OLD_PROTOCOL, NEW_PROTOCOL = 0x00C8, 0x012C
LIVE_VIEW_HEADER_BYTES = 136


class Op(IntEnum):
    """Operations of the extension."""

    CONNECT = 0x9201
    GET_CODES = 0x9202
    SET_PROPERTY = 0x9205
    CONTROL = 0x9207
    GET_ALL = 0x9209


class Prop(IntEnum):
    """Properties and controls of the extension."""

    SHUTTER = 0xD20D
    FOCUS_FOUND = 0xD213
    PICTURES_WAITING = 0xD215
    BATTERY = 0xD218
    ISO = 0xD21E
    LIVE_VIEW_STATUS = 0xD221
    TARGET = 0xD222
    QUALITY = 0xD253
    PRIORITY = 0xD25A
    HALF_PRESS = 0xD2C1
    FULL_PRESS = 0xD2C2
    FOCUS_STEP = 0xD2D1


class Code(IntEnum):
    """Events of the extension."""

    OBJECT_ADDED = 0xC201
    PROPERTY_CHANGED = 0xC203


PROGRAMS: dict[Setting, int] = {"manual": 0x1, "program": 0x10002, "aperture": 0x20003, "shutter": 0x30004}
OLD_MODES: dict[Setting, int] = {"manual": 1, "program": 2, "aperture": 3, "shutter": 4}
QUALITIES: dict[Setting, int] = {"raw": 1, "raw+jpeg": 2, "jpeg": 3}
OLD_QUALITIES: dict[Setting, int] = {"raw": 0x10, "raw+jpeg": 0x13, "jpeg": 0x03}
TARGETS: dict[Setting, int] = {"ram": 0x01, "card": 0x10, "both": 0x11}
FOCUS: dict[Setting, int] = {"manual": 1, "auto": 2}
WHITE_BALANCE: dict[Setting, int] = {"auto": 2, "daylight": 4, "tungsten": 6, "flash": 7}
CONTROLS = (Prop.HALF_PRESS, Prop.FULL_PRESS, Prop.FOCUS_STEP)


class Body11(Dialect):
    """Controls and settings by blob; pictures from the buffer."""

    manufacturer = "Sony Corporation"
    model = "Copy Body C"
    vendor_extension = 0x11

    def add_operations(self) -> None:
        """Add the operations of the extension."""
        add = self.operations
        add[Op.CONNECT] = OperationSpec(lambda _: Reply(data=bytes(8)), params=3)
        add[Op.GET_CODES] = OperationSpec(self.get_codes, params=2)
        add[Op.SET_PROPERTY] = OperationSpec(self.set_property_value, params=1, takes_data=True)
        add[Op.CONTROL] = OperationSpec(self.control, params=1, takes_data=True)
        add[Op.GET_ALL] = OperationSpec(self.get_all, params=2)

    def add_properties(self) -> None:
        """Add the properties that the blob carries."""
        u8_type, u16_type, u32_type = DataType.UINT8, DataType.UINT16, DataType.UINT32
        biases: dict[Setting, int] = {bias: round(bias * 1000) for bias in BIASES_EV}
        for binding in (
            BoundProperty(Property.F_NUMBER, u16_type, "f_number", stops(F_NUMBERS, 100)),
            BoundProperty(Prop.SHUTTER, u32_type, "time_s", {t: fraction(t) for t in TIMES_S}),
            BoundProperty(Prop.ISO, u32_type, "iso", {iso: iso for iso in ISOS}),
            BoundProperty(Property.EXPOSURE_BIAS_COMPENSATION, DataType.INT16, "bias_ev", biases),
            BoundProperty(Property.FOCUS_MODE, u16_type, "focus", FOCUS),
            BoundProperty(Property.WHITE_BALANCE, u16_type, "white_balance", WHITE_BALANCE),
            BoundProperty(Prop.TARGET, u16_type, "target", TARGETS),
        ):
            self.table.add_bound(binding)
        self._speak(NEW_PROTOCOL)
        self.table.remove(Property.BATTERY_LEVEL, Property.DATE_TIME)
        self.table.add_fixed(PropertyDesc(Prop.PRIORITY, u8_type, 1, 0, True, (0, 1)))
        for button in (Prop.HALF_PRESS, Prop.FULL_PRESS):
            self.table.add_fixed(PropertyDesc(button, u16_type, 1, 1, True, (1, 2)))
        self.table.add_fixed(PropertyDesc(Prop.FOCUS_STEP, DataType.INT16, 0, 0, True, Range(-7, 7, 1)))
        self.table.add_state(Prop.FOCUS_FOUND, u8_type, lambda: 1)
        self.table.add_state(Prop.PICTURES_WAITING, u16_type, self._pictures_waiting)
        self.table.add_state(Prop.LIVE_VIEW_STATUS, u8_type, lambda: 0 if self._refused() else 1)
        self.table.add(
            Prop.BATTERY,
            lambda: PropertyDesc(Prop.BATTERY, DataType.INT8, self.body.battery_percent, -1, False, Range(-1, 100, 1)),
        )

    def _speak(self, version: int) -> None:
        """Offer program and quality as the protocol version asked for has them."""
        if version == NEW_PROTOCOL:
            self.table.remove(Property.COMPRESSION_SETTING, Property.EXPOSURE_PROGRAM_MODE)
            self.table.add_bound(BoundProperty(Prop.QUALITY, DataType.UINT8, "quality", QUALITIES))
            self.table.add_bound(BoundProperty(Property.EXPOSURE_PROGRAM_MODE, DataType.UINT32, "program", PROGRAMS))
        else:
            self.table.remove(Prop.QUALITY, Property.EXPOSURE_PROGRAM_MODE)
            self.table.add_bound(BoundProperty(Property.COMPRESSION_SETTING, DataType.UINT8, "quality", OLD_QUALITIES))
            self.table.add_bound(BoundProperty(Property.EXPOSURE_PROGRAM_MODE, DataType.UINT16, "program", OLD_MODES))

    def listed_properties(self) -> list[int]:
        """Return nothing: the codes come by 0x9202."""
        return []

    def _refused(self) -> bool:
        return self.body.faults.standing("no-live-view") is not None

    def _pictures_waiting(self) -> int:
        waiting = len(self.body.card.buffered())
        return 0x8000 + waiting if waiting else 0

    # Properties

    def get_codes(self, request: Request) -> Reply:
        """Answer 0x9202(version wanted): version, property codes, control codes."""
        version = OLD_PROTOCOL if request.params[0] == OLD_PROTOCOL else NEW_PROTOCOL
        self._speak(version)
        return Reply(
            data=u16(version) + array16([c for c in self.table.codes if c not in CONTROLS]) + array16(list(CONTROLS))
        )

    def get_all(self, _: Request) -> Reply:
        """Answer 0x9209: u32 count, u32 0, then every property."""
        descs = [desc for code in self.table.codes if (desc := self.table.desc(code))]
        return Reply(data=u32(len(descs)) + u32(0) + b"".join(_pack(desc) for desc in descs))

    def control(self, request: Request) -> Reply:
        """Answer 0x9207: press (2) or let go (1) a button, step the focus, or turn a setting by notches."""
        code, reader = request.params[0], Reader(request.data)
        if code not in CONTROLS and len(request.data) == 1:
            return Reply(self._step(code, int(reader.value(DataType.INT8))))
        if code not in CONTROLS:
            return Reply(Response.DEVICE_PROP_NOT_SUPPORTED)
        wanted = reader.value(DataType.INT16 if code == Prop.FOCUS_STEP else DataType.UINT16)
        if reader.left:
            raise PacketError("too much for a control")
        if code == Prop.FULL_PRESS and wanted == 2:
            return Reply(self._shoot(request.transaction))
        return Reply()

    def _step(self, code: int, notches: int) -> int:
        """Turn a setting by notches along its list, as far as it goes."""
        desc = self.table.desc(code)
        if desc is None or not isinstance(desc.form, tuple):
            return Response.DEVICE_PROP_NOT_SUPPORTED
        if not desc.writable:
            return Response.ACCESS_DENIED
        at = desc.form.index(desc.current) if desc.current in desc.form else 0
        wanted = desc.form[min(max(at + notches, 0), len(desc.form) - 1)]
        return self.table.put(code, wanted)

    # Live view and pictures

    def _live_view_reply(self, with_data: bool) -> Reply:
        if self._refused() or self.body.exposing:
            return Reply(Response.INVALID_OBJECT_HANDLE)
        if not with_data:
            return Reply(data=ObjectInfo(0x00020001, Format.EXIF_JPEG, 0, LIVE_VIEW_NAME).encode())
        jpeg = self.body.live_view()
        if jpeg is None:
            return Reply(Response.ACCESS_DENIED)
        header = u32(LIVE_VIEW_HEADER_BYTES) + u32(len(jpeg))
        return Reply(data=header.ljust(LIVE_VIEW_HEADER_BYTES, b"\x00") + jpeg)

    def get_object_info(self, request: Request) -> Reply:
        """Answer GetObjectInfo, of live view too."""
        if request.params[0] == LIVE_VIEW:
            return self._live_view_reply(with_data=False)
        return super().get_object_info(request)

    def get_object(self, request: Request) -> Reply:
        """Answer GetObject, of live view too."""
        if request.params[0] == LIVE_VIEW:
            return self._live_view_reply(with_data=True)
        return super().get_object(request)

    def find(self, handle: int) -> StoredObject | None:
        """Return an object; the picture handle means the oldest file in the buffer."""
        if handle == PICTURE:
            return next(iter(self.body.card.buffered()), None)
        return self.body.find(handle)

    def was_read(self, handle: int) -> None:
        """Free the buffer once its picture was read."""
        if handle == PICTURE and (stored := self.find(handle)):
            self.body.card.drop_buffered(stored.handle)

    # Shots

    def _shoot(self, transaction: int | None = None, body_button: bool = False) -> int:
        target = str(self.body.settings.get("target"))
        if transaction is None:
            return self.body.release(target=target, body_button=body_button)
        return self.body.release(transaction, target, body_button)

    def press(self) -> int:
        """The body's own button."""
        return self._shoot(body_button=True)

    def objects_added(self, shot: Shot, objects: list[StoredObject]) -> None:
        """Report that pictures wait in the buffer; files that stay on the card are not reported."""
        if any(not stored.info.storage for stored in objects):
            self.emit(Code.OBJECT_ADDED, (PICTURE,))
            self.emit(Code.PROPERTY_CHANGED, (Prop.PICTURES_WAITING,))

    def shot_finished(self, shot: Shot) -> None:
        """Say nothing: the driver concludes it from the pictures waiting."""

    def setting_changed(self, name: str) -> None:
        """Report a dial turned on the body."""
        if code := self.table.code_of(name):
            self.emit(Code.PROPERTY_CHANGED, (code,))


def _pack(desc: PropertyDesc) -> bytes:
    """Return a property as the blob holds it: code, type, settable, enabled, default, current, form."""
    head = u16(desc.code) + u16(desc.data_type) + u8(int(desc.writable)) + u8(1 if desc.writable else 2)
    values: list[Value] = [desc.default, desc.current]
    body = b"".join(value(desc.data_type, content) for content in values)
    return head + body + desc.encode_form()
