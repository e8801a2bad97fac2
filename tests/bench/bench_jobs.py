"""What a second process brings, and whether a frame of a long roll costs what one of a short roll does.

Run ``python -m tests.bench.bench_jobs``. The same frames are converted by one process and by two in turns, after the
processes were started, and the best of some rounds counts; then rolls of 6 and of 60 frames by two. ``--mode threads``
gives the single process the two threads that ``--jobs 1`` gives it. Nothing is asserted: machines are busy.
"""

import argparse
import tempfile
import time
from collections.abc import Sequence
from concurrent.futures import Executor, wait
from dataclasses import replace
from pathlib import Path

import psutil

from tests.bench.bench_convert import job_for, make_raws
from tethercap.batch.job import ConversionJob, ConversionResult
from tethercap.batch.pools import make_pool
from tethercap.batch.together import convert_each
from tethercap.convert.recipe import Border


def jobs_of(folder: Path, width: int, height: int, frames: int, threads: int) -> list[ConversionJob]:
    """Conversions of one RAW under as many names as there are frames."""
    path, flat = make_raws(folder, width, height)
    job = job_for(path, flat, threads, Border.WHOLE)
    return [
        replace(job, positive_path=folder / f"{number}.tif", proof_path=folder / f"{number}.jpg")
        for number in range(frames)
    ]


def seconds_for(jobs: Sequence[ConversionJob], pool: Executor) -> float:
    """Convert all; s."""
    began_s = time.perf_counter()
    done = list(convert_each(jobs, pool))
    assert all(isinstance(each, ConversionResult) for each in done)
    return time.perf_counter() - began_s


def started(workers: int) -> Executor:
    """A pool whose processes run already, libraries loaded."""
    pool = make_pool("processes", workers)
    wait([pool.submit(_settle) for _ in range(2 * workers)])
    return pool


def _settle() -> None:
    """Load what a conversion needs, and keep this process busy so that the others are started as well."""
    from tethercap.batch import work

    assert work.convert_file is not None
    time.sleep(0.5)


def main() -> None:
    """Print the ratios."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--size", default="6000x4000", help="of the RAW, px")
    parser.add_argument("--frames", type=int, default=6)
    parser.add_argument("--long", type=int, default=60)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--mode", choices=["single", "threads"], default="single")
    chosen = parser.parse_args()
    width, height = (int(side) for side in chosen.size.split("x"))
    with tempfile.TemporaryDirectory() as name:
        one_threads = 2 if chosen.mode == "threads" else 1
        jobs = jobs_of(Path(name), width, height, chosen.frames, 1)
        for_one = [replace(job, threads=one_threads) for job in jobs]
        with started(1) as one, started(2) as two:
            rounds = [(seconds_for(for_one, one), seconds_for(jobs, two)) for _ in range(chosen.rounds)]
            ratios = sorted(alone / both for alone, both in rounds)
            best_one, best_two = (min(each[place] for each in rounds) for place in (0, 1))
            print(f"one process, {one_threads} thread(s): {best_one / chosen.frames:.2f} s a frame")
            print(f"two processes: {best_two / chosen.frames:.2f} s a frame")
            each_round = ", ".join(f"{ratio:.2f}" for ratio in ratios)
            print(f"two processes are {best_one / best_two:.2f} times one (rounds: {each_round})")
            # Names are used again, so that a small disk does.
            long = [jobs[number % len(jobs)] for number in range(chosen.long)]
            before = _memory_mib()
            per_long = seconds_for(long, two) / chosen.long
            per_short = min(seconds_for(jobs, two) for _ in range(2)) / chosen.frames
            print(f"a frame of {chosen.long} costs {per_long / per_short:.2f} of a frame of {chosen.frames}")
            print(f"memory of this process grew by {_memory_mib() - before:.1f} MiB over {chosen.long} frames")


def _memory_mib() -> float:
    return float(psutil.Process().memory_info().rss) / 2**20


if __name__ == "__main__":
    main()
