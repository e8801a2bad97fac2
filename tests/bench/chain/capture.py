"""A capture as `tethercap capture` runs it, in a process of its own that says on its standard output what happened.

    python -m tests.bench.chain.capture ROLL PORT [--no-convert]

One JSON object a line, each written before anything else is done: a kill loses no word. A line on the standard input
ends the run after what is under way.
"""

import argparse
import json
import os
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2

from tethercap.batch.sturdy import SturdyPool
from tethercap.camera.child import ChildCamera
from tethercap.cli._wiring import Workers, open_roll, runner_maker
from tethercap.cli.sheet import make_sheet
from tethercap.errors import TethercapError
from tethercap.film.kinds import FilmKind
from tethercap.roll.setup import RollSetup
from tethercap.session import events
from tethercap.session.events import Mode, SessionEvent
from tethercap.session.options import RunnerOptions
from tethercap.session.runner import RollRunner
from tethercap.session.states import RunState

PATIENCE_S = 2.0
"""Hands-free tries again at once; so long after a failed take a person presses fire."""
MOST_FAILURES = 4
"""Of one frame, before it is forced."""
LIES_THERE_S = 1.0
"""A filed frame that lies at rest for so long without going on is spoken of."""


def say(did: str, **words: object) -> None:
    """Write one line at once."""
    os.write(1, json.dumps({"did": did, **words}).encode() + b"\n")


class Person:
    """Whoever sits at the holder: fires for a frame that hands-free leaves to them, and in the end forces it."""

    def __init__(self, fire: Callable[[], None], force: Callable[[], None]) -> None:
        self._fire, self._force = fire, force
        self._failed_at_s: float | None = None
        self._failures = 0

    def take(self, event: SessionEvent) -> None:
        """Take note of an event."""
        match event:
            case events.FrameFiled():
                self._failed_at_s = None if event.accepted else time.monotonic()
                self._failures = 0 if event.accepted else self._failures + 1
            case events.FrameHeld(sentences=sentences) if any("not taken again" in each for each in sentences):
                self._failed_at_s = time.monotonic()
            case events.Watched() if self._failed_at_s is not None and STATE[0] is RunState.SEATED:
                if time.monotonic() - self._failed_at_s > PATIENCE_S:
                    self._failed_at_s = time.monotonic()
                    (self._force if self._failures >= MOST_FAILURES else self._fire)()


class Reporter:
    """Turns events into lines."""

    def __init__(self, camera: ChildCamera, workers: Workers) -> None:
        self._camera, self._workers = camera, workers
        self._processes: dict[str, list[int]] = {}
        self._said_that_it_lies = False

    def take(self, event: SessionEvent) -> None:
        """Say what an event means; called in the runner's thread."""
        self._say_processes()
        match event:
            case events.Watched():
                self._say_that_it_lies(event)
            case events.FrameFiled():
                self._said_that_it_lies = True
                say("filed", frame=event.frame_id, take=event.take, sha256=event.sha256, accepted=event.accepted)
            case events.PositiveMade():
                say("made", frame=event.frame_id, take=event.take, seconds=event.seconds)
            case events.ConversionFailed():
                say("not made", frame=event.frame_id, error=str(event.error))
            case events.CameraTroubled() | events.StorageTroubled():
                say("trouble", error=str(event.error))
            case events.FrameHeld() | events.FireRefused():
                say("held", frame=event.frame_id, sentences=list(getattr(event, "sentences", ())))
            case events.StateChanged():
                say("state", state=event.after.value)
            case _:
                self._say_small(event)

    def _say_small(self, event: SessionEvent) -> None:
        match event:
            case events.NextFrameSet():
                say("next", frame=event.frame_id)
            case events.StripStarted() | events.StripEnded():
                say("strip", strip=event.strip, ended=isinstance(event, events.StripEnded))
            case events.CameraCameBack():
                say("back", seconds=event.after_s)

    def _say_processes(self) -> None:
        now = {
            "camera": [self._camera.process_id],
            "checker": process_ids(self._workers.checker),
            "converter": process_ids(self._workers.converter),
            "prover": process_ids(self._workers.prover),
        }
        if now != self._processes:
            self._processes = now
            say("processes", **now)

    def _say_that_it_lies(self, event: events.Watched) -> None:
        """After a start: the frame in the holder is filed already."""
        sighting = event.sighting
        if self._said_that_it_lies or sighting.motion is None or sighting.gone_on or not sighting.film_present:
            return
        if sighting.motion.still_for_s > LIES_THERE_S and STATE[0] is RunState.FILED:
            self._said_that_it_lies = True
            say("lies there")


STATE = [RunState.NO_FILM]


def process_ids(pool: SturdyPool | None) -> list[int]:
    """Worker processes of a pool now."""
    processes: dict[int, Any] | None = getattr(pool._pool, "_processes", None) if pool is not None else None
    return sorted(processes or ())


def stop_when_told(runner: RollRunner) -> None:
    """Wait for a line on the standard input."""
    sys.stdin.readline()
    runner.stop()


def capture(folder: Path, port: str, *, convert: bool) -> None:
    """Run the roll until told to stop."""
    cv2.setNumThreads(1)
    setup = RollSetup(id=folder.name, film_kind=FilmKind.COLOUR_NEGATIVE, film_format="135-36x24")
    with open_roll(folder, setup) as roll, Workers.started(convert=convert, prove=convert) as workers:
        say("opened", notes=list(roll.opening_notes), next=str(roll.next_frame_id()))
        camera = ChildCamera(port)
        try:
            reporter = Reporter(camera, workers)

            def listen(event: SessionEvent) -> None:
                if isinstance(event, events.StateChanged):
                    STATE[0] = event.after
                reporter.take(event)
                person.take(event)

            runner: RollRunner = runner_maker(camera, roll, workers, options=RunnerOptions(mode=Mode.HANDS_FREE))(
                listen
            )
            person = Person(runner.fire, runner.force)
            threading.Thread(target=stop_when_told, args=(runner,), daemon=True).start()
            say("running")
            runner.run()
        finally:
            camera.close()
        make_sheet(roll)
    say("ended")


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("roll", type=Path)
    parser.add_argument("port")
    parser.add_argument("--no-convert", action="store_true")
    asked = parser.parse_args()
    try:
        capture(asked.roll, asked.port, convert=not asked.no_convert)
    except TethercapError as error:
        say("failed", error=str(error))
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
