"""A roll of 36 frames pulled by the simulated camera's own hand, replayed, each shot held against its truth.

    python -m tests.e2e.replay_roll --out FOLDER [--strips 6] [--kind slide] [--seed 1]

Writes the live pictures as numbered JPEGs into FOLDER, runs `tethercap replay FOLDER --json`, and prints a line a
frame: where it lay when it was fired on, and how long after it had come to rest. Exit code 1 where a frame is missing,
fired on twice, or out of limits.
"""

import argparse
import json
import math
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from mock_camera.rig import CopyRig, Exposure, RigSettings
from tethercap.film.kinds import FilmKind
from tethercap.watch.limits import Limits

RATE = 30
STEPS = 8
"""The truth is looked at so many times between two pictures."""
LIVE = Exposure(time_s=1 / 60, f_number=8.0, iso=200)
LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class Moment:
    """What is true at one moment."""

    at_s: float
    label: str | None
    x_mm: float
    y_mm: float
    tilt_deg: float
    speed_mm_s: float

    @property
    def is_within(self) -> bool:
        """Whether the frame lies within the limits."""
        return max(abs(self.x_mm), abs(self.y_mm)) <= LIMITS.centring_mm and abs(self.tilt_deg) <= LIMITS.tilt_deg


def render(folder: Path, strips: int, kind: FilmKind, seed: int) -> list[Moment]:
    """Write the live pictures of a roll; the truth a few times between each two comes back."""
    folder.mkdir(parents=True, exist_ok=True)
    now = 0.0
    settings = RigSettings(
        film_kind=kind.value, strips=strips, seed=seed, hand="timed", sensor_width_px=1536, sensor_height_px=1024
    )
    rig = CopyRig(settings, lambda: now)
    truth: list[Moment] = []
    try:
        number = 0
        while rig.hand.working:
            (folder / f"live_{number:05d}.jpg").write_bytes(rig.live_view_jpeg(LIVE))
            for step in range(STEPS):
                now = (number + step / STEPS) / RATE
                truth.append(_moment(rig.control({"cmd": "truth"})))
            number, now = number + 1, (number + 1) / RATE
    finally:
        rig.close()
    return truth


def _moment(said: dict[str, object]) -> Moment:
    offset, tilt = said["offset_mm"], said["tilt_deg"]
    x_mm, y_mm = offset if isinstance(offset, list) else (math.inf, math.inf)
    return Moment(
        float(str(said["t_s"])), None if said["frame_label"] is None else str(said["frame_label"]), float(x_mm),
        float(y_mm), math.inf if tilt is None else float(str(tilt)), float(str(said["speed_mm_s"])),
    )  # fmt: skip


def replayed(folder: Path, kind: FilmKind) -> list[float]:
    """Times at which `tethercap replay` would have fired, s."""
    program = Path(sys.executable).with_name("tethercap")
    command = [
        str(program), "replay", str(folder), "--json", "--format", "135-36x24", "--kind", kind, "--fps", str(RATE),
        "--shutter", str(LIVE.time_s),
    ]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    events = (json.loads(line) for line in done.stdout.splitlines())
    return [event["t_s"] for event in events if event["event"] == "fire"]


def report(truth: list[Moment], fires: list[float]) -> tuple[list[str], list[str]]:
    """A line a frame, and what is wrong."""
    times = np.array([moment.at_s for moment in truth])
    fired: dict[str, list[tuple[Moment, float]]] = {m.label: [] for m in truth if m.label is not None}
    faults = []
    for at_s in fires:
        index = int(np.abs(times - at_s).argmin())
        moment = truth[index]
        moved = next((m.at_s for m in reversed(truth[:index]) if m.speed_mm_s > 0), 0.0)
        if moment.label is None or not moment.is_within or moment.speed_mm_s > 0:
            faults.append(f"fired at {at_s:.2f} s on frame {moment.label}: {moment}")
        if moment.label is not None:
            fired[moment.label].append((moment, at_s - moved))
    lines: list[str] = []
    for label, shots in sorted(fired.items(), key=lambda item: int(item[0])):
        if len(shots) != 1:
            faults.append(f"frame {label} was fired on {len(shots)} times")
        lines.extend(
            f"frame {label:>2}  fired at {m.at_s:7.2f} s  off {m.x_mm:+.3f} {m.y_mm:+.3f} mm  "
            f"tilt {m.tilt_deg:+.3f} deg  {delay_s * 1e3:4.0f} ms after it came to rest"
            for m, delay_s in shots
        )
    delays = np.array([delay_s for shots in fired.values() for _, delay_s in shots]) * 1e3
    if delays.size:
        lines.append(
            f"{len(fires)} shots, delay median {np.median(delays):.0f} ms, 95 % {np.percentile(delays, 95):.0f} ms, "
            f"largest {delays.max():.0f} ms"
        )
    return lines, faults


def main() -> int:
    """Render, replay, print, judge."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--strips", type=int, default=6)
    parser.add_argument("--kind", type=FilmKind, default=FilmKind.COLOUR_NEGATIVE)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    truth = render(asked.out, asked.strips, asked.kind, asked.seed)
    lines, faults = report(truth, replayed(asked.out, asked.kind))
    print("\n".join(lines))
    frames = len({moment.label for moment in truth} - {None})
    if frames != 6 * asked.strips:
        faults.append(f"{frames} frames were shown instead of {6 * asked.strips}")
    print("\n".join(faults) or f"all {frames} frames fired on once, none out of limits")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
