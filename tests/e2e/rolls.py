"""Running whole rolls against the simulated camera, as the demo does, with its truth at hand."""

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tethercap.camera.discover import open_camera
from tethercap.cli._simulated import EndOfFilm, SimulatedCamera, operator
from tethercap.cli._wiring import Workers, open_roll, runner_maker
from tethercap.cli.sheet import make_sheet
from tethercap.film.kinds import FilmKind
from tethercap.roll.setup import RollSetup
from tethercap.session import events
from tethercap.session.events import Mode, SessionEvent
from tethercap.session.options import RunnerOptions
from tethercap.session.runner import RollRunner

SMALL = ("--fast", "--sensor", "3000x2000")
RUN_LIMIT_S = 240.0


@dataclass
class Run:
    """What a run said, and what the simulated camera knows about its shots."""

    said: list[SessionEvent] = field(default_factory=list)
    shots: list[dict[str, Any]] = field(default_factory=list)

    def filed(self) -> list[events.FrameFiled]:
        return [event for event in self.said if isinstance(event, events.FrameFiled)]

    def accepted_ids(self) -> list[str]:
        return [event.frame_id for event in self.filed() if event.accepted]


def run_roll(
    folder: Path,
    *,
    strips: int = 1,
    convert: bool = True,
    prove: bool = False,
    kind: FilmKind = FilmKind.COLOUR_NEGATIVE,
    arguments: tuple[str, ...] = SMALL,
    limit_s: float = RUN_LIMIT_S,
    on_event: Callable[[SessionEvent, RollRunner, SimulatedCamera], None] = lambda *_: None,
) -> Run:
    """Capture a roll hands-free until the last strip has left the holder."""
    setup = RollSetup(id=folder.name, film_kind=kind, film_format="135-36x24")
    told = Run()
    flags = ("--hand", "bell", "--strips", str(strips), "--film-kind", kind.value, *arguments)
    with (
        open_roll(folder, setup) as roll,
        Workers.started(convert=convert, prove=prove) as workers,
        SimulatedCamera(flags) as simulated,
    ):
        camera = open_camera(simulated.port)
        try:
            hand, end_of_film = operator(simulated), EndOfFilm(simulated)

            def listen(event: SessionEvent) -> None:
                if not isinstance(event, events.Watched | events.PullProgressed):
                    told.said.append(event)
                hand(event)
                on_event(event, runner, simulated)
                if end_of_film.is_reached(event):
                    runner.stop()

            runner = runner_maker(camera, roll, workers, options=RunnerOptions(mode=Mode.HANDS_FREE))(listen)
            limit = threading.Timer(limit_s, runner.stop)
            limit.start()
            try:
                runner.run()
            finally:
                limit.cancel()
                limit.join()
            told.shots = simulated.ask("shots")["shots"]
        finally:
            camera.close()
        make_sheet(roll)
    return told
