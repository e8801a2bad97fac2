"""What filing a picture costs beside a plain copy of the same bytes, and whether that grows with the roll.

    python -m tests.bench.bench_roll --frames 600 --picture-mb 1

Figures are ratios against a file written, synced and hashed in the same run on the same disk.
"""

import argparse
import hashlib
import os
import statistics
import tempfile
import time
from pathlib import Path

import psutil

from tethercap.film.kinds import FilmKind
from tethercap.image_files.metadata import xmp_packet
from tethercap.roll.folder import Roll, RollSetup, TakeOutcome

_SETUP = RollSetup(id="BENCH", film_kind=FilmKind.SLIDE, film_format="135-36x24")


def _plain(path: Path, content: bytes) -> float:
    """Seconds to hash, write and sync the bytes, and sync the folder."""
    started_s = time.perf_counter()
    hashlib.sha256(content).hexdigest()
    with path.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    folder = os.open(path.parent, os.O_RDONLY)
    os.fsync(folder)
    os.close(folder)
    return time.perf_counter() - started_s


def _filed(roll: Roll, content: bytes) -> float:
    pieces = [content[start : start + (1 << 20)] for start in range(0, len(content), 1 << 20)]
    started_s = time.perf_counter()
    roll.file(roll.receive(roll.next_frame_id(), ".dng", pieces, len(content)), TakeOutcome(accepted=True))
    return time.perf_counter() - started_s


def measure(folder: Path, frames: int, picture_bytes: int) -> dict[str, float]:
    """File pictures, each beside a plain copy; ratios of medians, and growth from the first to the last tenth."""
    (folder / "plain").mkdir()
    process, filed_s, plain_s = psutil.Process(), [], []
    with Roll.create(folder / "BENCH", _SETUP, sidecar=xmp_packet) as roll:
        before_bytes, before_handles = process.memory_info().rss, process.num_fds()
        for number in range(frames):
            content = os.urandom(picture_bytes)
            plain_s.append(_plain(folder / f"plain/{number}.dng", content))
            filed_s.append(_filed(roll, content))
        grown_bytes, grown_handles = process.memory_info().rss - before_bytes, process.num_fds() - before_handles
    started_s = time.perf_counter()
    Roll.open(folder / "BENCH", sidecar=xmp_packet).close()
    tenth = max(1, frames // 10)
    return {
        "filed_ms": 1000 * statistics.median(filed_s),
        "filed_over_plain": statistics.median(filed_s) / statistics.median(plain_s),
        "last_tenth_over_first": statistics.median(filed_s[-tenth:]) / statistics.median(filed_s[:tenth]),
        "plain_last_tenth_over_first": statistics.median(plain_s[-tenth:]) / statistics.median(plain_s[:tenth]),
        "memory_grown_kb_a_frame": grown_bytes / 1000 / frames,
        "handles_grown": grown_handles,
        "opened_again_ms": 1000 * (time.perf_counter() - started_s),
    }


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description="Measure what filing costs.")
    parser.add_argument("--frames", type=int, default=600)
    parser.add_argument("--picture-mb", type=float, default=1.0)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="bench-roll-") as folder:
        figures = measure(Path(folder), options.frames, int(options.picture_mb * 1e6))
    for name, value in figures.items():
        print(f"{name:30} {value:10.2f}")


if __name__ == "__main__":
    main()
