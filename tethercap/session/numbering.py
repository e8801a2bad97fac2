"""Which number the next picture gets."""

from contextlib import suppress
from dataclasses import dataclass
from typing import Literal

from tethercap.errors import RollNameError
from tethercap.roll.names import FrameId


@dataclass(slots=True)
class Numbering:
    """The frame in hand, and where to go after it.

    Parameters
    ----------
    current : str
        Frame the next picture belongs to.
    numbers_run : 1 or -1
        +1 where the numbers rise as the film is pulled, -1 where they fall.
    by_halves : bool
        Count 1, 1A, 2, 2A ... as on half frames.
    """

    current: str
    numbers_run: Literal[1, -1] = 1
    by_halves: bool = False
    _back_to: str | None = None

    def done(self) -> str:
        """Leave the current frame behind; return the next one.

        Where the numbers run off the end of the film the current one stays: a picture taken now becomes another take of
        it, until a person says which number comes next.
        """
        if self._back_to is not None:
            self.current, self._back_to = self._back_to, None
        else:
            with suppress(RollNameError):
                self.current = str(FrameId.parse(self.current).next(self.numbers_run, by_halves=self.by_halves))
        return self.current

    def go_to(self, frame_id: str) -> str:
        """Go on from another frame.

        Raises
        ------
        RollNameError
            If `frame_id` is no frame number.
        """
        self.current, self._back_to = str(FrameId.parse(frame_id)), None
        return self.current

    def visit(self, frame_id: str) -> str:
        """Take one frame again, then come back.

        Raises
        ------
        RollNameError
            If `frame_id` is no frame number.
        """
        wanted = str(FrameId.parse(frame_id))
        if wanted != self.current:
            self.current, self._back_to = wanted, self._back_to or self.current
        return self.current
