"""Damage everything that comes from outside, for as long as is asked for.

    python -m tests.fuzz --minutes 5 --seed 1

Cases are made by Hypothesis; one that breaks something is made small and shown.
"""

import argparse
import logging
import sys
import time
import traceback
import warnings

import hypothesis
from hypothesis import HealthCheck, Phase

from tests.fuzz.targets import Target, all_targets

_AT_A_TIME = 200
_SETTINGS = hypothesis.settings(
    max_examples=_AT_A_TIME,
    database=None,
    deadline=None,
    phases=(Phase.generate, Phase.shrink),
    suppress_health_check=list(HealthCheck),
)


def run_batch(target: Target, seed: int) -> int:
    """Try a batch of cases; return how many were tried.

    Raises
    ------
    Exception
        Whatever did not hold, with the smallest case that was found.
    """
    tried = [0]

    @hypothesis.seed(seed)
    @_SETTINGS
    @hypothesis.given(target.cases)
    def one(case: object) -> None:
        tried[0] += 1
        target.check(case)

    one()
    return tried[0]


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--minutes", type=float, default=2.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", help="name of one target")
    asked = parser.parse_args()
    warnings.simplefilter("ignore")
    logging.disable(logging.WARNING)
    broken = False
    with all_targets() as targets:
        chosen = [target for target in targets if asked.only in (None, target.name)]
        whole = sum(target.share for target in chosen)
        for target in chosen:
            until_s = time.monotonic() + 60 * asked.minutes * target.share / whole
            tried, seed = 0, asked.seed
            try:
                while time.monotonic() < until_s:
                    tried += run_batch(target, seed)
                    seed += 1
            except Exception:
                broken = True
                print(f"{target.name}: broken with seed {seed}")
                traceback.print_exc()
            print(f"{target.name:<15} {tried:8d} cases  seeds {asked.seed}..{seed - 1}  {target.tell()}", flush=True)
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
