"""What a roll's record adds up to: frames, takes, numbering, and the sums of all files. Values only."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Final, Literal

import msgspec

from tethercap.errors import RollNameError
from tethercap.roll.lines import (
    Blank,
    Companion,
    Converted,
    Described,
    Describing,
    Filed,
    Line,
    LineBody,
    Made,
    NextFrame,
    Picked,
    Renumbered,
    Renumbering,
    RenumberingParked,
    Reopened,
    SetAside,
    SheetMade,
    Skipped,
    StripEnded,
    StripStarted,
    Withdrawn,
)
from tethercap.roll.names import FrameId, check_path
from tethercap.roll.setup import RollSetup

SIDECAR_SUFFIX: Final = ".xmp"


def sidecar_of(file: str) -> str:
    """Path of the sidecar that belongs to a RAW's path."""
    return file.rpartition(".")[0] + SIDECAR_SUFFIX


class FrameStatus(StrEnum):
    """Where a frame stands."""

    OPEN = "open"
    TAKEN = "taken"
    FORCED = "forced"
    """Taken although the verdict was to hold."""
    HELD = "held"
    """Has pictures, none of them accepted."""
    BLANK = "blank"
    SKIPPED = "skipped"


@dataclass(frozen=True, slots=True)
class TakeRecord:
    """One picture of a frame."""

    number: int
    filed_at: str
    """UTC, ISO 8601."""
    filed: Filed
    converted: Converted | None = None
    """The last positive made of it."""
    converted_at: str = ""
    """UTC, ISO 8601."""
    second: Converted | None = None
    """The last positive of the second frame, where two are in this one shot."""
    second_at: str = ""
    """UTC, ISO 8601."""
    companions: tuple[Companion, ...] = ()
    """Other files of the same shot."""
    made: tuple[Made, ...] = ()
    """Further files made of it."""

    @property
    def sidecar(self) -> str:
        """Path of the sidecar."""
        return sidecar_of(self.filed.file)


@dataclass(frozen=True, slots=True)
class FrameRecord:
    """One frame of the roll."""

    frame_id: FrameId
    takes: tuple[TakeRecord, ...] = ()
    """By number."""
    is_blank: bool = False
    skipped_why: str | None = None
    """None where it was not skipped."""
    picked: int | None = None
    """The take that a person chose."""

    @property
    def chosen(self) -> TakeRecord | None:
        """The take that stands for the frame: the one picked, else the last one accepted."""
        for take in self.takes:
            if take.number == self.picked:
                return take
        accepted = [take for take in self.takes if take.filed.accepted]
        return accepted[-1] if accepted else None

    @property
    def status(self) -> FrameStatus:
        """Where the frame stands."""
        chosen = self.chosen
        if chosen is not None:
            return FrameStatus.FORCED if chosen.filed.forced else FrameStatus.TAKEN
        if self.is_blank:
            return FrameStatus.BLANK
        if self.skipped_why is not None:
            return FrameStatus.SKIPPED
        return FrameStatus.HELD if self.takes else FrameStatus.OPEN

    @property
    def is_closed(self) -> bool:
        """Nothing more is to be taken of it."""
        return self.status not in {FrameStatus.OPEN, FrameStatus.HELD}

    def take(self, number: int) -> TakeRecord | None:
        """Give the take of that number."""
        return next((take for take in self.takes if take.number == number), None)

    def with_take(self, take: TakeRecord) -> "FrameRecord":
        """Give the frame with this take in the place of any other of its number."""
        others = [other for other in self.takes if other.number != take.number]
        return replace(self, takes=tuple(sorted((*others, take), key=lambda each: each.number)))

    def without_take(self, number: int) -> "FrameRecord":
        """Give the frame without that take."""
        return replace(self, takes=tuple(take for take in self.takes if take.number != number))


def find_picture(
    frames: Mapping[FrameId, FrameRecord], sha256: str, frame_id: FrameId, number: int
) -> tuple[FrameId, TakeRecord] | None:
    """Find a picture that may have got another number: frame and take, None where it is not in the roll any more.

    Parameters
    ----------
    frames : mapping
    sha256 : str
        Of the picture, hex.
    frame_id, number : FrameId, int
        Frame and take that it had; the same picture may be in the roll twice, and then this one is meant.
    """
    takes = ((of, take) for of in sorted(frames) for take in frames[of].takes if take.filed.sha256 == sha256)
    return min(takes, key=lambda each: (each[0], each[1].number) != (frame_id, number), default=None)


def second_id(frames: Mapping[FrameId, FrameRecord], frame_id: FrameId) -> FrameId | None:
    """Number of the second frame, where a shot of this one shows two; None also where that number is a frame's own."""
    frame, second = frames.get(frame_id), frame_id.second
    shows_two = frame is not None and any(take.second is not None for take in frame.takes)
    return second if shows_two and second not in frames else None


@dataclass(slots=True)
class RollState:
    """A roll as its record tells it; grows line by line."""

    setup: RollSetup
    frames: dict[FrameId, FrameRecord] = field(default_factory=dict)
    sums: dict[str, str] = field(default_factory=dict)
    """Path -> SHA-256 of every file the roll holds, but roll.toml, the record and the manifest."""
    aside: set[str] = field(default_factory=set)
    last_closed: FrameId | None = None
    last_taken: FrameId | None = None
    """The frame that was closed last, whatever number comes next."""
    last_view: bytes = b""
    """Live view of the frame that was closed last; empty where it is not known."""
    next_asked: FrameId | None = None
    strip: int = 0
    strip_is_in: bool = False
    """Nobody has seen the holder empty since it was put in."""
    numbers_run: Literal[1, -1] = 1
    mirrored: bool = False
    moving: Renumbering | None = None
    """A renumbering that is not finished."""
    moving_parked: bool = False
    describing: bool = False
    """Metadata no longer fits, or was being written and the end was not recorded."""

    def __post_init__(self) -> None:
        """Begin as the roll was set up."""
        self.numbers_run = self.setup.numbers_run
        self.mirrored = self.setup.mirrored

    def frame(self, frame_id: FrameId) -> FrameRecord:
        """Give the frame's record; an open one where nothing is known."""
        return self.frames.get(frame_id) or FrameRecord(frame_id)

    def take(self, frame_id: FrameId, number: int) -> TakeRecord | None:
        """Give one take, None where there is none."""
        return self.frame(frame_id).take(number)

    def takes(self) -> Iterable[TakeRecord]:
        """Give all takes of all frames, as they lie on the film."""
        return (take for frame_id in sorted(self.frames) for take in self.frames[frame_id].takes)

    def next_frame_id(self) -> FrameId:
        """Number that the next accepted picture gets.

        Raises
        ------
        RollNameError
            Where the numbers run off the end of the film.
        """
        if self.next_asked is not None:
            return self.next_asked
        candidate = self.setup.first if self.last_closed is None else self._step(self.last_closed)
        while self.frame(candidate).is_closed:
            candidate = self._step(candidate)
        return candidate

    def _step(self, frame_id: FrameId) -> FrameId:
        return frame_id.next(self.numbers_run, by_halves=self.setup.by_halves)

    def apply(self, line: Line) -> None:
        """Take one more line of the record in."""
        match line.body:
            case Filed() as filed:
                self._file(filed, line.at)
            case Companion() | Made() as further:
                self._add_further(further)
            case Converted() as converted:
                self._convert(converted, line.at)
            case Withdrawn(frame=frame, take=number, sha256=sha256):
                self._withdraw(FrameId.parse(frame), number, sha256)
            case SetAside() as moved:
                self._set_aside(moved)
            case Skipped() | Blank() | Reopened() | Picked() as change:
                self._change_frame(change)
            case NextFrame(frame=frame):
                self.next_asked = FrameId.parse(frame)
            case StripStarted() | StripEnded() as strip:
                self._note_strip(strip)
            case Renumbering() | RenumberingParked() | Renumbered() as step:
                self._renumber(step)
            case SheetMade() | Describing() | Described() as written:
                self._note_sums(written)

    def _note_sums(self, written: SheetMade | Describing | Described) -> None:
        match written:
            case SheetMade(file=file, sha256=sha256):
                self.sums[file] = sha256
            case Describing():
                self.describing = True
            case Described(sha256=sums):
                self.sums |= sums
                self.describing = False

    def _file(self, filed: Filed, at: str) -> None:
        frame_id = FrameId.parse(filed.frame)
        before = self.take(frame_id, filed.take)
        if before is not None and before.filed.sha256 != filed.sha256:
            before = None
        take = TakeRecord(filed.take, at, filed) if before is None else replace(before, filed_at=at, filed=filed)
        frame = self.frame(frame_id).with_take(take)
        self.sums[filed.file] = filed.sha256
        if filed.sidecar_sha256:
            self.sums[sidecar_of(filed.file)] = filed.sidecar_sha256
        if filed.accepted:
            frame = replace(frame, picked=None)
            self._close(frame_id, filed.view)
        self.frames[frame_id] = frame

    def _add_further(self, further: Companion | Made) -> None:
        frame_id = FrameId.parse(further.frame)
        take = self.take(frame_id, further.take)
        self.sums[further.file] = further.sha256
        if isinstance(further, Made):
            self.sums.pop(further.was, None)
        if take is None:
            return
        if isinstance(further, Made):
            take = replace(take, made=(*(o for o in take.made if o.file != further.file), further))
        else:
            take = replace(take, companions=(*(o for o in take.companions if o.file != further.file), further))
        self.frames[frame_id] = self.frame(frame_id).with_take(take)

    def _close(self, frame_id: FrameId, view: bytes) -> None:
        self.last_closed = self.last_taken = frame_id
        self.last_view = view
        self.next_asked = None

    def _convert(self, converted: Converted, at: str) -> None:
        frame_id = FrameId.parse(converted.frame)
        take = self.take(frame_id, converted.take)
        self.sums[converted.positive] = converted.positive_sha256
        if converted.proof:
            self.sums[converted.proof] = converted.proof_sha256
        if take is None:
            return
        if converted.second:
            take = replace(take, second=converted, second_at=at)
        else:
            take = replace(take, converted=converted, converted_at=at)
        self.frames[frame_id] = self.frame(frame_id).with_take(take)

    def _set_aside(self, moved: SetAside) -> None:
        self.aside.add(moved.file)
        self.sums.pop(moved.was, None)
        if moved.sha256:
            self.sums[moved.file] = moved.sha256
        if moved.frame:
            # Its line may have been written, but it never got its name.
            self._withdraw(FrameId.parse(moved.frame), moved.take, moved.sha256)

    def _withdraw(self, frame_id: FrameId, number: int, sha256: str) -> None:
        take = self.take(frame_id, number)
        if take is not None and take.filed.sha256 == sha256:
            self.frames[frame_id] = self.frame(frame_id).without_take(number)
            self.sums.pop(take.filed.file, None)
            self.sums.pop(take.sidecar, None)

    def _change_frame(self, change: Skipped | Blank | Reopened | Picked) -> None:
        frame_id = FrameId.parse(change.frame)
        frame = self.frame(frame_id)
        match change:
            case Skipped(why=why, view=view):
                frame = replace(frame, skipped_why=why)
                self._close(frame_id, view)
            case Blank(view=view):
                frame = replace(frame, is_blank=True)
                self._close(frame_id, view)
            case Reopened():
                frame = replace(frame, is_blank=False, skipped_why=None)
            case Picked(take=take):
                frame = replace(frame, picked=take)
        self.frames[frame_id] = frame

    def _note_strip(self, strip: StripStarted | StripEnded) -> None:
        if isinstance(strip, StripEnded):
            self._end_strip()
            return
        self.strip, self.strip_is_in = strip.strip, True
        self.mirrored = strip.mirrored
        self.numbers_run = strip.numbers_run
        if strip.first:
            self.next_asked = FrameId.parse(strip.first)
        elif strip.numbers_run > 0:
            self._go_on_beyond()

    def _end_strip(self) -> None:
        self.strip_is_in, self.mirrored = False, self.setup.mirrored
        if self.numbers_run != self.setup.numbers_run:
            self.numbers_run, self.next_asked = self.setup.numbers_run, None
            self._go_on_beyond()

    def _go_on_beyond(self) -> None:
        """After a strip that was put in backwards, go on after its outermost number, not after its last one."""
        closed = [frame_id for frame_id, frame in self.frames.items() if frame.is_closed]
        self.last_closed = (max if self.numbers_run > 0 else min)(closed, default=None)

    def _renumber(self, step: Renumbering | RenumberingParked | Renumbered) -> None:
        match step:
            case Renumbering():
                self._move_frames(step)
                self.moving, self.moving_parked = step, False
                self.describing = True
            case RenumberingParked():
                self.moving_parked = True
            case Renumbered():
                self.moving, self.moving_parked = None, False

    def _move_frames(self, step: Renumbering) -> None:
        new_names = {move.old: move.new for move in step.files}
        new_ids = {FrameId.parse(move.frame): FrameId.parse(move.new_frame) for move in step.frames}
        moved = [self.frames.pop(frame_id) for frame_id in new_ids if frame_id in self.frames]
        for frame in moved:
            frame_id = new_ids[frame.frame_id]
            takes = tuple(_renamed(take, str(frame_id), new_names) for take in frame.takes)
            self.frames[frame_id] = replace(frame, frame_id=frame_id, takes=takes)
        self.sums = {new_names.get(file, file): sha256 for file, sha256 in self.sums.items()}
        if self.last_closed is not None:
            self.last_closed = new_ids.get(self.last_closed, self.last_closed)
        if self.last_taken is not None:
            self.last_taken = new_ids.get(self.last_taken, self.last_taken)


def _renamed(take: TakeRecord, frame: str, new_names: dict[str, str]) -> TakeRecord:
    """Give the take under its frame's new number, with the new names of its files."""
    filed = msgspec.structs.replace(
        take.filed, frame=frame, file=new_names.get(take.filed.file, take.filed.file), waits_as=""
    )
    companions = tuple(
        msgspec.structs.replace(companion, frame=frame, file=new_names.get(companion.file, companion.file), waits_as="")
        for companion in take.companions
    )
    made = tuple(
        msgspec.structs.replace(other, frame=frame, file=new_names.get(other.file, other.file)) for other in take.made
    )
    return replace(
        take,
        filed=filed,
        converted=_renamed_positive(take.converted, frame, new_names),
        second=_renamed_positive(take.second, frame, new_names),
        companions=companions,
        made=made,
    )


def _renamed_positive(converted: Converted | None, frame: str, new_names: dict[str, str]) -> Converted | None:
    if converted is None:
        return None
    return msgspec.structs.replace(
        converted,
        frame=frame,
        positive=new_names.get(converted.positive, converted.positive),
        proof=new_names.get(converted.proof, converted.proof),
    )


def _check_paths(body: LineBody) -> None:
    """Refuse a line with a path that leads out of the roll: a roll's folder may come from anybody."""
    match body:
        case Filed(file=file, waits_as=waits_as) | Companion(file=file, waits_as=waits_as):
            paths = [file, *([waits_as] if waits_as else [])]
        case Converted(positive=positive, proof=proof):
            paths = [positive, *([proof] if proof else [])]
        case SetAside(file=file) | SheetMade(file=file) | Made(file=file):
            paths = [file]
        case Renumbering(files=files):
            paths = [path for move in files for path in (move.old, move.via, move.new)]
        case Described(sha256=sums):
            paths = list(sums)
        case _:
            paths = []
    for path in paths:
        check_path(path)


def rebuild(setup: RollSetup, lines: Iterable[Line]) -> tuple[RollState, tuple[str, ...]]:
    """Give the state that a record's lines add up to, and what was wrong with lines that had to be left out."""
    state = RollState(setup)
    troubles: list[str] = []
    for line in lines:
        try:
            _check_paths(line.body)
            state.apply(line)
        except RollNameError as error:
            troubles.append(f"entry {line.number} was left out: {error.what}")
    return state, tuple(troubles)
