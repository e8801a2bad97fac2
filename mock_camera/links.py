"""A socket that carries PTP/IP packets.

The driver's socket delays small packets (Nagle); acknowledging at once after every receive spares
it about 40 ms for each operation that sends data.
"""

from __future__ import annotations

import contextlib
import select
import socket
import threading

from mock_camera.codes import PacketType
from mock_camera.fields import PacketError
from mock_camera.packets import HEADER_BYTES, Packet, decode, encode, split_header

MAX_PACKET_BYTES = 4 << 20
"""Longest packet accepted; the driver sends at most 64 KiB at once."""
_MID_PACKET_S = 3.0
_QUICKACK: int | None = getattr(socket, "TCP_QUICKACK", None)


class LinkClosedError(OSError):
    """The other side is gone, or stopped in the middle of a packet."""


class Link:
    """One connection; reading belongs to one thread, writing to any."""

    def __init__(self, sock: socket.socket) -> None:
        self._sock = sock
        self._write_lock = threading.Lock()
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._acknowledge()

    def _acknowledge(self) -> None:
        if _QUICKACK is not None:
            with contextlib.suppress(OSError):
                self._sock.setsockopt(socket.IPPROTO_TCP, _QUICKACK, 1)

    def _read(self, count: int, first_wait_s: float | None) -> bytes:
        buffer = bytearray(count)
        view, got = memoryview(buffer), 0
        wait_s = first_wait_s
        while got < count:
            try:
                self._sock.settimeout(wait_s)
                fresh = self._sock.recv_into(view[got:])
            except OSError as error:
                raise LinkClosedError(str(error)) from error
            self._acknowledge()
            if not fresh:
                raise LinkClosedError("closed by the other side")
            got += fresh
            wait_s = _MID_PACKET_S
        return bytes(buffer)

    def read(self, first_wait_s: float | None = None) -> Packet:
        """Return the next packet; wait for its first byte at most `first_wait_s` (None: for ever).

        Raises
        ------
        LinkClosedError
            If the connection ends, or stalls within a packet.
        mock_camera.packets.PacketError
            If the bytes are no packet.
        """
        length, packet_type = split_header(self._read(HEADER_BYTES, first_wait_s))
        if length > MAX_PACKET_BYTES:
            raise PacketError(f"packet of {length} bytes")
        return decode(packet_type, self._read(length, _MID_PACKET_S) if length else b"")

    def write(self, packet: Packet) -> None:
        """Send a packet.

        Raises
        ------
        LinkClosedError
            If the other side is gone or takes nothing for a while.
        """
        data = encode(packet)
        with self._write_lock:
            try:
                self._sock.settimeout(30.0)
                self._sock.sendall(data)
            except OSError as error:
                raise LinkClosedError(str(error)) from error

    def cancel_waits(self) -> bool:
        """Whether a Cancel packet has arrived and was not read yet."""
        try:
            if not select.select([self._sock], [], [], 0)[0]:
                return False
            self._sock.settimeout(0.0)
            head = self._sock.recv(HEADER_BYTES, socket.MSG_PEEK)
        except (OSError, ValueError):
            return False
        return len(head) == HEADER_BYTES and int.from_bytes(head[4:], "little") == PacketType.CANCEL

    def close(self) -> None:
        """Hang up; a thread that reads is woken."""
        with contextlib.suppress(OSError):
            self._sock.shutdown(socket.SHUT_RDWR)
        self._sock.close()
