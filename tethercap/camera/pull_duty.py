"""Pulling one file in pieces, one piece a turn, so that live view goes on in between."""

import logging
from collections.abc import Callable

from tethercap.camera.base import CameraFile
from tethercap.camera.gphoto import GPhotoCamera
from tethercap.camera.live_board import PIECE_BYTES, PIECE_SLOTS, LiveBoard
from tethercap.camera.protocol import SLOWEST_TRANSFER_BYTES_S, Piece
from tethercap.errors import CameraBusyError, CameraRefusedError, NotSupportedError

RETRIES = 4
"""A piece that is refused or comes in busy times is asked for again so often: reading does not change anything."""
RETRY_PAUSE_S = 0.1
UNKNOWN_SIZE_BYTES = 100_000_000
"""Taken for the size of a file that the camera does not tell, to know how long to wait for it."""


class PullDuty:
    """Reads one file into shared memory.

    Parameters
    ----------
    number : int
        Which pull this is.
    file : CameraFile
    content : bytes, optional
        The whole of it, if it has come over already.
    """

    def __init__(self, number: int, file: CameraFile, content: bytes | None = None) -> None:
        self.number = number
        self.key = (file.folder, file.name)
        self.credit = PIECE_SLOTS
        """Free places in shared memory."""
        self.in_memory = content is not None or file.folder == "/"
        """Whether the file lies in the body's memory, which the driver serves whole from its cache alone."""
        self.came_whole = False
        """Whether a file on the card had to be read in one go."""
        self.next_at_s = 0.0
        """Monotonic time at which the next turn is due."""
        self._file = file
        self._content = content
        self._offset = 0
        self._slot = 0
        self._retries = 0

    def turn(
        self, camera: GPhotoCamera, board: LiveBoard, now_s: Callable[[], float], *, pieces_allowed: bool
    ) -> Piece | None:
        """Read the next piece; None if it must be tried again.

        Raises
        ------
        CameraError
        """
        try:
            length = self._read(camera, board.piece(self._slot), pieces_allowed=pieces_allowed)
        except (CameraRefusedError, CameraBusyError) as error:
            self._retries += 1
            if self._retries > RETRIES:
                raise
            logging.warning("piece at %d, try %d: %s", self._offset, self._retries, error)
            self.next_at_s = now_s() + RETRY_PAUSE_S
            return None
        self._offset += length
        self._retries, self.next_at_s = 0, now_s()
        size = self._file.size_bytes if self._content is None else len(self._content)
        piece = Piece(self.number, self._slot, length, last=length == 0 or 0 < size <= self._offset)
        self._slot = (self._slot + 1) % PIECE_SLOTS
        self.credit -= 1
        return piece

    def _read(self, camera: GPhotoCamera, into: memoryview, *, pieces_allowed: bool) -> int:
        if self._content is None and pieces_allowed and not self.in_memory:
            try:
                return camera.read_piece(self._file, self._offset, into)
            except NotSupportedError:
                if self._offset:
                    raise
                self.came_whole = True
        if self._content is None:
            size = self._file.size_bytes or UNKNOWN_SIZE_BYTES
            self._content = camera.read_whole(self._file, 20.0 + size / SLOWEST_TRANSFER_BYTES_S)
        piece = self._content[self._offset : self._offset + PIECE_BYTES]
        into[: len(piece)] = piece
        return len(piece)
