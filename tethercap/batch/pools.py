"""Where conversions run: in this process, or in some of their own that stand back for the capture."""

import multiprocessing
import os
from collections.abc import Callable
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from typing import Any, Literal, ParamSpec, TypeVar

import cv2

from tethercap.batch.sturdy import end_with_parent

PoolKind = Literal["serial", "processes"]
_P = ParamSpec("_P")
_T = TypeVar("_T")
_NICENESS = 10


class SerialExecutor(Executor):
    """Runs each call at once, in the caller's thread; for tests and single files."""

    def submit(self, fn: Callable[_P, _T], /, *args: _P.args, **kwargs: _P.kwargs) -> "Future[_T]":
        """Run the call and hand out its finished future."""
        future: Future[_T] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


def make_pool(kind: PoolKind = "processes", workers: int = 1) -> Executor:
    """Make an executor for conversions.

    Parameters
    ----------
    kind : {"serial", "processes"}
        "processes" spawns them (the RAW library's threads do not survive a fork), at low priority, so that live view
        and pulling go first.
    workers : int
        Processes at once.

    Returns
    -------
    concurrent.futures.Executor
        Close it with ``shutdown``.
    """
    if kind == "serial":
        return SerialExecutor()
    context = multiprocessing.get_context("spawn")
    return ProcessPoolExecutor(workers, mp_context=context, initializer=stand_back)


def stand_back(*_: Any) -> None:
    """Give way to the process that captures, and keep libraries from starting threads of their own."""
    end_with_parent()
    os.nice(_NICENESS)
    cv2.setNumThreads(1)
    os.environ["OMP_NUM_THREADS"] = "1"
