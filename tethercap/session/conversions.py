"""Conversions under way: handed to workers when a frame is filed, put into the roll when they are done."""

from collections import deque
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import BrokenExecutor, Future
from pathlib import Path
from typing import Protocol

from tethercap.errors import TethercapError
from tethercap.roll.folder import FiledTake
from tethercap.session import events
from tethercap.session.desk import Desk


class Converted(Protocol):
    """What a converter gives back."""

    @property
    def positive(self) -> Path | None:
        """The finished picture, whole under its waiting name."""
        ...

    @property
    def proof(self) -> Path | None:
        """A small JPEG of it, likewise."""
        ...

    @property
    def further(self) -> Mapping[str, Path]:
        """What it is -> a further file that was made, likewise."""
        ...

    @property
    def further_sha256(self) -> Mapping[str, str]:
        """The same -> SHA-256, hex."""
        ...

    @property
    def seconds(self) -> float:
        """Time it took, s."""
        ...

    @property
    def recipe(self) -> str:
        """Id of the recipe."""
        ...

    @property
    def steps(self) -> Sequence[tuple[str, Mapping[str, object]]]:
        """Each step with its parameters."""
        ...

    @property
    def base(self) -> object:
        """The film base that was used."""
        ...

    @property
    def warnings(self) -> tuple[str, ...]:
        """What the person should know about the picture."""
        ...

    @property
    def positive_sha256(self) -> str:
        """SHA-256 of the finished picture, hex; made where it was written, so that live view need not wait for it."""
        ...

    @property
    def proof_sha256(self) -> str:
        """SHA-256 of the proof, hex."""
        ...


Converter = Callable[[FiledTake], "Future[Converted]"]

_MOST_TRIES = 3
"""A converting process that is ended from outside is no fault of the picture; one that ends each time is."""


class Conversions:
    """The pictures that wait for the converter. It gets one at a time, so that one that ends it is known by name."""

    def __init__(self, desk: Desk, convert: Converter | None) -> None:
        self._desk, self._convert = desk, convert
        self._waiting: deque[FiledTake] = deque()
        self._now: tuple[FiledTake, Future[Converted]] | None = None
        self._tries = 0

    def take_up(self) -> None:
        """Hand over what a run before left without a positive."""
        if self._convert is not None:
            self._waiting.extend(self._desk.roll.unfinished_conversions())
            self._begin_next()

    def start(self, filed: FiledTake) -> None:
        """Hand an accepted picture to a worker."""
        if self._convert is not None:
            self._waiting.append(filed)
            self._begin_next()

    def collect(self) -> None:
        """Note what is done; never waits."""
        while self._now is not None and self._now[1].done():
            self._note(*self._now)

    def finish(self) -> None:
        """Wait for all of them."""
        while self._now is not None:
            self._note(*self._now)

    def _begin_next(self) -> None:
        if self._now is None and self._waiting:
            filed = self._waiting.popleft()
            self._tries = 0
            self._begin(filed)
        self._desk.conversions_waiting = len(self._waiting) + (self._now is not None)

    def _begin(self, filed: FiledTake) -> None:
        assert self._convert is not None  # noqa: S101 - nothing waits without a converter
        self._tries += 1
        try:
            future = self._convert(filed)
        except Exception as error:  # no process could be started: told like any other failure
            future = Future()
            future.set_exception(error)
        self._now = filed, future

    def _note(self, filed: FiledTake, future: "Future[Converted]") -> None:
        error = future.exception()
        if isinstance(error, BrokenExecutor) and self._tries < _MOST_TRIES:
            self._begin(filed)
            return
        if error is None:
            error = self._put_positive(filed, future.result())
        self._now = None
        if error is not None:
            self._desk.emit(events.ConversionFailed(filed.frame_id, filed.take, _in_words(error)))
        self._begin_next()
        self._desk.refresh()

    def _put_positive(self, filed: FiledTake, done: Converted) -> Exception | None:
        roll = self._desk.roll
        if done.positive is None:
            return None
        try:
            for what, waiting in done.further.items():
                sha256 = done.further_sha256[what]
                roll.put_made(filed.frame_id, filed.take, waiting, what, sha256=sha256, picture_sha256=filed.sha256)
            placed = roll.put_positive(
                filed.frame_id,
                filed.take,
                done.positive,
                done.proof,
                positive_sha256=done.positive_sha256,
                proof_sha256=done.proof_sha256,
                picture_sha256=filed.sha256,
                recipe=done.recipe,
                steps=[{"step": name, **parameters} for name, parameters in done.steps],
                base=done.base,
                warnings=done.warnings,
            )
        except Exception as error:  # a positive that cannot be put into the roll must not end it
            return error
        self._desk.emit(
            events.PositiveMade(filed.frame_id, filed.take, placed.files[0], placed.files[-1], done.seconds)
        )
        return None


def _in_words(error: BaseException) -> TethercapError:
    if isinstance(error, TethercapError):
        return error
    return TethercapError(f"The converter ended: {error}.", safe="The RAW is safe.", todo="Convert it again later.")
