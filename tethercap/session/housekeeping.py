"""What the person should know before the next shot: room on disks and card, battery, the second copy."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from tethercap.errors import StorageError
from tethercap.exposure.settings import Setting, SettingState
from tethercap.geometry import SizePx
from tethercap.session import events
from tethercap.session.desk import Desk

_BYTES_A_PIXEL = 7
"""Of a positive, 16 bits a channel, and its proof."""
_FRAMES_A_STRIP = 6
"""Asked for where nobody said how many frames the roll has."""
_SAY_EACH_TIME_BELOW = 7
"""Frames that fit; with so few left the person hears of it after every shot."""
_LOW_BATTERY_PERCENT = (20.0, 10.0, 5.0)
"""Below each of these the person hears of it."""


@dataclass(slots=True)
class Housekeeping:
    """Looks after each shot and whenever the camera tells what it has left, and says what is new."""

    desk: Desk
    _said: set[str] = field(default_factory=set)
    _raw_bytes: int = 0
    """Size of one picture as it comes from the camera; 0 before one was seen."""
    _picture: SizePx | None = None

    def look(self, raw_bytes: int, picture: SizePx | None) -> None:
        """Look at the disks and tell.

        Parameters
        ----------
        raw_bytes : int
            Size of one picture as it comes from the camera.
        picture : SizePx or None
            Size of its positive, where one will be made.
        """
        self._raw_bytes, self._picture = raw_bytes, picture
        self._tell(self._of_the_roll(raw_bytes))

    def supplies(self, states: Mapping[Setting, SettingState], card_free_bytes: int | None) -> None:
        """Take in what the camera has left, and tell what will not do for the frames to come.

        Parameters
        ----------
        states : mapping
            Battery and pictures left, as far as the camera tells.
        card_free_bytes : int or None
            None where the camera does not tell.
        """
        desk = self.desk
        if any(desk.settings.get(setting) != state for setting, state in states.items()):
            desk.settings |= states
            desk.emit(events.SettingsRead(dict(desk.settings)))
            desk.refresh()
        raw_bytes = self._raw_bytes or self._known_raw_bytes()
        self._tell(self._of_the_battery(states.get(Setting.BATTERY)))
        self._tell(self._of_the_card(states.get(Setting.SHOTS_LEFT), card_free_bytes, raw_bytes))
        if raw_bytes:
            self._tell(self._of_the_roll(raw_bytes))

    def _tell(self, sentences: Iterable[tuple[str, str]]) -> None:
        for key, sentence in sentences:
            if key not in self._said:
                self._said.add(key)
                self.desk.emit(events.Advised(sentence))

    def _known_raw_bytes(self) -> int:
        """Size of a picture that an earlier run took."""
        takes = (take for frame in self.desk.roll.frames.values() for take in frame.takes)
        return max((take.filed.size_bytes for take in takes), default=0)

    def _of_the_battery(self, battery: SettingState | None) -> Iterator[tuple[str, str]]:
        percent = battery.value.number if battery is not None else None
        passed = [limit for limit in _LOW_BATTERY_PERCENT if percent is not None and percent < limit]
        if passed:
            sentence = (
                f"The camera's battery stands at {percent:.0f} %: change it between two strips, or use the mains."
            )
            yield f"battery below {passed[-1]:.0f}", sentence

    def _of_the_card(
        self, shots_left: SettingState | None, free_bytes: int | None, raw_bytes: int
    ) -> Iterator[tuple[str, str]]:
        pictures = shots_left.value.number if shots_left is not None else None
        if pictures is None:
            if free_bytes is None or not raw_bytes:
                return
            pictures = free_bytes // raw_bytes
        frames = self._frames_left()
        if pictures < frames:
            key = f"{pictures:.0f}" if pictures < _SAY_EACH_TIME_BELOW else "some"
            room = f"The camera's card has room for {pictures:.0f} of {frames} more pictures"
            yield f"card for {key}", f"{room}: change it between two strips."

    def _of_the_roll(self, raw_bytes: int) -> Iterator[tuple[str, str]]:
        roll = self.desk.roll
        for trouble in roll.take_troubles():
            yield str(trouble), f"{trouble} Opening the roll again puts that right."
        copy = roll.mirror_status
        if copy is not None and copy.error is not None:
            yield copy.error.what, f"The second copy waits, the roll goes on: {copy.error}"
        picture = self._picture
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
