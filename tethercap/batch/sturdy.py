"""A pool that outlives its workers: one that died on a damaged picture is replaced for the next one."""

import importlib
import multiprocessing
import multiprocessing.connection
import os
import threading
from collections.abc import Callable
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import Any, ParamSpec, TypeVar

_P = ParamSpec("_P")
_T = TypeVar("_T")


class SturdyPool:
    """One worker process that is started again when it died.

    The call that killed it fails with `BrokenProcessPool`; later calls go to a new process.

    Parameters
    ----------
    initializer : callable, optional
        Run in each new worker first; it has to call `end_with_parent`, which is all that is done without one.
    longest_s : float, optional
        How long a call may take, s; a worker that takes longer is ended, and its call fails like one that killed it.
        Meant for calls that are handed over one at a time: waiting for another call counts.
    """

    def __init__(self, initializer: Callable[..., None] | None = None, *, longest_s: float | None = None) -> None:
        self._initializer, self._longest_s = initializer, longest_s
        self._guard = threading.Lock()
        self._pool = self._new_pool()

    def _new_pool(self) -> ProcessPoolExecutor:
        one_thread_each()
        context = multiprocessing.get_context("spawn")
        return ProcessPoolExecutor(1, mp_context=context, initializer=_begin, initargs=(self._initializer,))

    def submit(self, work: Callable[_P, _T], /, *args: _P.args, **kwargs: _P.kwargs) -> "Future[_T]":
        """Hand a call to the worker."""
        with self._guard:
            try:
                future = self._pool.submit(work, *args, **kwargs)
            except BrokenProcessPool:
                self._pool.shutdown(wait=False)
                self._pool = self._new_pool()
                future = self._pool.submit(work, *args, **kwargs)
            if self._longest_s is not None:
                _end_if_late(self._pool, future, self._longest_s)
            return future

    def warm_up(self, work: Callable[..., object]) -> None:
        """Start the worker now and let it load what a call needs, so that the first picture does not wait for it."""
        self.submit(_load, work.__module__)

    def close(self) -> None:
        """Finish what was handed over and end the worker."""
        with self._guard:
            pool = self._pool
        # Not under guard: what is told of finished calls meanwhile may want to hand over more, and is refused.
        pool.shutdown(wait=True, cancel_futures=False)

    def __enter__(self) -> "SturdyPool":
        return self

    def __exit__(self, *_: Any) -> None:
        self.close()


def one_thread_each() -> None:
    """Let linear algebra run in one thread, in processes started from now on and here, as long as NumPy is not loaded.

    The matrices here are small: threads of OpenBLAS, which is NumPy's, wait for each other at full speed, and take
    three times as much of the processor from everything else. It reads this when it is loaded.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def _end_if_late(pool: ProcessPoolExecutor, future: "Future[Any]", longest_s: float) -> None:
    # The pool offers no way to end a call; without its worker it calls itself broken.
    processes = pool._processes  # noqa: SLF001

    def end() -> None:
        if not future.done():
            for process in list((processes or {}).values()):
                process.kill()

    timer = threading.Timer(longest_s, end)
    timer.daemon = True
    timer.start()
    future.add_done_callback(lambda _: timer.cancel())


def _begin(initializer: Callable[..., None] | None) -> None:
    if os.isatty(2):
        # Libraries write of damaged pictures to the terminal, which may show a full screen just now.
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 2)
        os.close(nowhere)
    (initializer or end_with_parent)()


def end_with_parent() -> None:
    """Let this worker end when the process that started it is gone, however that ended.

    A worker of a pool holds both ends of its queues, so it would wait for ever for a parent that was killed.
    """
    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def watch() -> None:
        multiprocessing.connection.wait([parent.sentinel])
        os._exit(0)

    threading.Thread(target=watch, name="parent watch", daemon=True).start()


def _load(module: str) -> None:
    importlib.import_module(module)
