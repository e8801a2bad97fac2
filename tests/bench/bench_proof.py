"""How long a frame's proof takes in a run, from its file's arrival, and how live view fares meanwhile.

Run ``python -m tests.bench.bench_proof``. A strip is captured hands-free from the simulated camera at 24 megapixels
through the real driver, with checker and converter in their processes as in ``tethercap capture``. LibRaw's AHD, run on
the same pictures when the strip is done, says how quick the machine is just then. Nothing is asserted: they are busy.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import numpy as np

from tests.bench.bench_convert import ahd, timed_s
from tests.e2e.rolls import run_roll
from tethercap.cli._simulated import SimulatedCamera
from tethercap.session import events
from tethercap.session.events import SessionEvent
from tethercap.session.runner import RollRunner


@dataclass
class Times:
    """When things happened, monotonic, s."""

    watched: list[float] = field(default_factory=list)
    arrived: dict[str, float] = field(default_factory=dict)
    filed: dict[str, float] = field(default_factory=dict)
    proof: dict[str, float] = field(default_factory=dict)

    def listen(self, event: SessionEvent, *_: RollRunner | SimulatedCamera) -> None:
        """Take note."""
        now_s = time.monotonic()
        match event:
            case events.Watched():
                self.watched.append(now_s)
            case events.PullProgressed(frame_id=frame_id):
                self.arrived[frame_id] = now_s
            case events.FrameFiled(frame_id=frame_id):
                self.filed[frame_id] = now_s
            case events.PositiveMade(frame_id=frame_id):
                self.proof[frame_id] = now_s

    def live_rate(self, spans: list[tuple[float, float]]) -> float:
        """Live pictures watched a second within some spans of time."""
        watched = np.array(self.watched)
        seen = sum(int(((watched > start) & (watched <= stop)).sum()) for start, stop in spans)
        return seen / max(sum(stop - start for start, stop in spans), 1e-9)


def of_all(name: str, seconds: list[float], reference_s: float) -> None:
    """Print median and worst, and the median over the reference."""
    if seconds:
        middle_s = float(np.median(seconds))
        print(f"{name:34} median {middle_s:5.2f} s ({middle_s / reference_s:.2f} of AHD), worst {max(seconds):5.2f} s")


def main() -> None:
    """Print everything."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sensor", default="6000x4000", help="of the simulated camera, px")
    options = parser.parse_args()
    times = Times()
    with tempfile.TemporaryDirectory() as folder:
        roll = Path(folder) / "roll"
        on_event: Callable[[SessionEvent, RollRunner, SimulatedCamera], None] = times.listen
        run_roll(roll, arguments=("--fast", "--sensor", options.sensor), on_event=on_event)
        reference_s = float(np.median([timed_s(partial(ahd, raw))[0] for raw in sorted(roll.glob("raw/*.dng"))[:3]]))
    made = [frame_id for frame_id in times.proof if frame_id in times.arrived]
    busy = [(times.arrived[frame_id], times.proof[frame_id]) for frame_id in made]
    print(f"{len(made)} frames; LibRaw's AHD alone {reference_s:.2f} s")
    filed = [times.filed[frame_id] - times.arrived[frame_id] for frame_id in made]
    of_all("arrived until checked and filed", filed, reference_s)
    of_all("arrived until the proof is there", [stop - start for start, stop in busy], reference_s)
    whole = [(times.watched[0], times.watched[-1])]
    print(f"live pictures watched: {times.live_rate(busy):.1f} /s meanwhile, {times.live_rate(whole):.1f} /s over all")


if __name__ == "__main__":
    main()
