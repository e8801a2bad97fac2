"""A whole roll against the simulated camera's own truth, shot by shot.

    python -m tests.e2e.long_roll --strips 6 --out FOLDER [--kind slide] [--small]

Prints a line a shot and a verdict; exit code 1 where a frame is missing, misnumbered or out of limits.
"""

import argparse
import sys
from pathlib import Path

from tests.e2e.rolls import Run, run_roll
from tethercap.film.kinds import FilmKind
from tethercap.roll.fixity import verify
from tethercap.watch.limits import Limits


def faults_of(run: Run, frames: int) -> list[str]:
    """What is wrong with a run, in sentences."""
    faults = []
    wanted = [str(number + 1) for number in range(frames)]
    if run.accepted_ids() != wanted:
        faults.append(f"accepted {run.accepted_ids()} instead of {wanted}")
    limits = Limits()
    for shot, filed in zip(run.shots, run.filed(), strict=True):
        if not filed.accepted:
            continue
        if shot["frame_label"] != filed.frame_id:
            faults.append(f"frame {shot['frame_label']} was filed as {filed.frame_id}")
        if max(map(abs, shot["offset_mm"])) > limits.centring_mm or abs(shot["tilt_deg"]) > limits.tilt_deg:
            faults.append(
                f"frame {filed.frame_id} is out of limits: {shot['offset_mm']} mm, {shot['tilt_deg']:.2f} deg"
            )
    return faults


def main() -> int:
    """Run, print, judge."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--strips", type=int, default=6)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--kind", type=FilmKind, default=FilmKind.COLOUR_NEGATIVE)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--small", action="store_true")
    asked = parser.parse_args()
    size = ("--sensor", "3000x2000") if asked.small else ()
    arguments = ("--seed", str(asked.seed), *size)
    run = run_roll(asked.out, strips=asked.strips, kind=asked.kind, arguments=arguments, limit_s=1200)
    for shot, filed in zip(run.shots, run.filed(), strict=True):
        x_mm, y_mm = shot["offset_mm"]
        print(
            f"{filed.frame_id:>3} take {filed.take} film says {shot['frame_label']:>3} {shot['scene']:<10} "
            f"off {x_mm:+.2f} {y_mm:+.2f} mm  tilt {shot['tilt_deg']:+.2f} deg  {shot['speed_mm_s']:.2f} mm/s  "
            f"{'accepted' if filed.accepted else 'kept'}"
        )
    faults = faults_of(run, asked.strips * 6)
    print("\n".join(faults) or f"{len(run.accepted_ids())} frames, all numbered right and within limits")
    print(f"checksums: {'all right' if verify(asked.out).is_sound else 'NOT all right'}")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
