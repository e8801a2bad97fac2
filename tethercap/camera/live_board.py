"""Shared memory of the camera process and the program: live pictures, pieces of files, what the driver is doing.

Plain memory and sequence numbers, no locks: a process that is killed while it holds a lock leaves it held for ever, and
either side may be killed at any moment. The memory has no name, so nothing is left behind.
"""

import ctypes
import struct
from multiprocessing.context import SpawnContext
from typing import Any

from tethercap.pictures import LiveJpeg

SLOTS = 4
"""A reader has as long as three further pictures take, about 0.1 s, to copy one."""
SLOT_BYTES = 2 << 20
"""Live pictures are 50 to 500 kB; a larger one is dropped and counted."""
PIECE_SLOTS = 4
PIECE_BYTES = 1 << 20
"""Bodies are known to dislike reading more than this at once."""

_NEWEST = struct.Struct("=q")
_PICTURE = struct.Struct("=qqd")
_DOING = struct.Struct("=dd48s")
_DOING_AT = 64
_PICTURES_AT = 256
_PICTURE_STEP = 64 + SLOT_BYTES
_PIECES_AT = _PICTURES_AT + SLOTS * _PICTURE_STEP
BOARD_BYTES = _PIECES_AT + PIECE_SLOTS * PIECE_BYTES


def make_shared(context: SpawnContext) -> Any:
    """Return memory that can be handed to a spawned process as an argument."""
    return context.RawArray(ctypes.c_ubyte, BOARD_BYTES)


class LiveBoard:
    """Both sides' view of the shared memory.

    Parameters
    ----------
    shared
        What `make_shared` returned.
    """

    def __init__(self, shared: Any) -> None:
        self._memory = memoryview(shared).cast("B")
        self.too_large = 0
        """Pictures that did not fit."""

    def clear(self) -> None:
        """Forget every picture; the camera process does it once, before the first."""
        _NEWEST.pack_into(self._memory, 0, -1)
        for slot in range(SLOTS):
            _PICTURE.pack_into(self._memory, _PICTURES_AT + slot * _PICTURE_STEP, -1, 0, 0.0)
        self.idle()

    def release(self) -> None:
        """Give the memory back; no other method may be called after it."""
        self._memory.release()

    # Pictures

    def publish(self, sequence: int, taken_at_s: float, jpeg: bytes | memoryview) -> None:
        """Put a picture up; the oldest is overwritten."""
        if len(jpeg) > SLOT_BYTES:
            self.too_large += 1
            return
        at = _PICTURES_AT + sequence % SLOTS * _PICTURE_STEP
        _PICTURE.pack_into(self._memory, at, -1, 0, 0.0)
        self._memory[at + 64 : at + 64 + len(jpeg)] = jpeg
        _PICTURE.pack_into(self._memory, at, sequence, len(jpeg), taken_at_s)
        _NEWEST.pack_into(self._memory, 0, sequence)

    def newest(self, after_sequence: int = -1) -> LiveJpeg | None:
        """Return a copy of the newest picture with a sequence above `after_sequence`, None if there is none."""
        for _ in range(SLOTS):
            (newest,) = _NEWEST.unpack_from(self._memory, 0)
            if newest <= after_sequence:
                return None
            at = _PICTURES_AT + newest % SLOTS * _PICTURE_STEP
            sequence, length, taken_at_s = _PICTURE.unpack_from(self._memory, at)
            jpeg = bytes(self._memory[at + 64 : at + 64 + length])
            if sequence == newest and _PICTURE.unpack_from(self._memory, at)[0] == newest:
                return LiveJpeg(jpeg, taken_at_s, sequence)
        return None

    # Pieces

    def piece(self, slot: int) -> memoryview:
        """Return the memory of a piece, writable."""
        at = _PIECES_AT + slot * PIECE_BYTES
        return self._memory[at : at + PIECE_BYTES]

    # What the driver is doing

    def busy(self, doing: str, since_s: float, deadline_s: float) -> None:
        """Note that a driver call began and when it must be over, monotonic s."""
        _DOING.pack_into(self._memory, _DOING_AT, since_s, deadline_s, doing.encode()[:47])

    def idle(self) -> None:
        """Note that no driver call is under way."""
        _DOING.pack_into(self._memory, _DOING_AT, 0.0, 0.0, b"")

    def doing(self) -> tuple[str, float, float] | None:
        """Return (what, since, until) of the driver call under way, monotonic s; None if there is none."""
        since_s, deadline_s, text = _DOING.unpack_from(self._memory, _DOING_AT)
        return (text.rstrip(b"\0").decode(errors="replace"), since_s, deadline_s) if since_s else None
