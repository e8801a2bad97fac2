"""The lock of a roll: one holder, named to others, gone with its process."""

import multiprocessing
import os
import signal
from datetime import UTC, datetime
from multiprocessing.synchronize import Event
from pathlib import Path

import pytest

from tethercap.errors import RollInUseError, StorageError
from tethercap.roll.lock import FILE_NAME, RollLock

NOW = datetime(2031, 4, 5, 12, 0, tzinfo=UTC)


def _hold(folder: Path, is_held: Event) -> None:
    RollLock(folder, NOW)
    is_held.set()
    signal.pause()


def test_a_holder_that_is_killed_lets_go(tmp_path: Path) -> None:
    spawning = multiprocessing.get_context("spawn")
    is_held = spawning.Event()
    process = spawning.Process(target=_hold, args=(tmp_path, is_held))
    process.start()
    assert is_held.wait(60)
    with pytest.raises(RollInUseError, match=f"process {process.pid} on .*, since 2031-04-05T12:00:00"):
        RollLock(tmp_path, NOW)
    process.kill()
    process.join()
    process.close()
    assert (tmp_path / FILE_NAME).exists()
    lock = RollLock(tmp_path, NOW)
    lock.release()
    lock.release()
    assert not (tmp_path / FILE_NAME).exists()


def test_the_same_process_does_not_get_it_twice(tmp_path: Path) -> None:
    lock = RollLock(tmp_path, NOW)
    with pytest.raises(RollInUseError, match=f"process {os.getpid()}"):
        RollLock(tmp_path, NOW)
    lock.release()


def test_scribble_in_the_file_is_no_trouble(tmp_path: Path) -> None:
    (tmp_path / FILE_NAME).write_bytes(b"\xff scribble")
    RollLock(tmp_path, NOW).release()


def test_a_folder_that_is_gone(tmp_path: Path) -> None:
    with pytest.raises(StorageError):
        RollLock(tmp_path / "gone", NOW)
