"""The family of vendor extension 0x1C: 32-bit property codes with operations of their own.

A property has a code for its list (0x9108) and another for its value (0x9402, 0x9403).  Shutter
times count thousandths, of the reciprocal below a second, of seconds with the top bit set.  The
numbers of the image formats are invented: the driver shows them as bare numbers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum

from mock_camera.bodies.common import Dialect, OperationSpec, Reply, Request
from mock_camera.bodies.properties import stops
from mock_camera.body import Shot
from mock_camera.card import StoredObject
from mock_camera.codes import Response
from mock_camera.fields import Reader, u16, u32
from mock_camera.settings import F_NUMBERS, ISOS, TIMES_S, Setting

LIVE_VIEW_ON, LIVE_VIEW_OFF = 0x0D000010, 0x0D000011
RELEASE = 0x03000011
LIVE_VIEW_SIZE, LIVE_VIEW_SIZES = 0x0D800011, 0x0D800012
LIVE_VIEW_HEADER_BYTES = 180
_OBJECT_ADDED = 0xC108
_LIST_HEADER_WORDS = 6


class Op(IntEnum):
    """Operations of the extension."""

    LIST_PROPERTY = 0x9108
    GET_PROPERTY = 0x9402
    SET_PROPERTY = 0x9403
    CAPTURE = 0x9404
    LIVE_VIEW = 0x9412
    GET_LIVE_VIEW_SIZE = 0x9414
    GET_LIVE_VIEW = 0x9706


def shutter_code(time_s: float) -> int:
    """Return the number of a shutter time: reciprocal in thousandths, or seconds with the top bit."""
    if time_s >= 1:
        return round(time_s * 1000) | 0x80000000
    return round(round(1 / time_s, 1) * 1000)


@dataclass(frozen=True)
class WideProperty:
    """A property with the code of its list, the code of its value, its width in bytes and its numbers."""

    list_code: int
    value_code: int
    width: int
    setting: str
    to_wire: Mapping[Setting, int]

    def pack(self, number: int) -> bytes:
        """Return a number in the property's width."""
        return u16(number) if self.width == 2 else u32(number)


QUALITIES: dict[Setting, int] = {"jpeg": 1, "raw+jpeg": 2, "raw": 3}
WIDE = (
    WideProperty(0x02000020, 0x02000021, 4, "iso", {iso: iso for iso in ISOS}),
    WideProperty(0x02000030, 0x02000031, 4, "time_s", {t: shutter_code(t) for t in TIMES_S}),
    WideProperty(0x02000040, 0x02000041, 2, "f_number", stops(F_NUMBERS, 10)),
    WideProperty(0x020000A2, 0x020000A2, 2, "quality", QUALITIES),
)


class Body1C(Dialect):
    """Wide properties; capture to the card."""

    manufacturer = "Panasonic"
    model = "Copy Body E"
    vendor_extension = 0x1C

    def add_operations(self) -> None:
        """Add the operations of the extension."""
        self._live_view = False
        add = self.operations
        add[Op.LIST_PROPERTY] = OperationSpec(self.list_property, params=3)
        add[Op.GET_PROPERTY] = OperationSpec(self.get_wide, params=1)
        add[Op.SET_PROPERTY] = OperationSpec(self.set_wide, params=1, takes_data=True)
        add[Op.CAPTURE] = OperationSpec(self.capture, params=1)
        add[Op.LIVE_VIEW] = OperationSpec(self.switch_live_view, params=1)
        add[Op.GET_LIVE_VIEW_SIZE] = OperationSpec(self.get_live_view_size, params=1)
        add[Op.GET_LIVE_VIEW] = OperationSpec(self.get_live_view)

    # Properties

    def _find_wide(self, code: int) -> WideProperty | None:
        return next((wide for wide in WIDE if code in (wide.list_code, wide.value_code)), None)

    def _now(self, wide: WideProperty) -> int:
        fault = self.body.faults.standing("outside-list", prop=wide.list_code)
        return int(fault.number("value")) if fault else wide.to_wire[self.body.settings.get(wide.setting)]

    def list_property(self, request: Request) -> Reply:
        """Answer 0x9108: header, current value, count, values."""
        wide = self._find_wide(request.params[0])
        if wide is None:
            return Reply(Response.DEVICE_PROP_NOT_SUPPORTED)
        head = u32(wide.list_code) + u32(_LIST_HEADER_WORDS) + bytes(20) + u32(wide.list_code)
        numbers = tuple(wide.to_wire.values())
        values = b"".join(wide.pack(number) for number in numbers)
        return Reply(data=head + wide.pack(self._now(wide)) + u32(len(numbers)) + values)

    def get_wide(self, request: Request) -> Reply:
        """Answer 0x9402: u32 code, u32 width, value."""
        wide = self._find_wide(request.params[0])
        if wide is None:
            return Reply(Response.DEVICE_PROP_NOT_SUPPORTED)
        return Reply(data=u32(request.params[0]) + u32(wide.width) + wide.pack(self._now(wide)))

    def set_wide(self, request: Request) -> Reply:
        """Answer 0x9403: u32 code, u32 width, value."""
        reader = Reader(request.data)
        code, width = reader.u32(), reader.u32()
        wide = self._find_wide(code)
        if wide is None or code != request.params[0]:
            return Reply(Response.DEVICE_PROP_NOT_SUPPORTED)
        if width != wide.width or reader.left != width:
            return Reply(Response.INVALID_DEVICE_PROP_FORMAT)
        number = int.from_bytes(reader.rest(), "little")
        for content, wire in wide.to_wire.items():
            if wire == number:
                self.body.settings.put(wide.setting, content)
                return Reply()
        return Reply(Response.INVALID_DEVICE_PROP_VALUE)

    # Live view

    def switch_live_view(self, request: Request) -> Reply:
        """Answer 0x9412."""
        if request.params[0] not in (LIVE_VIEW_ON, LIVE_VIEW_OFF):
            return Reply(Response.INVALID_PARAMETER)
        if request.params[0] == LIVE_VIEW_ON and self.body.faults.standing("no-live-view"):
            return Reply(Response.ACCESS_DENIED)
        self._live_view = request.params[0] == LIVE_VIEW_ON
        return Reply()

    def get_live_view_size(self, request: Request) -> Reply:
        """Answer 0x9414: the one size there is, as width, height, frame rate code and two zeros."""
        size = u16(1024) + u16(680) + u16(0) + u16(30)
        if request.params[0] == LIVE_VIEW_SIZE:
            return Reply(data=u32(LIVE_VIEW_SIZE) + u32(len(size)) + size)
        if request.params[0] == LIVE_VIEW_SIZES:
            listed = u16(1) + u16(len(size)) + size
            return Reply(data=u32(LIVE_VIEW_SIZES) + u32(len(listed)) + listed)
        return Reply(Response.INVALID_PARAMETER)

    def get_live_view(self, _: Request) -> Reply:
        """Answer 0x9706: a header, then the JPEG."""
        if not self._live_view:
            return Reply(Response.ACCESS_DENIED)
        jpeg = self.body.live_view()
        if jpeg is None:
            return Reply(Response.DEVICE_BUSY)
        return Reply(data=bytes(LIVE_VIEW_HEADER_BYTES) + jpeg)

    # Shots

    def capture(self, request: Request) -> Reply:
        """Answer 0x9404."""
        if request.params[0] != RELEASE:
            return Reply(Response.INVALID_PARAMETER)
        return Reply(self.body.release(request.transaction))

    def objects_added(self, shot: Shot, objects: list[StoredObject]) -> None:
        """Report new files and folders as 0xC108."""
        for stored in objects:
            self.emit(_OBJECT_ADDED, (stored.handle,))

    def shot_finished(self, shot: Shot) -> None:
        """Say nothing: this family reports files only."""

    def setting_changed(self, name: str) -> None:
        """Say nothing: this family's dials are read again by whoever asks."""

    def end_session(self) -> None:
        """Leave live view."""
        self._live_view = False
