"""Strips: which one is in the holder, how it lies, and which number its frames begin with."""

from dataclasses import dataclass
from typing import Literal

from tethercap.errors import RollNameError
from tethercap.roll.names import FrameId
from tethercap.session import events
from tethercap.session.desk import Desk
from tethercap.session.events import Signal
from tethercap.watch.sighting import Sighting


@dataclass(frozen=True, slots=True)
class Lay:
    """How a person says that a strip lies; None where nothing was said."""

    numbers_run: Literal[1, -1] | None = None
    """-1 where the strip was put in with its last frame first, seen from how the roll runs otherwise."""
    mirrored: bool | None = None
    """The emulsion side is up where it is down otherwise, or the other way round."""
    first: str | None = None
    """Number of the frame in the gate, or of the one that comes first."""


class Strips:
    """The strip in the holder. What is said of one holds until the holder was empty; then the roll's own way counts.

    Parameters
    ----------
    desk : Desk
    """

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self.is_in = desk.roll.strip_is_in
        """A strip is in the holder, as far as known: a run that was cut off left it there."""
        self._asked: Lay | None = None
        self._other_for = 0
        """Live pictures in a row that speak for the other state of the holder."""

    def note(self, sighting: Sighting) -> None:
        """Tell strips apart: by film at rest for a moment, since film that is being fed in comes and goes; and by bare
        light, in which there is nothing to measure movement or rest by.
        """
        present, still = sighting.film_present, sighting.motion is not None and sighting.motion.still
        if present is None or present is self.is_in or (present and not still):
            self._other_for = 0
            return
        self._other_for += 1
        if self._other_for >= self._desk.options.strip_after_pictures:
            (self.begin if present else self._end)()

    def lay(self, lay: Lay) -> None:
        """Take note of how the strip in the holder lies, or, where it is empty, the one that comes next.

        Raises
        ------
        RollNameError
            If `lay.first` is no frame number.
        StorageError
        """
        first = None if lay.first is None else str(FrameId.parse(lay.first))
        lay = Lay(lay.numbers_run, lay.mirrored, first)
        if self.is_in:
            self._write(lay, again=True)
        else:
            self._asked = lay
            if first is not None:
                self._desk.book.numbering.go_to(first)
                self._desk.number_moved()

    def begin(self) -> None:
        """Begin a strip."""
        asked, self._asked = self._asked or Lay(), None
        self.is_in, self._other_for = True, 0
        self._write(asked, again=False)

    def _write(self, lay: Lay, *, again: bool) -> None:
        desk, book = self._desk, self._desk.book
        is_new = not again or book.filed_on_strip == 0
        run = lay.numbers_run or (desk.roll.numbers_run if again else desk.roll.setup.numbers_run)
        turned = run != book.numbering.numbers_run
        first = lay.first or (self._far_end(run) if turned and is_new else book.frame_id)
        strip = book.strip if again else book.strip + 1
        with desk.bearing_storage():
            strip = desk.roll.start_strip(first=first, numbers_run=lay.numbers_run, mirrored=lay.mirrored, again=again)
        if again:
            book.strip = strip
        else:
            book.start_strip(strip)
        book.numbering.numbers_run = run
        if first != book.frame_id:
            book.numbering.go_to(first)
            desk.number_moved()
        desk.emit(events.StripStarted(strip, run, desk.roll.mirrored))
        desk.refresh()

    def _far_end(self, run: Literal[1, -1]) -> str:
        """Number that a full strip begins with when it is put in the other way round."""
        book, setup = self._desk.book, self._desk.roll.setup
        steps = -run * (self._desk.watcher.film_format.frames_per_strip - 1)
        try:
            return str(FrameId.parse(book.frame_id).next(steps, by_halves=setup.by_halves))
        except RollNameError:
            return book.frame_id

    def _end(self) -> None:
        desk, book = self._desk, self._desk.book
        self.is_in, self._other_for = False, 0
        if book.failed_in_a_row:
            desk.leave_open()
        desk.taken_here = False
        with desk.bearing_storage():
            desk.roll.end_strip()
        if book.numbering.numbers_run != desk.roll.numbers_run:
            book.numbering.numbers_run = desk.roll.numbers_run
            book.numbering.go_to(str(desk.roll.next_frame_id()))
            desk.number_moved()
        desk.emit(events.StripEnded(book.strip, book.filed_on_strip))
        if book.filed_on_strip:
            desk.emit(events.Signalled(Signal.STRIP_DONE))
