"""Bands of a picture spread over threads."""

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from typing import TypeVar

from tethercap.convert.pipeline import RunBands, one_after_another

_T = TypeVar("_T")


def with_bands(threads: int, use: Callable[[RunBands], _T]) -> _T:
    """Call `use` with a function that spreads bands over some threads, OpenCV's own threads off meanwhile."""
    if threads <= 1:
        return use(one_after_another)
    with ThreadPoolExecutor(threads, thread_name_prefix="bands") as pool:
        return use(partial(_run_in, pool))


def _run_in(
    pool: ThreadPoolExecutor, work: Callable[[tuple[int, int]], None], bands: Iterable[tuple[int, int]]
) -> None:
    list(pool.map(work, bands))
