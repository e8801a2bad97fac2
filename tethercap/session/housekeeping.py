"""What the person should know about the disks before the next shot: room, the second copy, texts not written yet."""

from collections.abc import Iterator
from dataclasses import dataclass, field

from tethercap.errors import StorageError
from tethercap.geometry import SizePx
from tethercap.session import events
from tethercap.session.desk import Desk

_BYTES_A_PIXEL = 7
"""Of a positive, 16 bits a channel, and its proof."""
_FRAMES_A_STRIP = 6
"""Asked for where nobody said how many frames the roll has."""
_SAY_EACH_TIME_BELOW = 7
"""Frames that fit; with so few left the person hears of it after every shot."""


@dataclass(slots=True)
class Housekeeping:
    """Looks after each shot, and says what is new."""

    desk: Desk
    _said: set[str] = field(default_factory=set)

    def look(self, raw_bytes: int, picture: SizePx | None) -> None:
        """Look at the disks and tell.

        Parameters
        ----------
        raw_bytes : int
            Size of one picture as it comes from the camera.
        picture : SizePx or None
            Size of its positive, where one will be made.
        """
        for key, sentence in self._sentences(raw_bytes, picture):
            if key not in self._said:
                self._said.add(key)
                self.desk.emit(events.Advised(sentence))

    def _sentences(self, raw_bytes: int, picture: SizePx | None) -> Iterator[tuple[str, str]]:
        roll = self.desk.roll
        for trouble in roll.take_troubles():
            yield str(trouble), f"{trouble} Opening the roll again puts that right."
        copy = roll.mirror_status
        if copy is not None and copy.error is not None:
            yield copy.error.what, f"The second copy waits, the roll goes on: {copy.error}"
        result_bytes = picture.width_px * picture.height_px * _BYTES_A_PIXEL if picture is not None else 0
        try:
            room = roll.room(raw_bytes, self._frames_left(), result_bytes=result_bytes)
        except StorageError as error:
            yield error.what, str(error)
            return
        if room.sentence:
            key = str(room.frames_that_fit) if room.frames_that_fit < _SAY_EACH_TIME_BELOW else "some"
            yield f"room for {key}", room.sentence

    def _frames_left(self) -> int:
        setup = self.desk.roll.setup
        if setup.frames_expected is None:
            return _FRAMES_A_STRIP
        closed = sum(frame.is_closed for frame in self.desk.roll.frames.values())
        return max(1, setup.frames_expected - closed)
