"""Watching one live picture against decoding its JPEG, in the same run: `python -m tests.bench.bench_watch`."""

import time

import cv2
import numpy as np

from tests.film_pictures.sequences import Pull
from tethercap.film.kinds import FilmKind
from tethercap.pictures import LiveFrame
from tethercap.profile_files import load_film_format
from tethercap.watch.watcher import Watcher


def main() -> None:
    """Print the ratio of medians; at most 1 is wanted."""
    cv2.setNumThreads(1)
    pull = Pull(seed=1, frames=2, width=1024)
    shown = [(s, cv2.imencode(".jpg", s.picture, [cv2.IMWRITE_JPEG_QUALITY, 85])[1]) for s in pull.shown()]
    watcher = Watcher(
        load_film_format(pull.format_id), film_kind=FilmKind(pull.kind), mm_per_px=pull.mm_per_px, shutter_s=1 / 60
    )
    decoding, watching = [], []
    for one, jpeg in shown:
        start = time.process_time()
        picture = cv2.imdecode(jpeg, cv2.IMREAD_COLOR)
        decoded = time.process_time()
        assert picture is not None
        seen = watcher.watch(LiveFrame(picture.astype(np.uint8, copy=False), one.at_s, one.number))
        watching.append(time.process_time() - decoded)
        decoding.append(decoded - start)
        if seen.ready:
            watcher.shot_taken(one.at_s)
    decode_ms, watch_ms = 1e3 * float(np.median(decoding)), 1e3 * float(np.median(watching))
    print(
        f"{len(shown)} pictures of {shown[0][0].picture.shape[1]} x {shown[0][0].picture.shape[0]}, one thread, medians"
    )
    print(f"decode {decode_ms:.2f} ms, watch {watch_ms:.2f} ms (p95 {1e3 * float(np.percentile(watching, 95)):.2f} ms)")
    print(f"ratio {watch_ms / decode_ms:.2f}")


if __name__ == "__main__":
    main()
