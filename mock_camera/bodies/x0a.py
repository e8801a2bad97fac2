"""The family of vendor extension 0x0A: live view by command, events fetched by 0x90C7.

Operations, properties and their meaning as the driver uses them; reason bits of refused live
view in property 0xD1A4.
"""

from __future__ import annotations

from collections import deque
from enum import IntEnum

from mock_camera.bodies.common import Dialect, OperationSpec, Reply, Request
from mock_camera.bodies.properties import BoundProperty, fraction
from mock_camera.bodies.standard import exposure_properties
from mock_camera.body import Shot
from mock_camera.card import StoredObject
from mock_camera.codes import UNSOLICITED, DataType, EventCode, Response
from mock_camera.datasets import PropertyDesc
from mock_camera.fields import array16, u16, u32
from mock_camera.settings import TIMES_S, Setting

LIVE_VIEW_HEADER_BYTES = 384
RAM_HANDLE = 0xFFFF0001
_EVENT_QUEUE = 256


class Op(IntEnum):
    """Operations of the extension."""

    CHECK_EVENTS = 0x90C7
    DEVICE_READY = 0x90C8
    GET_VENDOR_PROPERTIES = 0x90CA
    CHANGE_MODE = 0x90C2
    START_LIVE_VIEW = 0x9201
    END_LIVE_VIEW = 0x9202
    GET_LIVE_VIEW = 0x9203
    DRIVE_FOCUS = 0x9204
    CAPTURE = 0x9207


class Prop(IntEnum):
    """Properties of the extension."""

    EXPOSURE_TIME = 0xD100
    RECORDING_MEDIA = 0xD10B
    LIVE_VIEW_STATUS = 0xD1A2
    LIVE_VIEW_PROHIBITED = 0xD1A4
    SHOTS_LEFT = 0xD1F1


class Code(IntEnum):
    """Responses and events of the extension."""

    INVALID_STATUS = 0xA004
    NOT_LIVE_VIEW = 0xA00B
    FOCUS_AT_END = 0xA00C
    ADDED_IN_RAM = 0xC101


COMPRESSION: dict[Setting, int] = {"jpeg": 2, "raw": 4, "raw+jpeg": 7}
FOCUS: dict[Setting, int] = {"manual": 1, "auto": 0x8010}
WHITE_BALANCE: dict[Setting, int] = {"auto": 2, "daylight": 4, "tungsten": 6, "flash": 7}
FOCUS_TRAVEL_PULSES = 6000


class Body0A(Dialect):
    """Live view, capture to card or RAM, events by polling."""

    manufacturer = "Nikon Corporation"
    model = "Copy Body A"
    vendor_extension = 0x0A

    def add_operations(self) -> None:
        """Add the operations of the extension."""
        self._events: deque[tuple[int, int]] = deque(maxlen=_EVENT_QUEUE)
        self._live_view = False
        self._focus_pulses = FOCUS_TRAVEL_PULSES // 2
        self._focus_result: int = Response.OK
        add = self.operations
        add[Op.CHECK_EVENTS] = OperationSpec(self.check_events)
        add[Op.DEVICE_READY] = OperationSpec(self.device_ready)
        add[Op.GET_VENDOR_PROPERTIES] = OperationSpec(self.get_vendor_properties)
        add[Op.CHANGE_MODE] = OperationSpec(lambda _: Reply(), params=1)
        add[Op.START_LIVE_VIEW] = OperationSpec(self.start_live_view)
        add[Op.END_LIVE_VIEW] = OperationSpec(self.end_live_view)
        add[Op.GET_LIVE_VIEW] = OperationSpec(self.get_live_view)
        add[Op.DRIVE_FOCUS] = OperationSpec(self.drive_focus, params=2)
        add[Op.CAPTURE] = OperationSpec(self.capture, params=2)

    def add_properties(self) -> None:
        """Add the standard's exposure properties and the extension's own."""
        for binding in exposure_properties(COMPRESSION, FOCUS, WHITE_BALANCE):
            self.table.add_bound(binding)
        self.table.add_fixed(PropertyDesc(Prop.RECORDING_MEDIA, DataType.UINT8, 0, 0, True, (0, 1)))
        exact: dict[Setting, int] = {t: fraction(t) for t in TIMES_S}
        self.table.add_bound(BoundProperty(Prop.EXPOSURE_TIME, DataType.UINT32, "time_s", exact))
        state = self.table.add_state
        state(Prop.LIVE_VIEW_STATUS, DataType.UINT8, lambda: int(self._live_view))
        state(Prop.LIVE_VIEW_PROHIBITED, DataType.UINT32, self.refusal_bits)
        state(Prop.SHOTS_LEFT, DataType.UINT32, lambda: self.body.shots_left)

    def listed_properties(self) -> list[int]:
        """Return the standard's properties; the extension's come by 0x90CA."""
        return [code for code in self.table.codes if code < 0xD000]

    def get_vendor_properties(self, _: Request) -> Reply:
        """Answer 0x90CA: the property codes of the extension."""
        return Reply(data=array16([code for code in self.table.codes if code >= 0xD000]))

    # Live view

    def refusal_bits(self) -> int:
        """Return the bits that forbid live view (bit 8 battery, bit 17 heat, ...)."""
        fault = self.body.faults.standing("no-live-view")
        bits = int(fault.number("bits", 1 << 17)) if fault else 0
        return bits | (1 << 8 if self.body.battery_percent < 3 else 0)

    def start_live_view(self, _: Request) -> Reply:
        """Answer 0x9201."""
        if self.refusal_bits():
            return Reply(Code.INVALID_STATUS)
        if self.body.exposing:
            return Reply(Response.DEVICE_BUSY)
        self._live_view = True
        return Reply()

    def end_live_view(self, _: Request) -> Reply:
        """Answer 0x9202."""
        self._live_view = False
        return Reply()

    def get_live_view(self, _: Request) -> Reply:
        """Answer 0x9203: a header, then the JPEG."""
        if not self._live_view:
            return Reply(Code.NOT_LIVE_VIEW)
        jpeg = self.body.live_view()
        if jpeg is None:
            return Reply(Response.DEVICE_BUSY)
        return Reply(data=bytes(LIVE_VIEW_HEADER_BYTES) + jpeg if jpeg else b"")

    def drive_focus(self, request: Request) -> Reply:
        """Answer 0x9204(1 nearer or 2 farther, pulses); DeviceReady tells the outcome."""
        direction, pulses = request.params[:2]
        if not self._live_view:
            return Reply(Code.NOT_LIVE_VIEW)
        if direction not in (1, 2) or not pulses:
            return Reply(Response.INVALID_PARAMETER)
        wanted = self._focus_pulses + (pulses if direction == 2 else -pulses)
        self._focus_pulses = min(max(wanted, 0), FOCUS_TRAVEL_PULSES)
        self._focus_result = Response.OK if wanted == self._focus_pulses else Code.FOCUS_AT_END
        return Reply()

    # Shots

    def capture(self, request: Request) -> Reply:
        """Answer 0x9207(autofocus or not, 0 card or 1 RAM)."""
        if request.params[1] not in (0, 1):
            return Reply(Response.INVALID_PARAMETER)
        target = "ram" if request.params[1] else "card"
        return Reply(self.body.release(request.transaction, target))

    def press(self) -> int:
        """The body's own button: the target is what 0xD10B says."""
        media = self.table.now(Prop.RECORDING_MEDIA)
        return self.body.release(target="ram" if media == 1 else "card", body_button=True)

    def device_ready(self, _: Request) -> Reply:
        """Answer 0x90C8: busy from release to the end of the exposure."""
        if self.body.exposing:
            return Reply(Response.DEVICE_BUSY)
        result, self._focus_result = self._focus_result, Response.OK
        return Reply(result)

    def find(self, handle: int) -> StoredObject | None:
        """Return an object; the RAM handle means the oldest picture in the buffer."""
        if handle == RAM_HANDLE:
            return next(iter(self.body.card.buffered()), None)
        return self.body.find(handle)

    def was_read(self, handle: int) -> None:
        """Free the buffer once its picture was read."""
        if handle == RAM_HANDLE and (stored := self.find(handle)):
            self.body.card.drop_buffered(stored.handle)

    # Events

    def emit(self, code: int, params: tuple[int, ...] = (), transaction: int = UNSOLICITED) -> None:
        """Queue an event for 0x90C7."""
        del transaction
        with self.lock:
            self._events.append((code, params[0] if params else 0))

    def objects_added(self, shot: Shot, objects: list[StoredObject]) -> None:
        """Report files on the card as 0x4002, in RAM as 0xC101."""
        for stored in objects:
            if stored.info.storage:
                self.emit(EventCode.OBJECT_ADDED, (stored.handle,))
            else:
                self.emit(Code.ADDED_IN_RAM, (RAM_HANDLE,))

    def check_events(self, _: Request) -> Reply:
        """Answer 0x90C7: u16 count, then u16 code and u32 parameter each."""
        with self.lock:
            events = list(self._events)
            self._events.clear()
        packed = b"".join(u16(code) + u32(param) for code, param in events)
        return Reply(data=u16(len(events)) + packed)

    def end_session(self) -> None:
        """Leave live view."""
        self._live_view = False
