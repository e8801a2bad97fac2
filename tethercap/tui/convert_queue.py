"""Converts a roll's frames one after the other in a worker process, and says how far it is."""

import threading
import time
from collections.abc import Callable, Sequence
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field

from tethercap.batch.job import ConversionJob, ConversionResult
from tethercap.batch.pools import stand_back
from tethercap.batch.sturdy import SturdyPool
from tethercap.batch.work import convert_file
from tethercap.convert.recipe import Recipe
from tethercap.errors import TethercapError
from tethercap.geometry import QuadPx
from tethercap.roll.folder import Roll
from tethercap.roll.metadata import positive_properties
from tethercap.tui.roll_cards import FrameCard


@dataclass(frozen=True, slots=True)
class QueueState:
    """How far the queue is."""

    done: int = 0
    total: int = 0
    now: str = ""
    """Frame under way."""
    seconds_each: float | None = None
    failures: tuple[str, ...] = field(default=())
    is_running: bool = False

    @property
    def seconds_left(self) -> float | None:
        """Time to the end; None before the first is done."""
        return None if self.seconds_each is None else self.seconds_each * (self.total - self.done)


def corners_of(card: FrameCard) -> QuadPx | None:
    """Frame corners that the check found in the RAW, if it did."""
    take = card.shown_take
    if take is None or take.filed.corners_px is None or len(take.filed.corners_px) != 4:
        return None
    return QuadPx.from_array(take.filed.corners_px)


def job_for(roll: Roll, card: FrameCard, recipe: Recipe) -> ConversionJob | None:
    """Describe the conversion of a frame's chosen take; None where it has none."""
    take = card.shown_take
    if take is None or card.raw is None:
        return None
    return ConversionJob(
        raw_path=card.raw,
        film_kind=roll.setup.film_kind,
        positive_path=roll.positive_path(card.key, take.number),
        proof_path=roll.proof_path(card.key, take.number),
        recipe=recipe,
        corners=corners_of(card),
        find_frame=True,
        properties=positive_properties(roll.setup, card.frame.frame_id, take),
    )


class ConvertQueue:
    """Converts frames in order; one at a time, at low priority.

    Parameters
    ----------
    roll : Roll
        Open; positives are noted in its record.
    on_change : callable
        Given each `QueueState`, in the queue's thread.
    """

    def __init__(self, roll: Roll, on_change: Callable[[QueueState], None]) -> None:
        self._roll, self._on_change = roll, on_change
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None
        self.state = QueueState()

    def start(self, cards: Sequence[FrameCard], recipe: Recipe) -> None:
        """Begin; does nothing while a run is under way."""
        if self.state.is_running:
            return
        work = [(card, job) for card in cards if (job := job_for(self._roll, card, recipe)) is not None]
        self._stopping.clear()
        self.state = QueueState(total=len(work), is_running=True)
        self._thread = threading.Thread(target=self._run, args=(work, recipe), name="convert queue", daemon=False)
        self._thread.start()

    def stop(self) -> None:
        """End after the frame under way, and wait for it."""
        self._stopping.set()
        if self._thread is not None:
            self._thread.join()

    def _run(self, work: Sequence[tuple[FrameCard, ConversionJob]], recipe: Recipe) -> None:
        began_s = time.monotonic()
        failures: list[str] = []
        done = 0
        try:
            with SturdyPool(stand_back) as pool:
                for done, (card, job) in enumerate(work):
                    if self._stopping.is_set():
                        break
                    each = (time.monotonic() - began_s) / done if done else None
                    self._say(QueueState(done, len(work), card.key, each, tuple(failures), is_running=True))
                    try:
                        self._note(card, pool.submit(convert_file, job).result(), recipe)
                    except (TethercapError, OSError, BrokenProcessPool) as error:
                        failures.append(f"frame {card.key}: {error}")
                else:
                    done = len(work)
        except Exception as error:  # a mistake in the program must end the queue, not leave it running for ever
            failures.append(f"{type(error).__name__}: {error}")
        finally:
            self._say(QueueState(done, len(work), "", self.state.seconds_each, tuple(failures)))

    def _note(self, card: FrameCard, result: ConversionResult, recipe: Recipe) -> None:
        take = card.shown_take
        if take is not None and result.positive is not None:
            self._roll.note_positive(
                card.key,
                take.number,
                result.positive,
                result.proof,
                recipe=recipe.id,
                steps=[{"step": name, **parameters} for name, parameters in result.steps],
                warnings=result.warnings,
            )

    def _say(self, state: QueueState) -> None:
        self.state = state
        self._on_change(state)
