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
from pathlib import Path

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
        print_kills(run_kills(folder, asked.kills, asked.seed, strips=asked.strips, keep=asked.keep), asked.seed)
    return 0


if __name__ == "__main__":
    sys.exit(main())
