"""The run's own book-keeping: numbers, marks, strips, pace. What must survive a crash is in the roll's record."""

from collections import deque
from dataclasses import dataclass, field

from tethercap.errors import RollNameError
from tethercap.roll.folder import Roll
from tethercap.session.events import FrameFiled
from tethercap.session.numbering import Numbering
from tethercap.session.shot import Shot, WaitingFile
from tethercap.session.snapshot import FrameMark

_PACE_OVER_FRAMES = 6
"""Pace is taken over a strip's worth of frames."""


@dataclass(slots=True)
class Book:
    """Counts and marks of one run."""

    numbering: Numbering
    marks: dict[str, FrameMark] = field(default_factory=dict)
    strip: int = 0
    filed_now: int = 0
    """Accepted pictures since the run began."""
    filed_on_strip: int = 0
    failed_in_a_row: int = 0
    """Takes of the frame in hand that were not good enough, the film not having gone on since."""
    last_filed: FrameFiled | None = None
    unpulled: Shot | None = None
    """A shot whose picture could not be stored; it can be pulled again."""
    waiting_files: list[WaitingFile] = field(default_factory=list)
    _filed_at_s: deque[float] = field(default_factory=lambda: deque(maxlen=_PACE_OVER_FRAMES + 1))

    @classmethod
    def from_roll(cls, roll: Roll) -> "Book":
        """Take up the numbers and marks that the roll's record holds."""
        try:
            current = str(roll.next_frame_id())
        except RollNameError:  # the numbers ran off the end of the film: a person says what comes next
            current = str(roll.last_taken or roll.setup.first)
        book = cls(Numbering(current, roll.numbers_run, roll.setup.by_halves))
        book.strip = roll.strip
        book.marks = {frame_id: FrameMark(mark) for frame_id, mark in roll.marks().items()}
        return book

    @property
    def frame_id(self) -> str:
        """Frame the next picture belongs to."""
        return self.numbering.current

    @property
    def frames_per_minute(self) -> float | None:
        """Pace over the last frames filed; None before the second."""
        if len(self._filed_at_s) < 2:
            return None
        span_s = self._filed_at_s[-1] - self._filed_at_s[0]
        return 60 * (len(self._filed_at_s) - 1) / span_s if span_s > 0 else None

    def start_strip(self, strip: int) -> None:
        """Take note of a strip that came into the holder, by its number in the roll."""
        self.strip = strip
        self.filed_on_strip = 0

    def filed(self, frame_id: str, *, forced: bool, at_s: float) -> None:
        """Note an accepted picture and go on to the next number, unless it is one more of a frame before."""
        self.marks[frame_id] = FrameMark.FORCED if forced else FrameMark.TAKEN
        if frame_id != self.frame_id:
            return
        self.filed_now += 1
        self.filed_on_strip += 1
        self.failed_in_a_row = 0
        self._filed_at_s.append(at_s)
        self.numbering.done()

    def failed(self, frame_id: str) -> None:
        """Note a take that was not good enough; the number stays."""
        if frame_id == self.frame_id:
            self.marks[frame_id] = FrameMark.HELD
            self.failed_in_a_row += 1

    def leave_open(self) -> str:
        """Go on to the next number although this frame has no good take; return the frame left open."""
        left = self.frame_id
        self.failed_in_a_row = 0
        self.numbering.done()
        return left

    def passed_over(self, *, blank: bool) -> str:
        """Note a frame that will not be taken; return it."""
        passed = self.frame_id
        self.marks[passed] = FrameMark.BLANK if blank else FrameMark.SKIPPED
        self.failed_in_a_row = 0
        self.numbering.done()
        return passed
