"""Conversions under way: handed to workers when a frame is filed, noted in the roll when they are done."""

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future
from pathlib import Path
from typing import Protocol

from tethercap.check.findings import RawFindings
from tethercap.errors import TethercapError
from tethercap.roll.folder import FiledTake
from tethercap.session import events
from tethercap.session.desk import Desk


class Converted(Protocol):
    """What a converter gives back."""

    @property
    def positive(self) -> Path:
        """The finished picture."""
        ...

    @property
    def proof(self) -> Path:
        """A small JPEG of it."""
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


Converter = Callable[[FiledTake, RawFindings], "Future[Converted]"]


class Conversions:
    """The pictures that are with the converter."""

    def __init__(self, desk: Desk, convert: Converter | None) -> None:
        self._desk, self._convert = desk, convert
        self._under_way: list[tuple[FiledTake, Future[Converted]]] = []

    def start(self, filed: FiledTake, findings: RawFindings) -> None:
        """Hand an accepted picture to a worker."""
        if self._convert is not None:
            self._under_way.append((filed, self._convert(filed, findings)))
            self._desk.conversions_waiting = len(self._under_way)

    def collect(self) -> None:
        """Note what is done; never waits."""
        for entry in [entry for entry in self._under_way if entry[1].done()]:
            self._under_way.remove(entry)
            self._note(*entry)

    def finish(self) -> None:
        """Wait for all of them."""
        while self._under_way:
            self._note(*self._under_way.pop(0))

    def _note(self, filed: FiledTake, future: "Future[Converted]") -> None:
        desk = self._desk
        desk.conversions_waiting = len(self._under_way)
        try:
            done = future.result()
            desk.roll.note_positive(
                filed.frame_id,
                filed.take,
                done.positive,
                done.proof,
                recipe=done.recipe,
                steps=[{"step": name, **parameters} for name, parameters in done.steps],
                base=done.base,
                warnings=done.warnings,
                positive_sha256=done.positive_sha256,
                proof_sha256=done.proof_sha256,
            )
        except TethercapError as error:
            desk.emit(events.ConversionFailed(filed.frame_id, filed.take, error))
        except Exception as error:  # a converter that died must not end the roll
            failure = TethercapError(
                f"The converter ended: {error}.", safe="The RAW is safe.", todo="Convert it again later."
            )
            desk.emit(events.ConversionFailed(filed.frame_id, filed.take, failure))
        else:
            desk.emit(events.PositiveMade(filed.frame_id, filed.take, done.positive, done.proof, done.seconds))
        desk.refresh()
