"""The part of an open roll that has to do with frame numbers: what is next, what is left out, strips, picking."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal

from tethercap.errors import RollError
from tethercap.roll import renumber
from tethercap.roll.core import RollCore
from tethercap.roll.lines import Blank, NextFrame, Picked, Reopened, Skipped, StripEnded, StripStarted
from tethercap.roll.names import FrameId
from tethercap.roll.setup import RollSetup
from tethercap.roll.state import FrameRecord


class RollNumbers:
    """Numbers and marks of a roll's frames; base of `tethercap.roll.folder.Roll`."""

    _core: RollCore

    @property
    def setup(self) -> RollSetup:
        """What roll.toml says."""
        return self._core.state.setup

    @property
    def frames(self) -> Mapping[FrameId, FrameRecord]:
        """Every frame that something is known about, as they lie on the film."""
        with self._core.guard:
            frames = self._core.state.frames
            return MappingProxyType({frame_id: frames[frame_id] for frame_id in sorted(frames)})

    def marks(self) -> dict[str, str]:
        """Give each known frame's status in one word, as they lie on the film."""
        return {str(frame_id): frame.status.value for frame_id, frame in self.frames.items()}

    @property
    def strip(self) -> int:
        """Number of the present strip; 0 before the first."""
        return self._core.state.strip

    @property
    def strip_is_in(self) -> bool:
        """Whether the present strip is in the holder still, as far as the record tells."""
        return self._core.state.strip_is_in

    @property
    def mirrored(self) -> bool:
        """Whether the film lies the other way up now."""
        return self._core.state.mirrored

    @property
    def numbers_run(self) -> Literal[1, -1]:
        """1 where numbers rise from frame to frame now, -1 where they fall."""
        return self._core.state.numbers_run

    def next_frame_id(self) -> FrameId:
        """Number that the next accepted picture gets.

        Raises
        ------
        RollNameError
            Where the numbers run off the end of the film.
        """
        with self._core.guard:
            return self._core.state.next_frame_id()

    def next_take(self, frame_id: FrameId | str) -> int:
        """Number that the next picture of a frame gets among its takes, from 1."""
        with self._core.guard:
            return self._core.free_take(FrameId.parse(frame_id))

    def go_to(self, frame_id: FrameId | str) -> None:
        """Give the next picture this number, be the frame taken or not; remembered over a crash."""
        self._core.say(NextFrame(frame=str(FrameId.parse(frame_id))))

    def skip(self, frame_id: FrameId | str, why: str = "", *, view: bytes = b"") -> None:
        """Leave a frame out on purpose; `view` is what a later run may know it by."""
        self._core.say(Skipped(frame=str(FrameId.parse(frame_id)), why=why, view=view))

    def mark_blank(self, frame_id: FrameId | str, *, view: bytes = b"") -> None:
        """Note that a frame has no picture on it; `view` is what a later run may know it by."""
        self._core.say(Blank(frame=str(FrameId.parse(frame_id)), view=view))

    @property
    def last_taken(self) -> FrameId | None:
        """The frame that was filed or passed over last."""
        return self._core.state.last_taken

    @property
    def last_view(self) -> bytes:
        """Live view of the frame that was filed or passed over last; empty where it is not known."""
        return self._core.state.last_view

    def reopen(self, frame_id: FrameId | str) -> None:
        """Take back that a frame was skipped or blank."""
        self._core.say(Reopened(frame=str(FrameId.parse(frame_id))))

    def pick(self, frame_id: FrameId | str, take: int) -> None:
        """Let this take stand for its frame.

        Raises
        ------
        RollError
            If there is no such take.
        """
        frame = FrameId.parse(frame_id)
        with self._core.guard:
            if self._core.state.take(frame, take) is None:
                raise RollError(f"Frame {frame} has no take {take}.", todo="Choose one of the takes it has.")
            self._core.say(Picked(frame=str(frame), take=take))

    def start_strip(
        self,
        *,
        first: FrameId | str | None = None,
        numbers_run: Literal[1, -1] | None = None,
        mirrored: bool | None = None,
        again: bool = False,
    ) -> int:
        """Note that a strip was put in, and how it lies; return its number, counted from 1.

        Parameters
        ----------
        first : FrameId or str, optional
            Number of the frame that comes first; not given, the roll goes on after its highest number, or, where
            numbers fall, below the last one.
        numbers_run : 1 or -1, optional
            -1 where the strip was put in with its last frame first; not given, as roll.toml says.
        mirrored : bool, optional
            True where it lies with the other side up; not given, as roll.toml says.
        again : bool
            It is the strip that is in the holder already: its number stays, and so does what is not given.
        """
        with self._core.guard:
            state = self._core.state
            known = state if again else self.setup
            strip = StripStarted(
                strip=state.strip if again else state.strip + 1,
                numbers_run=known.numbers_run if numbers_run is None else numbers_run,
                mirrored=known.mirrored if mirrored is None else mirrored,
                first="" if first is None else str(FrameId.parse(first)),
            )
            self._core.say(strip)
            return strip.strip

    def end_strip(self) -> None:
        """Note that the strip was taken out. Numbers run again as roll.toml says, on from the outermost one."""
        with self._core.guard:
            self._core.say(StripEnded(strip=self._core.state.strip))

    def renumber(self, new_ids: Mapping[FrameId, FrameId]) -> None:
        """Give frames other numbers, all at once; their files are renamed, and a crash in the middle is made good.

        Raises
        ------
        RollExistsError
            If a number would be given twice.
        StorageError
            Opening the roll again finishes what was begun.
        """
        renumber.renumber(self._core, new_ids)

    def insert(self, frame_id: FrameId | str) -> None:
        """Make room for a frame that was passed over: this and all that follow without a gap move up by one.

        The next picture gets the number that became free.
        """
        frame = FrameId.parse(frame_id)
        with self._core.guard:
            renumber.renumber(self._core, renumber.moves_to_insert(self._core.state, frame))
            self.go_to(frame)
