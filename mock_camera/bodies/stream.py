"""A body that speaks version 1.1 of the standard: live view as a video stream of pictures.

GetStreamInfo and GetStream (ISO 15740:2008 from memory; layout of the StreamInfo dataset as
public implementations read it); properties 0x5020 and 0x5021.
"""

from __future__ import annotations

from mock_camera.bodies.common import OperationSpec, Reply, Request
from mock_camera.bodies.standard import StandardBody
from mock_camera.codes import DataType, Operation, Property, Response
from mock_camera.datasets import Value
from mock_camera.fields import u32, u64

VIDEO = 1
_LARGEST_FRAME_BYTES = 1 << 20


class StreamBody(StandardBody):
    """The standard body with a video stream."""

    model = "Copy Body T"

    def add_operations(self) -> None:
        """Add the stream to the standard body's operations."""
        super().add_operations()
        self._enabled = 0
        self.operations[Operation.GET_STREAM_INFO] = OperationSpec(self.get_stream_info, params=1)
        self.operations[Operation.GET_STREAM] = OperationSpec(self.get_stream)

    def add_properties(self) -> None:
        """Add the stream's two properties."""
        super().add_properties()
        self.table.add_state(Property.SUPPORTED_STREAMS, DataType.UINT32, lambda: VIDEO)
        self.table.add_state(
            Property.ENABLED_STREAMS, DataType.UINT32, lambda: self._enabled, self._put_enabled, (0, VIDEO)
        )

    def _put_enabled(self, wanted: Value) -> int:
        if self.body.faults.standing("no-live-view"):
            return Response.ACCESS_DENIED
        self._enabled = int(wanted)
        return Response.OK

    def get_stream_info(self, request: Request) -> Reply:
        """Answer GetStreamInfo(stream)."""
        if request.params[0] != VIDEO:
            return Reply(Response.INVALID_PARAMETER)
        fields = (0, _LARGEST_FRAME_BYTES, 0, _LARGEST_FRAME_BYTES, 1)
        # Dataset size, then the duration of one tick: milliseconds are counted.
        return Reply(data=u64(36) + u64(1000) + b"".join(u32(n) for n in fields))

    def get_stream(self, _: Request) -> Reply:
        """Answer GetStream with the newest picture."""
        if not self._enabled:
            return Reply(Response.ACCESS_DENIED)
        jpeg = self.body.live_view()
        return Reply(Response.DEVICE_BUSY) if jpeg is None else Reply(data=jpeg)

    def end_session(self) -> None:
        """Switch the stream off."""
        self._enabled = 0
