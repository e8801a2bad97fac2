"""What a second process brings, and whether a frame of a long roll costs what one of a short roll does.

Run ``python -m tests.bench.bench_jobs``. The same frames are converted by one process and by two in turns, after the
processes were started, and the best of some rounds counts; then rolls of 6 and of 60 frames by two. LibRaw's AHD, which
computes and writes nothing, is run on the same frames in the same processes: what two of those bring over one is what
the machine has to give, and the line above it is to be read against that. ``--mode threads`` gives the single process
the two threads that ``--jobs 1`` gives it, and ``--folder /dev/shm`` takes the disk out. Nothing is asserted: machines
are busy.
"""

import argparse
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor, wait
from dataclasses import replace
from pathlib import Path

import psutil

from tests.bench.bench_convert import ahd, job_for, make_raws
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


def ahd_seconds_for(jobs: Sequence[ConversionJob], pool: Executor) -> float:
    """Interpolate all by LibRaw's AHD, one thread a process; s."""
    began_s = time.perf_counter()
    for each in [pool.submit(ahd, job.raw_path) for job in jobs]:
        each.result()
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


def print_gain(rounds: Sequence[Mapping[str, float]], alone: str, both: str, frames: int) -> None:
    """Print what a second process brings: of the best rounds, and round by round."""
    best = {name: min(each[name] for each in rounds) for name in (alone, both)}
    ratios = ", ".join(f"{ratio:.2f}" for ratio in sorted(each[alone] / each[both] for each in rounds))
    print(
        f"{alone:10} {best[alone] / frames:5.2f} s a frame, {both:10} {best[both] / frames:5.2f}: "
        f"{best[alone] / best[both]:.2f} times as fast (rounds: {ratios})"
    )


def main() -> None:
    """Print the ratios."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--size", default="6000x4000", help="of the RAW, px")
    parser.add_argument("--frames", type=int, default=6)
    parser.add_argument("--long", type=int, default=60)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--mode", choices=["single", "threads"], default="single")
    parser.add_argument("--folder", type=Path, help="where files are read and written")
    chosen = parser.parse_args()
    width, height = (int(side) for side in chosen.size.split("x"))
    with tempfile.TemporaryDirectory(dir=chosen.folder) as name:
        one_threads = 2 if chosen.mode == "threads" else 1
        jobs = jobs_of(Path(name), width, height, chosen.frames, 1)
        for_one = [replace(job, threads=one_threads) for job in jobs]
        with started(1) as one, started(2) as two:
            ways: dict[str, Callable[[], float]] = {
                "one": lambda: seconds_for(for_one, one),
                "two": lambda: seconds_for(jobs, two),
                "AHD, one": lambda: ahd_seconds_for(jobs, one),
                "AHD, two": lambda: ahd_seconds_for(jobs, two),
            }
            rounds = [{name: way() for name, way in ways.items()} for _ in range(chosen.rounds)]
            print(f"one process has {one_threads} thread(s), each of two has one")
            for alone, both in (("one", "two"), ("AHD, one", "AHD, two")):
                print_gain(rounds, alone, both, chosen.frames)
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
