"""How long a shot's proof and its positive take in a run, from its file's arrival, and how live view fares meanwhile.

Run ``python -m tests.bench.bench_proof``. A strip is captured hands-free from the simulated camera at 24 megapixels
through the real driver, with checker, converter and prover in their processes as in ``tethercap capture``; then once
more without proofs, which tells what they cost the others. LibRaw's AHD, run on the same pictures when the strip is
done, says how quick the machine is just then. Nothing is asserted: machines are busy.
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
    positive: dict[str, float] = field(default_factory=dict)

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
            case events.ProofMade(frame_id=frame_id):
                self.proof[frame_id] = now_s
            case events.PositiveMade(frame_id=frame_id):
                self.positive[frame_id] = now_s

    def live_rate(self, spans: list[tuple[float, float]]) -> float:
        """Live pictures watched a second within some spans of time."""
        watched = np.array(self.watched)
        seen = sum(int(((watched > start) & (watched <= stop)).sum()) for start, stop in spans)
        return seen / max(sum(stop - start for start, stop in spans), 1e-9)

    def between(self, then: dict[str, float]) -> list[tuple[float, float]]:
        """From each arrival until something happened."""
        return [(self.arrived[frame_id], at_s) for frame_id, at_s in then.items() if frame_id in self.arrived]


def run(sensor: str, *, prove: bool) -> None:
    """Capture a strip and print how long things took."""
    times = Times()
    with tempfile.TemporaryDirectory() as folder:
        roll = Path(folder) / "roll"
        on_event: Callable[[SessionEvent, RollRunner, SimulatedCamera], None] = times.listen
        run_roll(roll, prove=prove, arguments=("--fast", "--sensor", sensor), on_event=on_event)
        reference_s = float(np.median([timed_s(partial(ahd, raw))[0] for raw in sorted(roll.glob("raw/*.dng"))[:3]]))
    print(f"{len(times.filed)} frames, {'with' if prove else 'without'} proofs; LibRaw's AHD alone {reference_s:.2f} s")
    for name, then in (("proof", times.proof), ("checked and filed", times.filed), ("positive", times.positive)):
        spans = times.between(then)
        if spans:
            seconds = [stop - start for start, stop in spans]
            middle_s = float(np.median(seconds))
            print(
                f"arrived until {name:18} median {middle_s:5.2f} s ({middle_s / reference_s:.2f} of AHD), "
                f"worst {max(seconds):5.2f} s; live pictures meanwhile {times.live_rate(spans):4.1f} /s"
            )
    print(f"live pictures over all {times.live_rate([(times.watched[0], times.watched[-1])]):.1f} /s")


def main() -> None:
    """Print everything."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sensor", default="6000x4000", help="of the simulated camera, px")
    options = parser.parse_args()
    for prove in (True, False):
        run(options.sensor, prove=prove)


if __name__ == "__main__":
    main()
