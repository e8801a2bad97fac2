"""Watching one live picture against decoding its JPEG, in the same run: `python -m tests.bench.bench_watch`.

Also whether watching gets slower over a roll, and how much memory it takes a picture.
"""

import argparse
import os
import time
import tracemalloc
from collections.abc import Iterator

os.environ["OPENBLAS_NUM_THREADS"] = "1"  # as the program does, and like it before NumPy is loaded

import cv2
import numpy as np

from tests.film_pictures.sequences import Pull
from tethercap.film.kinds import FilmKind
from tethercap.pictures import LiveFrame, U8Array
from tethercap.profile_files import load_film_format
from tethercap.watch.watcher import Watcher

Jpeg = tuple[float, int, bytes]
"""Time in s, number, data."""


def shown(pull: Pull, rounds: int) -> Iterator[Jpeg]:
    """The strip's pictures, pulled through again and again: a roll of that many strips."""
    once = [(s.at_s, s.number, bytes(cv2.imencode(".jpg", s.picture, [1, 85])[1])) for s in pull.shown()]
    length_s, count = once[-1][0] + 0.2, once[-1][1] + 6
    for strip in range(rounds):
        for at_s, number, jpeg in once:
            yield at_s + strip * length_s, number + strip * count, jpeg


def _decode(jpeg: bytes) -> U8Array:
    picture = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)
    assert picture is not None
    return picture.astype(np.uint8, copy=False)


def timed(watcher: Watcher, pictures: list[Jpeg]) -> tuple[list[float], list[float]]:
    """Seconds of processor time for decoding and for watching each picture."""
    decoding, watching = [], []
    for at_s, number, jpeg in pictures:
        start = time.process_time()
        picture = _decode(jpeg)
        decoded = time.process_time()
        seen = watcher.watch(LiveFrame(picture, at_s, number))
        watching.append(time.process_time() - decoded)
        decoding.append(decoded - start)
        if seen.ready:
            watcher.shot_taken(at_s)
    return decoding, watching


def allocated(watcher: Watcher, pictures: list[Jpeg]) -> list[float]:
    """Most memory held at a time while watching each picture, MB over what was held before."""
    peaks = []
    tracemalloc.start()
    for at_s, number, jpeg in pictures:
        frame = LiveFrame(_decode(jpeg), at_s, number)
        tracemalloc.reset_peak()
        before, _ = tracemalloc.get_traced_memory()
        seen = watcher.watch(frame)
        peaks.append((tracemalloc.get_traced_memory()[1] - before) / 1e6)
        if seen.ready:
            watcher.shot_taken(at_s)
    tracemalloc.stop()
    return peaks


def main() -> None:
    """Print the ratio of medians, at most 1 is wanted; the roll's last tenth against its first; memory."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--strips", type=int, default=6)
    cv2.setNumThreads(1)
    pull = Pull(seed=1, frames=2, width=1024)
    pictures = list(shown(pull, parser.parse_args().strips))

    def watcher() -> Watcher:
        return Watcher(
            load_film_format(pull.format_id), film_kind=FilmKind(pull.kind), mm_per_px=pull.mm_per_px, shutter_s=1 / 60
        )

    decoding, watching = timed(watcher(), pictures)
    height, width = _decode(pictures[0][2]).shape[:2]
    decode_ms, watch_ms = 1e3 * float(np.median(decoding)), 1e3 * float(np.median(watching))
    print(f"{len(pictures)} pictures of {width} x {height}, one thread, medians")
    print(f"decode {decode_ms:.2f} ms, watch {watch_ms:.2f} ms (p95 {1e3 * float(np.percentile(watching, 95)):.2f} ms)")
    print(f"ratio {watch_ms / decode_ms:.2f}")
    strip = len(pictures) // parser.parse_args().strips
    first, last = (float(np.median(part)) * 1e3 for part in (watching[:strip], watching[-strip:]))
    first_d, last_d = (float(np.median(part)) * 1e3 for part in (decoding[:strip], decoding[-strip:]))
    print(f"over the roll: first strip {first / first_d:.2f}, last strip {last / last_d:.2f} of decoding")
    peaks = np.array(allocated(watcher(), pictures[:strip]))
    print(
        f"memory a picture: median {np.median(peaks):.2f} MB, 95 % {np.percentile(peaks, 95):.2f} MB, "
        f"largest {peaks.max():.2f} MB"
    )


if __name__ == "__main__":
    main()
