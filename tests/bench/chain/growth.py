"""One capture takes strip after strip: what it, the camera process, the workers and the simulated camera hold."""

import gc
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import psutil

from tests.bench.chain.capture import Person, process_ids
from tests.bench.chain.truth import look_at_end, look_at_numbers, read_state
from tethercap.camera.child import ChildCamera
from tethercap.cli._simulated import EndOfFilm, SimulatedCamera, operator
from tethercap.cli._wiring import Workers, open_roll, runner_maker
from tethercap.film.kinds import FilmKind
from tethercap.roll.setup import RollSetup
from tethercap.session import events
from tethercap.session.events import Mode, SessionEvent
from tethercap.session.options import RunnerOptions

FRAMES_A_LOOK = 60
STUCK_S = 180.0


@dataclass(frozen=True, slots=True)
class Look:
    """What the processes hold after so many frames."""

    frames: int
    seconds_a_frame: float
    """Median over the frames since the last look, from one filed to the next on the same strip, s."""
    shot_s: float
    """Median time from the shutter command to the filed picture, s."""
    memory_mib: dict[str, float]
    """Resident memory of each process, less what is shared with others."""
    objects: int
    """Tracked by the collector in the capture."""
    handles: dict[str, int]
    threads: dict[str, int]
    children: int

    def __str__(self) -> str:
        memory = "  ".join(f"{name} {mib:6.1f}" for name, mib in self.memory_mib.items())
        handles = "/".join(map(str, self.handles.values()))
        threads = "/".join(map(str, self.threads.values()))
        return (
            f"{self.frames:4d} frames  {self.seconds_a_frame:5.2f} s a frame  {self.shot_s:5.2f} s a shot  "
            f"MiB: {memory}  {self.objects} objects  handles {handles}  threads {threads}  {self.children} processes"
        )


@dataclass
class Growth:
    """Looks at the processes every so many frames; fed with the events of the run."""

    camera: ChildCamera
    workers: Workers
    simulated_pid: int
    tell: Callable[[Look], None]
    looks: list[Look] = field(default_factory=list)
    last_filed_s: float = field(default_factory=time.monotonic)
    _frames: int = 0
    _fired_at_s: float = 0.0
    _strip_began: bool = True
    _between_s: list[float] = field(default_factory=list)
    _shots_s: list[float] = field(default_factory=list)

    def take(self, event: SessionEvent) -> None:
        """Take note of an event."""
        match event:
            case events.ShotFired():
                self._fired_at_s = time.monotonic()
            case events.StripStarted():
                self._strip_began = True
            case events.FrameFiled() if event.accepted:
                self._filed()

    def _filed(self) -> None:
        now_s = time.monotonic()
        self._shots_s.append(now_s - self._fired_at_s)
        if not self._strip_began:
            self._between_s.append(now_s - self.last_filed_s)
        self.last_filed_s, self._strip_began = now_s, False
        self._frames += 1
        if self._frames % FRAMES_A_LOOK == 0:
            self.look()

    def look(self) -> None:
        """Look now."""
        gc.collect()
        processes = {
            "capture": psutil.Process(),
            "camera": psutil.Process(self.camera.process_id),
            "checker": psutil.Process(process_ids(self.workers.checker)[0]),
            "converter": psutil.Process(process_ids(self.workers.converter)[0]),
            "simulated": psutil.Process(self.simulated_pid),
        }
        look = Look(
            frames=self._frames,
            seconds_a_frame=float(np.median(self._between_s)) if self._between_s else 0.0,
            shot_s=float(np.median(self._shots_s)) if self._shots_s else 0.0,
            memory_mib={name: each.memory_full_info().uss / (1 << 20) for name, each in processes.items()},
            objects=len(gc.get_objects()),
            handles={name: each.num_fds() for name, each in processes.items()},
            threads={name: each.num_threads() for name, each in processes.items()},
            children=len(psutil.Process().children(recursive=True)),
        )
        self._between_s, self._shots_s = [], []
        self.looks.append(look)
        self.tell(look)


def run_long(
    folder: Path, strips: int, seed: int, tell: Callable[[Look], None], *, sensor: str = "1500x1000"
) -> list[Look]:
    """Capture all strips in one run and look at its processes meanwhile.

    Parameters
    ----------
    tell : callable
        Gets each look as it is made.

    Raises
    ------
    LostError
        If the roll is not whole at the end.
    TimeoutError
        If nothing is filed for long.
    """
    setup = RollSetup(id=folder.name, film_kind=FilmKind.COLOUR_NEGATIVE, film_format="135-36x24")
    flags = ("--hand", "bell", "--fast", "--sensor", sensor, "--strips", str(strips), "--seed", str(seed))
    with (
        open_roll(folder, setup) as roll,
        Workers.started(convert=True) as workers,
        SimulatedCamera(flags) as simulated,
    ):
        camera = ChildCamera(simulated.port)
        try:
            hand, end_of_film = operator(simulated), EndOfFilm(simulated)
            growth = Growth(camera, workers, simulated.process_id, tell)

            def listen(event: SessionEvent) -> None:
                growth.take(event)
                hand(event)
                person.take(event)
                if end_of_film.is_reached(event) or time.monotonic() - growth.last_filed_s > STUCK_S:
                    runner.stop()

            runner = runner_maker(camera, roll, workers, options=RunnerOptions(mode=Mode.HANDS_FREE))(listen)
            person = Person(runner.fire, runner.force)
            runner.run()
            if time.monotonic() - growth.last_filed_s > STUCK_S:
                raise TimeoutError(f"nothing was filed for {STUCK_S:.0f} s; threads: {threading.enumerate()}")
            shots = simulated.ask("shots")["shots"]
        finally:
            camera.close()
    look_at_numbers(read_state(folder), shots)
    look_at_end(folder, strips * 6)
    return growth.looks
