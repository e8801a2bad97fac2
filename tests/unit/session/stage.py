"""A stage for the runner: a camera in memory, film that follows a timetable, a real roll, a check that is scripted."""

from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

import cv2
import numpy as np

from tethercap.camera.fake import FakeCamera, FakeFile
from tethercap.check.findings import Finding, FindingKind, RawFindings
from tethercap.check.raw import CheckRequest
from tethercap.clock import ManualClock
from tethercap.film.formats import FilmFormat
from tethercap.film.kinds import FilmKind
from tethercap.geometry import SizePx
from tethercap.pictures import LiveFrame
from tethercap.profile_files import load_film_format
from tethercap.roll.folder import Roll
from tethercap.roll.setup import RollSetup
from tethercap.session.check_job import CheckedFile
from tethercap.session.conversions import Converter
from tethercap.session.events import Mode, SessionEvent
from tethercap.session.options import RunnerOptions
from tethercap.session.proofs import Prover
from tethercap.session.runner import RollRunner
from tethercap.session.shot_line import Checker
from tethercap.watch.limits import Limits
from tethercap.watch.sighting import Decision, Motion, Reason, ReasonCode, Sighting, Verdict

_E = TypeVar("_E")
LIVE_JPEG = cv2.imencode(".jpg", np.full((12, 16, 3), 128, np.uint8))[1].tobytes()
PULL_MM_S = 76.0
"""A pitch of 38 mm in half a second."""


@dataclass(slots=True)
class Timetable(ManualClock):
    """A clock that does things at given times, in the thread that waits."""

    due: list[tuple[float, Callable[[], None]]] = field(default_factory=list)

    def at(self, time_s: float, action: Callable[[], None]) -> None:
        self.due.append((time_s, action))
        self.due.sort(key=lambda entry: entry[0])

    def wait_s(self, seconds: float) -> None:
        self.time_s += max(seconds, 1e-4)
        while self.due and self.due[0][0] <= self.time_s:
            self.due.pop(0)[1]()


@dataclass(slots=True)
class ScriptedFilm:
    """A watcher whose film does what the timetable says: "none", "fed", "moving", "seated", "crooked", "blank"."""

    phases: Sequence[tuple[float, str]]
    """(until this time, what the film does)."""
    film_format: FilmFormat = field(default_factory=lambda: load_film_format("135-36x24"))
    film_kind: FilmKind | None = FilmKind.COLOUR_NEGATIVE
    limits: Limits = field(default_factory=Limits)
    shutter_s: float = 1 / 30
    other_frame: bool = True
    reopened: bool = False
    shots_at_s: list[float] = field(default_factory=list)
    in_view: bytes = b""
    """What a later run may know the frame in view by."""

    def watch(self, frame: LiveFrame) -> Sighting:
        now_s = frame.taken_at_s
        phase = next((what for until_s, what in self.phases if now_s < until_s), self.phases[-1][1])
        pulled, still = phase in ("moving", "fed"), phase not in ("moving", "fed", "none")
        self.other_frame |= pulled
        decision = Decision.ACCEPT
        reasons: tuple[Reason, ...] = ()
        if phase != "seated":
            decision = Decision.CANNOT_TELL if phase in ("none", "fed", "blank") else Decision.HOLD
            reasons = (Reason(ReasonCode.OFF_CENTRE, "the frame is 1.2 mm off centre"),)
        # In bare light nothing can be followed, so neither movement nor rest is known.
        noise_mm_s = float("inf") if phase == "none" else 0.1
        motion = Motion(-PULL_MM_S if pulled else 0.0, 0.0, noise_mm_s, still, 2.0 if still else 0.0)
        gone_on = still and self.other_frame
        ready = phase == "seated" and (gone_on or self.reopened)
        return Sighting(
            frame.sequence,
            now_s,
            Verdict(decision, reasons),
            None,
            None,
            motion,
            ready,
            phase not in ("none", "fed"),
            self.film_kind,
            phase == "blank",
            gone_on,
        )

    def shot_taken(self, at_s: float) -> None:
        self.other_frame = self.reopened = False
        self.shots_at_s.append(at_s)

    def view_of_shot(self) -> bytes:
        return self.in_view

    def recall_shot(self, view: bytes) -> None:
        self.other_frame = view != self.in_view

    def reopen_frame(self) -> None:
        self.reopened = True


@dataclass
class Stage:
    """Everything a runner needs, and everything it said."""

    clock: Timetable
    camera: FakeCamera
    film: ScriptedFilm
    roll: Roll
    runner: RollRunner
    said: list[SessionEvent]
    checks: list[CheckRequest]

    def told(self, kind: type[_E]) -> list[_E]:
        return [event for event in self.said if isinstance(event, kind)]


def verdicts(*failures: FindingKind | None) -> Callable[[int], CheckedFile]:
    """A check that finds these, one a picture, and nothing afterwards."""

    def check(number: int) -> CheckedFile:
        kind = failures[number] if number < len(failures) else None
        return CheckedFile(RawFindings((Finding(kind),) if kind else (), None, None), SizePx(600, 400))

    return check


def set_stage(
    folder: Path,
    phases: Sequence[tuple[float, str]],
    *,
    mode: Mode = Mode.BY_KEY,
    judge: Callable[[int], CheckedFile] | None = None,
    live: bool = True,
    expose: Callable[[int], Sequence[FakeFile]] | None = None,
    options: RunnerOptions | None = None,
    setup: RollSetup | None = None,
    convert: Converter | None = None,
    check: Checker | None = None,
    prove: Prover | None = None,
) -> Stage:
    """Put a runner together on a new or an existing roll; it is stopped when the last phase ends."""
    clock = Timetable()
    camera = FakeCamera(clock, live=(lambda _: LIVE_JPEG) if live else None, **({"expose": expose} if expose else {}))  # type: ignore[arg-type]
    film = ScriptedFilm(phases)
    setup = setup or RollSetup(id="roll-a", film_kind=FilmKind.COLOUR_NEGATIVE, film_format="135-36x24")
    roll = Roll.open(folder) if (folder / "roll.toml").exists() else Roll.create(folder, setup)
    said: list[SessionEvent] = []
    checks: list[CheckRequest] = []
    judge = judge or verdicts()

    def judged(_path: Path, _suffix: str, request: CheckRequest) -> "Future[CheckedFile]":
        future: Future[CheckedFile] = Future()
        future.set_result(judge(len(checks)))
        checks.append(request)
        return future

    options = options or RunnerOptions(mode=mode)
    runner = RollRunner(
        camera=camera,
        watcher=film,
        roll=roll,
        clock=clock,
        on_event=said.append,
        check=check or judged,
        convert=convert,
        prove=prove,
        options=options,
    )
    clock.at(phases[-1][0], runner.stop)
    return Stage(clock, camera, film, roll, runner, said, checks)
