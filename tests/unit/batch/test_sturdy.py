"""A pool that outlives its workers, and workers that do not outlive the program."""

import os
import signal
import subprocess
import sys
import time
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

import psutil
import pytest

from tethercap.batch.pools import make_pool
from tethercap.batch.sturdy import SturdyPool

_PROGRAM = """
import os
from tethercap.batch.pools import stand_back
from tethercap.batch.sturdy import SturdyPool

if __name__ == "__main__":
    with SturdyPool() as one, SturdyPool(stand_back) as two:
        print(one.submit(os.getpid).result(), two.submit(os.getpid).result(), flush=True)
        input()
"""


def _die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


@pytest.mark.timeout(60)
def test_a_worker_that_died_is_replaced() -> None:
    with SturdyPool() as pool:
        with pytest.raises(BrokenProcessPool):
            pool.submit(_die).result()
        assert pool.submit(os.getpid).result() != os.getpid()


@pytest.mark.timeout(60)
def test_nothing_is_waited_for_when_a_pool_is_left_by_an_error() -> None:
    with pytest.raises(KeyboardInterrupt), make_pool("processes", 1) as pool:
        worker = pool.submit(os.getpid).result()
        calls = [pool.submit(time.sleep, 50) for _ in range(9)]
        raise KeyboardInterrupt
    assert calls[-1].done()
    assert not psutil.pid_exists(worker)


@pytest.mark.timeout(60)
def test_workers_end_when_their_parent_is_killed(tmp_path: Path) -> None:
    program = tmp_path / "program.py"
    program.write_text(_PROGRAM)
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    with subprocess.Popen(
        [sys.executable, program],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env=environment,
    ) as parent:
        assert parent.stdout is not None
        workers = [psutil.Process(int(pid)) for pid in parent.stdout.readline().split()]
        parent.kill()
        _, alive = psutil.wait_procs(workers, timeout=20)
    assert len(workers) == 2
    assert alive == []


def test_a_call_that_hangs_is_ended_and_the_next_one_gets_a_new_worker() -> None:
    with SturdyPool(longest_s=1.0) as pool:
        before = pool.submit(os.getpid).result(60)
        hanging = pool.submit(signal.pause)
        with pytest.raises(BrokenProcessPool):
            hanging.result(60)
        assert pool.submit(os.getpid).result(60) != before


def test_workers_do_linear_algebra_in_one_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("OPENBLAS_NUM_THREADS", raising=False)
    with SturdyPool() as pool:
        assert pool.submit(os.getenv, "OPENBLAS_NUM_THREADS").result(60) == "1"
