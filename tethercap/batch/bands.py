"""Bands of a picture spread over threads."""

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from functools import partial

from tethercap.convert.render import RunBands, one_after_another


def with_bands(threads: int, use: Callable[[RunBands], None]) -> None:
    """Call `use` with a function that spreads bands over some threads, OpenCV's own threads off meanwhile."""
    if threads <= 1:
        use(one_after_another)
        return
    with ThreadPoolExecutor(threads, thread_name_prefix="bands") as pool:
        use(partial(_run_in, pool))


def _run_in(
    pool: ThreadPoolExecutor, work: Callable[[tuple[int, int]], None], bands: Iterable[tuple[int, int]]
) -> None:
    list(pool.map(work, bands))
