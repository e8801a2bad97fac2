"""Where conversions run: in this process, or in some of their own that stand back for the capture."""

import contextlib
import importlib
import multiprocessing
import os
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from types import TracebackType
from typing import Any, Literal, ParamSpec, TypeVar

import cv2

from tethercap.batch.sturdy import end_with_parent, one_thread_each
from tethercap.errors import ConversionError, TethercapError

PoolKind = Literal["serial", "processes"]
_P = ParamSpec("_P")
_T = TypeVar("_T")
_NICENESS, _NICENESS_OF_CHECKS, _NICENESS_OF_PROOFS = 10, 5, 1
_CLUSTER_TIMEOUT = "10s"


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


class _Processes(ProcessPoolExecutor):
    """Processes that are ended, whatever they do, when their block is left by an error or by Ctrl+C."""

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is not None:
            # What they write has a passing name until it is whole, so nothing is lost but the time.
            for process in list((self._processes or {}).values()):
                process.kill()
        self.shutdown(wait=True, cancel_futures=kind is not None)


class ClusterExecutor(Executor):
    """Runs calls on a Dask cluster; its workers have to see the same files under the same names.

    Parameters
    ----------
    address : str
        Of the scheduler, like "tcp://127.0.0.1:8786".

    Raises
    ------
    TethercapError
        If the library is not installed, or no scheduler answers there.
    """

    def __init__(self, address: str) -> None:
        try:
            distributed = importlib.import_module("distributed")
        except ImportError as error:
            raise TethercapError(
                "Converting on a cluster needs a library that is not installed.",
                todo="Install it: pip install 'tethercap[cluster]'.",
            ) from error
        try:
            self._client = distributed.Client(address, timeout=_CLUSTER_TIMEOUT, set_as_default=False)
        except (OSError, ValueError) as error:
            raise TethercapError(
                f"No cluster answers at {address}: {error}.", todo="Start its scheduler and workers, then try again."
            ) from error
        # Two equal calls are two calls: each writes its file.
        self._executor = self._client.get_executor(pure=False)

    def submit(self, fn: Callable[_P, _T], /, *args: _P.args, **kwargs: _P.kwargs) -> "Future[_T]":
        """Hand the call to the cluster."""
        handed: Future[_T] = self._executor.submit(fn, *args, **kwargs)
        return handed

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Let go of the cluster; it goes on running."""
        self._executor.shutdown(wait=wait)
        self._client.close()


@contextlib.contextmanager
def death_told(what: str) -> Iterator[None]:
    """Say in words that a process of a pool died while something was done, like "the roll was looked at".

    Raises
    ------
    ConversionError
    """
    try:
        yield
    except BrokenProcessPool as error:
        raise ConversionError(
            f"A process died while {what}.",
            safe="Nothing was changed.",
            todo="Try with --jobs 1; the file at which it stops then is the damaged one.",
        ) from error


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
        Use it in a ``with`` block: left by an error, nothing that was handed over is waited for.
    """
    if kind == "serial":
        return SerialExecutor()
    one_thread_each()
    context = multiprocessing.get_context("spawn")
    return _Processes(workers, mp_context=context, initializer=stand_back)


def stand_back(*_: Any) -> None:
    """Give way to the process that captures, and keep libraries from starting threads of their own."""
    _give_way(_NICENESS)


def step_aside(*_: Any) -> None:
    """Give way to live view alone: a person waits for what is made."""
    _give_way(_NICENESS_OF_PROOFS)


def let_proofs_by(*_: Any) -> None:
    """Give way to live view and to a proof of the same picture, and go before those that `stand_back`."""
    _give_way(_NICENESS_OF_CHECKS)


def _give_way(niceness: int) -> None:
    end_with_parent()
    os.nice(niceness)
    cv2.setNumThreads(1)
    os.environ["OMP_NUM_THREADS"] = "1"
