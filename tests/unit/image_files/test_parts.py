import hashlib
import os
import threading
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from tethercap.image_files.parts import PartsOnDisk

SIZE = 3_000_000


@pytest.fixture
def content() -> bytes:
    return np.random.default_rng(1).bytes(SIZE)


def cut(content: bytes, parts: int) -> list[tuple[int, memoryview]]:
    edges = np.linspace(0, len(content), parts + 1).astype(int)
    view = memoryview(content)
    return [(int(start), view[start:stop]) for start, stop in pairwise(edges)]


@pytest.mark.parametrize("order", [(0, 1, 2, 3), (3, 2, 1, 0), (1, 0, 3, 2)])
def test_parts_in_any_order_give_file_and_checksum(content: bytes, order: tuple[int, ...], tmp_path: Path) -> None:
    pieces = cut(content, 4)
    with (tmp_path / "a").open("w+b") as file, PartsOnDisk(file.fileno(), with_sha256=True) as parts:
        for number in order:
            parts.write(*pieces[number])
        assert parts.finish() == hashlib.sha256(content).hexdigest()
    assert (tmp_path / "a").read_bytes() == content


def test_what_others_wrote_belongs_to_it(content: bytes, tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(content)
    with (tmp_path / "a").open("r+b") as file, PartsOnDisk(file.fileno(), with_sha256=True) as parts:
        parts.write(1000, memoryview(bytes(500)))
        parts.add_written(1500, SIZE - 1500)
        parts.add_written(0, 1000)
        assert parts.finish() == hashlib.sha256((tmp_path / "a").read_bytes()).hexdigest()


def test_threads_may_write_at_once(content: bytes, tmp_path: Path) -> None:
    pieces = cut(content, 64)
    with (tmp_path / "a").open("w+b") as file, PartsOnDisk(file.fileno(), with_sha256=True) as parts:
        together = threading.Barrier(4)

        def write_some(first: int) -> None:
            together.wait()
            for piece in pieces[first::4]:
                parts.write(*piece)

        threads = [threading.Thread(target=write_some, args=(first,)) for first in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert parts.finish() == hashlib.sha256(content).hexdigest()


def test_a_missing_part_is_told(tmp_path: Path) -> None:
    with (tmp_path / "a").open("w+b") as file, PartsOnDisk(file.fileno(), with_sha256=True) as parts:
        parts.write(0, memoryview(b"head"))
        parts.write(8, memoryview(b"tail"))
        with pytest.raises(ValueError, match="nothing was written at 4"):
            parts.finish()


def test_a_file_that_was_cut_off_meanwhile_is_an_error(tmp_path: Path) -> None:
    with (tmp_path / "a").open("w+b") as file, PartsOnDisk(file.fileno(), with_sha256=True) as parts:
        parts.write(4, memoryview(b"tail"))
        os.ftruncate(file.fileno(), 2)
        with pytest.raises(OSError, match="shorter"):
            parts.write(0, memoryview(b"he"))
            parts.add_written(2, 2)


def test_a_disk_that_refuses_what_was_handed_over_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("tethercap.image_files.parts._FLUSHED_BYTES", 4)
    monkeypatch.setattr("tethercap.image_files.parts.os.fsync", refuse)
    with (tmp_path / "a").open("w+b") as file, PartsOnDisk(file.fileno(), with_sha256=True) as parts:
        parts.write(0, memoryview(b"head"))
        with pytest.raises(OSError, match="No space left"):
            parts.finish()
