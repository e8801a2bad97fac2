"""What every dialect shares: requests and replies, and the standard operations.

A dialect is one file beside this one.  It holds a class derived from `Dialect` with the same
methods: `describe`, `add_operations`, `add_properties`, and where the family does it in its own
way, `emit`, `objects_added`, `shot_finished`, `press` and `end_session`.
"""

from __future__ import annotations

import sys
import threading
import traceback
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime

from mock_camera.bodies.properties import PropertyTable
from mock_camera.body import Body, Shot
from mock_camera.card import CARD_ID, StoredObject
from mock_camera.codes import (
    ANY_HANDLE,
    UNSOLICITED,
    DataType,
    EventCode,
    Format,
    Operation,
    Property,
    Response,
)
from mock_camera.datasets import DeviceInfo, PropertyDesc, Range, date_text
from mock_camera.fields import PacketError, array32
from mock_camera.packets import Event

LIVE_VIEW_NAME = "LIVE.JPG"
"""A live-view object needs a name: the driver leaves an ObjectInfo without any text unread and dies of it."""


@dataclass(frozen=True)
class Request:
    """An operation as the dialect sees it; `params` always holds five numbers."""

    code: int
    transaction: int
    params: tuple[int, ...] = (0, 0, 0, 0, 0)
    data: bytes = b""


@dataclass(frozen=True)
class Reply:
    """The answer: a data phase if `data` is given, then the response.

    `paced` holds the data back to the transfer rate of the body.
    """

    code: int = Response.OK
    params: tuple[int, ...] = ()
    data: bytes | None = None
    paced: bool = False


Handler = Callable[[Request], Reply]


@dataclass(frozen=True)
class OperationSpec:
    """How an operation is called: its handler, how many parameters it uses, whether data comes with it."""

    handler: Handler
    params: int = 0
    takes_data: bool = False
    needs_session: bool = True


class Dialect:
    """The standard operations over a `Body`; families add their own.

    Parameters
    ----------
    body : Body
        The state behind the protocol.
    serial : str
        Serial number to report.
    """

    manufacturer = "Tethercap Works (simulated)"
    model = "Copy Body S"
    vendor_extension = 0
    vendor_text = ""

    def __init__(self, body: Body, serial: str) -> None:
        self.body = body
        self.serial = serial
        self.lock = threading.RLock()
        self.sink: Callable[[Event], None] = lambda _: None
        self.operations: dict[int, OperationSpec] = {}
        self.table = PropertyTable(body)
        self._add_standard_operations()
        self.add_operations()
        self._add_standard_properties()
        self.add_properties()
        body.listener = self

    # What a family overrides

    def add_operations(self) -> None:
        """Put the family's own operations in the table."""

    def add_properties(self) -> None:
        """Put the family's own properties in the table."""

    def device_events(self) -> tuple[int, ...]:
        """Return the event codes to report in DeviceInfo."""
        return (
            EventCode.OBJECT_ADDED,
            EventCode.OBJECT_REMOVED,
            EventCode.DEVICE_PROP_CHANGED,
            EventCode.STORE_FULL,
            EventCode.CAPTURE_COMPLETE,
        )

    def describe(self) -> DeviceInfo:
        """Return the DeviceInfo dataset."""
        return DeviceInfo(
            self.vendor_extension,
            100,
            self.vendor_text,
            tuple(sorted(self.operations)),
            self.device_events(),
            tuple(sorted(self.listed_properties())),
            (Format.DNG, Format.EXIF_JPEG),
            (Format.ASSOCIATION, Format.DNG, Format.EXIF_JPEG),
            self.manufacturer,
            self.model,
            "1.0",
            self.serial,
        )

    def listed_properties(self) -> list[int]:
        """Return the codes of the properties that DeviceInfo lists."""
        return self.table.codes

    def emit(self, code: int, params: tuple[int, ...] = (), transaction: int = UNSOLICITED) -> None:
        """Tell the initiator that something happened."""
        self.sink(Event(code, transaction, params))

    def start_session(self) -> None:
        """A session was opened."""

    def end_session(self) -> None:
        """The session is over, closed or lost."""

    def press(self) -> int:
        """The photographer presses the body's own button."""
        return self.body.release(body_button=True)

    def handle(self, spec: OperationSpec, request: Request) -> Reply:
        """Carry an operation out; bytes that make no sense are answered, never raised."""
        try:
            return spec.handler(request)
        except (PacketError, ValueError, KeyError):
            return Reply(Response.INVALID_PARAMETER)
        except Exception:  # a fault of ours; the driver must get an answer all the same
            traceback.print_exc(file=sys.stderr)
            return Reply(Response.GENERAL_ERROR)

    # What the body tells

    def objects_added(self, shot: Shot, objects: list[StoredObject]) -> None:
        """Report new folders and files."""
        for stored in objects:
            self.emit(EventCode.OBJECT_ADDED, (stored.handle,), shot.transaction)

    def shot_finished(self, shot: Shot) -> None:
        """Report that a shot is over."""
        self.emit(EventCode.CAPTURE_COMPLETE, (), shot.transaction)

    def store_filled(self, shot: Shot) -> None:
        """Report that the card ran full."""
        self.emit(EventCode.STORE_FULL, (CARD_ID,), shot.transaction)

    def setting_changed(self, name: str) -> None:
        """Report a change made on the body."""
        if code := self.table.code_of(name):
            self.emit(EventCode.DEVICE_PROP_CHANGED, (code,))

    # Properties

    def _add_standard_properties(self) -> None:
        percent = Range(0, 100, 1)
        self.table.add(
            Property.BATTERY_LEVEL,
            lambda: PropertyDesc(
                Property.BATTERY_LEVEL, DataType.UINT8, self.body.battery_percent, 100, False, percent
            ),
        )
        self.table.add_state(Property.DATE_TIME, DataType.STRING, lambda: date_text(datetime.now()))

    # Operations

    def _add_standard_operations(self) -> None:
        add = self.operations
        add[Operation.GET_DEVICE_INFO] = OperationSpec(self.get_device_info, needs_session=False)
        # The session operations are carried out by the responder, which owns the session.
        add[Operation.OPEN_SESSION] = OperationSpec(lambda _: Reply(), params=1, needs_session=False)
        add[Operation.CLOSE_SESSION] = OperationSpec(lambda _: Reply())
        add[Operation.GET_STORAGE_IDS] = OperationSpec(self.get_storage_ids)
        add[Operation.GET_STORAGE_INFO] = OperationSpec(self.get_storage_info, params=1)
        add[Operation.GET_NUM_OBJECTS] = OperationSpec(self.get_num_objects, params=3)
        add[Operation.GET_OBJECT_HANDLES] = OperationSpec(self.get_object_handles, params=3)
        add[Operation.GET_OBJECT_INFO] = OperationSpec(self.get_object_info, params=1)
        add[Operation.GET_OBJECT] = OperationSpec(self.get_object, params=1)
        add[Operation.GET_THUMB] = OperationSpec(self.get_thumb, params=1)
        add[Operation.DELETE_OBJECT] = OperationSpec(self.delete_object, params=2)
        add[Operation.SET_OBJECT_PROTECTION] = OperationSpec(self.set_object_protection, params=2)
        add[Operation.GET_DEVICE_PROP_DESC] = OperationSpec(self.get_property_desc, params=1)
        add[Operation.GET_DEVICE_PROP_VALUE] = OperationSpec(self.get_property_value, params=1)
        add[Operation.SET_DEVICE_PROP_VALUE] = OperationSpec(self.set_property_value, params=1, takes_data=True)
        add[Operation.GET_PARTIAL_OBJECT] = OperationSpec(self.get_partial_object, params=3)

    def get_device_info(self, _: Request) -> Reply:
        """Answer GetDeviceInfo."""
        return Reply(data=self.describe().encode())

    def get_storage_ids(self, _: Request) -> Reply:
        """Answer GetStorageIDs."""
        return Reply(data=array32([CARD_ID] if self.body.has_card else []))

    def get_storage_info(self, request: Request) -> Reply:
        """Answer GetStorageInfo."""
        if request.params[0] != CARD_ID:
            return Reply(Response.INVALID_STORAGE_ID)
        if not self.body.has_card:
            return Reply(Response.STORE_NOT_AVAILABLE)
        info = self.body.card.storage_info(self.body.free_bytes, self.body.picture_bytes)
        return Reply(data=info.encode())

    def select(self, request: Request) -> list[int] | Response:
        """Return the handles that GetObjectHandles asks for, or why not."""
        storage, kind, parent = request.params[:3]
        if storage not in (CARD_ID, ANY_HANDLE):
            return Response.INVALID_STORAGE_ID
        listed = self.body.card.on_card() if self.body.has_card else []
        if parent == ANY_HANDLE:
            listed = [stored for stored in listed if stored.info.parent == 0]
        elif parent:
            folder = self.body.card.find(parent)
            if folder is None:
                return Response.INVALID_OBJECT_HANDLE
            if folder.info.format != Format.ASSOCIATION:
                return Response.INVALID_PARENT_OBJECT
            listed = [stored for stored in listed if stored.info.parent == parent]
        if kind:
            listed = [stored for stored in listed if stored.info.format == kind]
        return [stored.handle for stored in listed]

    def get_num_objects(self, request: Request) -> Reply:
        """Answer GetNumObjects."""
        chosen = self.select(request)
        return Reply(chosen) if isinstance(chosen, Response) else Reply(params=(len(chosen),))

    def get_object_handles(self, request: Request) -> Reply:
        """Answer GetObjectHandles."""
        chosen = self.select(request)
        return Reply(chosen) if isinstance(chosen, Response) else Reply(data=array32(chosen))

    def find(self, handle: int) -> StoredObject | None:
        """Return the object that a handle means in this dialect."""
        return self.body.find(handle)

    def was_read(self, handle: int) -> None:
        """An object was read to its end."""

    def get_object_info(self, request: Request) -> Reply:
        """Answer GetObjectInfo."""
        stored = self.find(request.params[0])
        if stored is None:
            return Reply(Response.INVALID_OBJECT_HANDLE)
        return Reply(data=stored.info.encode())

    def get_object(self, request: Request) -> Reply:
        """Answer GetObject."""
        stored = self.find(request.params[0])
        if stored is None or not stored.is_file:
            return Reply(Response.INVALID_OBJECT_HANDLE)
        data = stored.read(0, stored.stored_bytes)
        self.was_read(request.params[0])
        return Reply(data=data, paced=True)

    def get_partial_object(self, request: Request) -> Reply:
        """Answer GetPartialObject(handle, offset, most bytes); the response tells how many came."""
        handle, offset, most = request.params[:3]
        stored = self.find(handle)
        if stored is None or not stored.is_file:
            return Reply(Response.INVALID_OBJECT_HANDLE)
        if offset > stored.stored_bytes:
            return Reply(Response.INVALID_PARAMETER)
        data = stored.read(offset, most)
        if offset + len(data) >= stored.stored_bytes:
            self.was_read(handle)
        return Reply(params=(len(data),), data=data, paced=True)

    def get_thumb(self, request: Request) -> Reply:
        """Answer GetThumb."""
        stored = self.find(request.params[0])
        if stored is None:
            return Reply(Response.INVALID_OBJECT_HANDLE)
        return Reply(data=stored.thumb) if stored.thumb else Reply(Response.NO_THUMBNAIL_PRESENT)

    def delete_object(self, request: Request) -> Reply:
        """Answer DeleteObject(handle or all, format)."""
        handle, kind = request.params[:2]
        if kind:
            return Reply(Response.SPECIFICATION_BY_FORMAT_UNSUPPORTED)
        if handle == ANY_HANDLE:
            doomed = [stored for stored in self.body.card.on_card() if stored.is_file]
        else:
            found = self.find(handle)
            if found is None:
                return Reply(Response.INVALID_OBJECT_HANDLE)
            doomed = [found]
        if any(stored.info.protected for stored in doomed):
            return Reply(Response.OBJECT_WRITE_PROTECTED)
        for stored in doomed:
            self.body.card.delete(stored.handle)
        return Reply()

    def set_object_protection(self, request: Request) -> Reply:
        """Answer SetObjectProtection(handle, 0 or 1)."""
        handle, status = request.params[:2]
        stored = self.body.card.find(handle)
        if stored is None:
            return Reply(Response.INVALID_OBJECT_HANDLE)
        if status not in (0, 1):
            return Reply(Response.INVALID_PARAMETER)
        self.body.card.replace_info(handle, replace(stored.info, protected=status == 1))
        return Reply()

    def get_property_desc(self, request: Request) -> Reply:
        """Answer GetDevicePropDesc."""
        desc = self.table.desc(request.params[0])
        return Reply(data=desc.encode()) if desc else Reply(Response.DEVICE_PROP_NOT_SUPPORTED)

    def get_property_value(self, request: Request) -> Reply:
        """Answer GetDevicePropValue."""
        desc = self.table.desc(request.params[0])
        return Reply(data=desc.encode_current()) if desc else Reply(Response.DEVICE_PROP_NOT_SUPPORTED)

    def set_property_value(self, request: Request) -> Reply:
        """Answer SetDevicePropValue."""
        return Reply(self.table.put_bytes(request.params[0], request.data))

    def initiate_capture(self, request: Request) -> Reply:
        """Answer InitiateCapture(store or any, format or any); events follow."""
        storage, kind = request.params[:2]
        if storage not in (0, CARD_ID, ANY_HANDLE):
            return Reply(Response.STORE_NOT_AVAILABLE)
        if kind not in (0, Format.DNG, Format.EXIF_JPEG):
            return Reply(Response.INVALID_OBJECT_FORMAT_CODE)
        return Reply(self.body.release(request.transaction))
