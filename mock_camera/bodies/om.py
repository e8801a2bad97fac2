"""The OM type: a maker's name and a model that begins with E-M or OM- instead of an extension number.

Capture is a button pressed and let go by 0x9481, live view comes by 0x9484 once property 0xD06D
says so, new files are reported as event 0xC002.
"""

from __future__ import annotations

from enum import IntEnum

from mock_camera.bodies.common import Dialect, OperationSpec, Reply, Request
from mock_camera.bodies.properties import BoundProperty, fraction, stops
from mock_camera.body import Shot
from mock_camera.card import StoredObject
from mock_camera.codes import DataType, Property, Response
from mock_camera.datasets import PropertyDesc
from mock_camera.fields import u32
from mock_camera.settings import F_NUMBERS, ISOS, TIMES_S, Setting

LIVE_VIEW_TO_HOST = 0x04000300
SMALLEST_FRAME_BYTES = 1024
PRESSED, LET_GO = 0x3, 0x6
_OBJECT_ADDED, _PROPERTY_CHANGED = 0xC002, 0xC008


class Op(IntEnum):
    """Operations of the type."""

    BUTTON = 0x9481
    GET_LIVE_VIEW = 0x9484
    CHANGED_PROPERTIES = 0x9486
    DRIVE_FOCUS = 0x9487


class Prop(IntEnum):
    """Properties of the type."""

    APERTURE = 0xD002
    FOCUS = 0xD003
    ISO = 0xD007
    IMAGE_FORMAT = 0xD00D
    SHUTTER = 0xD01C
    CONTROL_MODE = 0xD052
    LIVE_VIEW_MODE = 0xD06D
    TARGET = 0xD0DC


FOCUS: dict[Setting, int] = {"manual": 1, "auto": 0x8002}
FORMATS: dict[Setting, int] = {"raw": 0x020, "jpeg": 0x101, "raw+jpeg": 0x121}
PROGRAMS: dict[Setting, int] = {"manual": 1, "program": 2, "aperture": 3, "shutter": 4}


class BodyOM(Dialect):
    """A button by operation; capture to the card."""

    manufacturer = "OMSYSTEM"
    model = "OM-S Copy Body F"

    def add_operations(self) -> None:
        """Add the operations of the type."""
        add = self.operations
        add[Op.BUTTON] = OperationSpec(self.button, params=1)
        add[Op.GET_LIVE_VIEW] = OperationSpec(self.get_live_view, params=1)
        add[Op.CHANGED_PROPERTIES] = OperationSpec(lambda _: Reply(data=u32(0)))
        add[Op.DRIVE_FOCUS] = OperationSpec(self.drive_focus, params=2)

    def add_properties(self) -> None:
        """Add the properties of the type."""
        u16_type, u32_type = DataType.UINT16, DataType.UINT32
        for binding in (
            BoundProperty(Prop.APERTURE, u16_type, "f_number", stops(F_NUMBERS, 10)),
            BoundProperty(Prop.ISO, u16_type, "iso", {iso: iso for iso in ISOS}),
            BoundProperty(Prop.SHUTTER, u32_type, "time_s", {t: fraction(t) for t in TIMES_S}),
            BoundProperty(Prop.IMAGE_FORMAT, u16_type, "quality", FORMATS),
            BoundProperty(Prop.FOCUS, u16_type, "focus", FOCUS),
            BoundProperty(Property.EXPOSURE_PROGRAM_MODE, u16_type, "program", PROGRAMS),
        ):
            self.table.add_bound(binding)
        self.table.add_fixed(PropertyDesc(Prop.CONTROL_MODE, u16_type, 2, 2, True, (1, 2)))
        self.table.add_fixed(PropertyDesc(Prop.LIVE_VIEW_MODE, u32_type, 0, 0, True))
        self.table.add_fixed(PropertyDesc(Prop.TARGET, u16_type, 1, 1, True))

    def button(self, request: Request) -> Reply:
        """Answer 0x9481(3 pressed, 6 let go)."""
        if request.params[0] not in (PRESSED, LET_GO):
            return Reply(Response.INVALID_PARAMETER)
        return Reply(self.body.release(request.transaction) if request.params[0] == PRESSED else Response.OK)

    def get_live_view(self, request: Request) -> Reply:
        """Answer 0x9484(1)."""
        if request.params[0] != 1:
            return Reply(Response.INVALID_PARAMETER)
        refused = self.body.faults.standing("no-live-view") is not None
        if refused or self.table.now(Prop.LIVE_VIEW_MODE) != LIVE_VIEW_TO_HOST:
            return Reply(Response.ACCESS_DENIED)
        jpeg = self.body.live_view()
        if jpeg is None:
            return Reply(Response.DEVICE_BUSY)
        return Reply(data=jpeg.ljust(SMALLEST_FRAME_BYTES, b"\x00") if jpeg else b"")

    def drive_focus(self, request: Request) -> Reply:
        """Answer 0x9487(1 nearer or 2 farther, steps)."""
        usable = request.params[0] in (1, 2) and request.params[1] > 0
        return Reply(Response.OK if usable else Response.INVALID_PARAMETER)

    def objects_added(self, shot: Shot, objects: list[StoredObject]) -> None:
        """Report new files; folders are not reported."""
        for stored in objects:
            if stored.is_file:
                self.emit(_OBJECT_ADDED, (stored.handle,))

    def shot_finished(self, shot: Shot) -> None:
        """Say nothing: this type reports files only."""

    def setting_changed(self, name: str) -> None:
        """Report a dial turned on the body."""
        if code := self.table.code_of(name):
            self.emit(_PROPERTY_CHANGED, (code,))

    def end_session(self) -> None:
        """Leave live view."""
        self.table.put(Prop.LIVE_VIEW_MODE, 0)
