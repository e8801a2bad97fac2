"""The family of vendor extension 0x0E: InitiateCapture does what property 0xD208 says.

Shutter times count microseconds on the exact series of thirds of a stop.  Live view is an open
capture whose pictures appear one by one as object 0x80000001 and are deleted after reading.
"""

from __future__ import annotations

import math
from enum import IntEnum

from mock_camera.bodies.common import LIVE_VIEW_NAME, Dialect, OperationSpec, Reply, Request
from mock_camera.bodies.properties import BoundProperty, stops
from mock_camera.body import Shot
from mock_camera.codes import DataType, Format, Operation, Property, Response
from mock_camera.datasets import ObjectInfo, PropertyDesc
from mock_camera.settings import F_NUMBERS, ISOS, TIMES_S, Setting

LIVE_VIEW = 0x80000001
FOCUS_FARTHEST = 10_000


class Prop(IntEnum):
    """Properties of the extension."""

    QUALITY = 0xD018
    FOCUS_POSITION = 0xD171
    PRIORITY = 0xD207
    ACTION = 0xD208
    FOCUS_STATUS = 0xD209
    SHOTS_LEFT = 0xD20E
    STATE = 0xD212
    PC_MODE = 0xD38C


class Action(IntEnum):
    """What the next InitiateCapture does."""

    LET_GO = 0x0004
    FOCUS = 0x0200
    SHOOT = 0x0304


FOCUSED = 2
PROGRAMS: dict[Setting, int] = {"manual": 1, "program": 2, "aperture": 3, "shutter": 4}
FOCUS: dict[Setting, int] = {"manual": 1, "auto": 0x8001}
WHITE_BALANCE: dict[Setting, int] = {"auto": 2, "daylight": 4, "tungsten": 6}
QUALITIES: dict[Setting, int] = {"raw": 1, "jpeg": 2, "raw+jpeg": 4}


def exact_microseconds(time_s: float) -> int:
    """Return the exact time behind a nominal one, rounded down to microseconds."""
    return int(2 ** (round(3 * math.log2(time_s)) / 3) * 1e6)


class Body0E(Dialect):
    """A small state machine on 0xD208; files on the card."""

    manufacturer = "FUJIFILM"
    model = "Copy Body D"
    vendor_extension = 0x0E

    def add_operations(self) -> None:
        """Add capture and open capture."""
        self._streaming = False
        self._action = int(Action.LET_GO)
        self._state = 0
        self._frame: bytes | None = None
        add = self.operations
        add[Operation.INITIATE_CAPTURE] = OperationSpec(self.initiate_capture, params=2)
        add[Operation.INITIATE_OPEN_CAPTURE] = OperationSpec(self.initiate_open_capture, params=2)
        add[Operation.TERMINATE_OPEN_CAPTURE] = OperationSpec(self.terminate_open_capture, params=1)

    def add_properties(self) -> None:
        """Add the standard's properties in this family's units and the extension's own."""
        u16_type = DataType.UINT16
        for binding in (
            BoundProperty(
                Property.EXPOSURE_TIME, DataType.UINT32, "time_s", {t: exact_microseconds(t) for t in TIMES_S}
            ),
            BoundProperty(Property.F_NUMBER, u16_type, "f_number", stops(F_NUMBERS, 100)),
            BoundProperty(Property.EXPOSURE_INDEX, DataType.INT32, "iso", {iso: iso for iso in ISOS}),
            BoundProperty(Property.EXPOSURE_PROGRAM_MODE, u16_type, "program", PROGRAMS),
            BoundProperty(Property.FOCUS_MODE, u16_type, "focus", FOCUS),
            BoundProperty(Property.WHITE_BALANCE, u16_type, "white_balance", WHITE_BALANCE),
            BoundProperty(Prop.QUALITY, u16_type, "quality", QUALITIES),
        ):
            self.table.add_bound(binding)
        self.table.add_fixed(PropertyDesc(Prop.PRIORITY, u16_type, 1, 1, True, (1, 2)))
        self.table.add_fixed(PropertyDesc(Prop.PC_MODE, u16_type, 1, 1, True, (0, 1)))
        self.table.add_fixed(PropertyDesc(Prop.FOCUS_POSITION, DataType.INT16, FOCUS_FARTHEST // 2, 0, True))
        state = self.table.add_state
        state(Prop.ACTION, u16_type, lambda: self._action, self._put_action, tuple(Action))
        state(Prop.FOCUS_STATUS, u16_type, lambda: FOCUSED)
        state(Prop.STATE, u16_type, lambda: self._state)
        state(Prop.SHOTS_LEFT, u16_type, lambda: min(self.body.shots_left, 9999))

    def _put_action(self, wanted: int | str) -> int:
        self._action = int(wanted)
        return Response.OK

    # Shots

    def initiate_capture(self, request: Request) -> Reply:
        """Answer InitiateCapture: focus, shoot or let go, as 0xD208 says."""
        if self._action != Action.SHOOT:
            return Reply()
        result = self.body.release(request.transaction)
        if result == Response.OK:
            self._state = 0
        return Reply(result)

    def shot_finished(self, shot: Shot) -> None:
        """Say nothing: the driver reads 0xD212."""
        self._state = 1

    def store_filled(self, shot: Shot) -> None:
        """Report the full store; the driver would poll 0xD212 for ever if it stayed 0."""
        super().store_filled(shot)
        self._state = 1

    # Live view

    def initiate_open_capture(self, _: Request) -> Reply:
        """Answer InitiateOpenCapture: live view begins."""
        if self.body.faults.standing("no-live-view"):
            return Reply(Response.ACCESS_DENIED)
        if self.body.exposing:
            return Reply(Response.DEVICE_BUSY)
        self._streaming = True
        return Reply()

    def terminate_open_capture(self, _: Request) -> Reply:
        """Answer TerminateOpenCapture: live view ends."""
        if not self._streaming:
            return Reply(Response.CAPTURE_ALREADY_TERMINATED)
        self._streaming, self._frame = False, None
        return Reply()

    def get_object_info(self, request: Request) -> Reply:
        """Answer GetObjectInfo; of live view it makes the next picture appear."""
        if request.params[0] != LIVE_VIEW:
            return super().get_object_info(request)
        self._frame = self.body.live_view() if self._streaming else None
        if self._frame is None:
            return Reply(Response.INVALID_OBJECT_HANDLE)
        return Reply(data=ObjectInfo(0, Format.EXIF_JPEG, len(self._frame), LIVE_VIEW_NAME).encode())

    def get_object(self, request: Request) -> Reply:
        """Answer GetObject, of live view too."""
        if request.params[0] != LIVE_VIEW:
            return super().get_object(request)
        if self._frame is None:
            return Reply(Response.DEVICE_BUSY)
        return Reply(data=self._frame)

    def delete_object(self, request: Request) -> Reply:
        """Answer DeleteObject; a live-view picture makes room for the next."""
        if request.params[0] != LIVE_VIEW:
            return super().delete_object(request)
        self._frame = None
        return Reply()

    def end_session(self) -> None:
        """Leave live view."""
        self._streaming, self._frame = False, None
