"""The whole chain, killed at random moments or run for a long time.

    python -m tests.bench.soak_chain --kills 300 --seed 1 --out FOLDER
    python -m tests.bench.soak_chain --strips 100 --out FOLDER

The real runner on the real driver, a simulated camera in a process of its own, checks and conversions in worker
processes. With --kills, one of them is killed again and again over whole rolls: every picture that was reported filed
must be there under its right number, and every positive made in the end. Without, one capture takes all the strips,
and what it and the camera hold of memory, handles, threads and processes is printed every sixty frames.
"""

import argparse
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from tests.bench.chain.growth import Look, run_long
from tests.bench.chain.kills import KillFigures, run_kills


def print_kills(figures: KillFigures, seed: int) -> None:
    """Print what a run of kills added up to."""
    kinds = ", ".join(f"{number} x {victim}" for victim, number in figures.kills.most_common())
    print(f"{figures.total} kills ({kinds}) over {figures.rolls} rolls in {figures.seconds:.0f} s; seed {seed}")
    print(f"{figures.filed} pictures of {figures.frames} frames were said to be filed, in {figures.starts} runs:")
    print("all are there with their content, under the number that the film has; every positive was made")
    print(f"a filed frame that lay in the holder still was known again {figures.known_by_view} times")
    for title, counts in (("killed", figures.moments), ("put right", figures.notes), ("told", figures.troubles)):
        for what, count in counts.most_common():
            print(f"  {title}: {count:4d} x {what}")


def print_growth(looks: Sequence[Look], seconds: float) -> None:
    """Print what the processes held after the second look, when all is warm, against the last."""
    print(f"{looks[-1].frames if looks else 0} frames in {seconds:.0f} s, all there, numbered right, with positives")
    if len(looks) < 3:
        return
    first, last = looks[1], looks[-1]
    frames = last.frames - first.frames
    for name, mib in last.memory_mib.items():
        grown = (mib - first.memory_mib[name]) * 1024 / frames
        print(f"  {name}: {grown:+.2f} KiB a frame, {last.handles[name] - first.handles[name]:+d} handles, "
              f"{last.threads[name] - first.threads[name]:+d} threads")  # fmt: skip
    print(f"  {(last.objects - first.objects) / frames:+.1f} objects a frame in the capture; "
          f"a shot takes {last.shot_s / first.shot_s:.2f} of what it took at first")  # fmt: skip


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--strips", type=int, default=6, help="strips of six frames; of each roll, with --kills")
    parser.add_argument("--out", type=Path, help="folder for the rolls; a passing one if not given")
    parser.add_argument("--keep", action="store_true", help="leave the rolls there")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="soak-chain-") as passing:
        folder = asked.out or Path(passing)
        if asked.kills:
            print_kills(run_kills(folder, asked.kills, asked.seed, strips=asked.strips, keep=asked.keep), asked.seed)
        else:
            started_s = time.monotonic()
            looks = run_long(folder / "long", asked.strips, asked.seed, lambda look: print(look, flush=True))
            print_growth(looks, time.monotonic() - started_s)
    return 0


if __name__ == "__main__":
    sys.exit(main())
