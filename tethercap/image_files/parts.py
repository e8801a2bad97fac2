"""A file written in parts, in any order and from any thread: the disk works, and a checksum is taken, meanwhile."""

import hashlib
import os
import threading
from concurrent.futures import Future, ThreadPoolExecutor
from types import TracebackType

_PIECE_BYTES = 1 << 20
_FLUSHED_BYTES = 16 << 20
"""What is handed to the disk at once, so that little is left to wait for in the end."""


class PartsOnDisk:
    """Parts of an open file; use in a ``with`` block, at the end of which nothing of it is under way any more.

    A checksum needs them in order. Whoever writes the part that is due goes on with those behind it that are there,
    read from the file again; the others do not wait for that.

    Parameters
    ----------
    file_descriptor : int
        Open for reading and writing; not closed here.
    with_sha256 : bool
        Take a checksum.
    """

    def __init__(self, file_descriptor: int, *, with_sha256: bool) -> None:
        self._file = file_descriptor
        self._digest = hashlib.sha256() if with_sha256 else None
        self._guard = threading.Lock()
        self._waiting: dict[int, int] = {}
        self._is_summing = False
        self._end = 0
        self._memory = memoryview(bytearray(_PIECE_BYTES))
        self._flushing = ThreadPoolExecutor(1, thread_name_prefix="flush")
        self._flush: Future[None] | None = None
        self._unflushed = 0

    def __enter__(self) -> "PartsOnDisk":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._flushing.shutdown()

    def write(self, place: int, content: memoryview) -> None:
        """Write a part.

        Raises
        ------
        OSError
        """
        left, at = content, place
        while left:
            written = os.pwrite(self._file, left, at)
            left, at = left[written:], at + written
        self._flush_behind(len(content))
        self.add_written(place, len(content), content)

    def _flush_behind(self, size: int) -> None:
        with self._guard:
            self._unflushed += size
            if self._unflushed < _FLUSHED_BYTES or (self._flush is not None and not self._flush.done()):
                return
            before, self._unflushed = self._flush, 0
            self._flush = self._flushing.submit(os.fsync, self._file)
        if before is not None:
            before.result()

    def add_written(self, place: int, size: int, content: memoryview | None = None) -> None:
        """Take note of a part that is in the file.

        Raises
        ------
        OSError
        """
        if self._digest is None:
            return
        with self._guard:
            self._waiting[place] = size
        while self._take_next(self._digest, place, content):
            pass

    def _take_next(self, digest: "hashlib._Hash", place: int, content: memoryview | None) -> bool:
        with self._guard:
            if self._is_summing or self._end not in self._waiting:
                return False
            start = self._end
            end = start + self._waiting.pop(start)
            self._is_summing = True
        try:
            if start == place and content is not None:
                digest.update(content)
            else:
                self._read(digest, start, end)
        finally:
            with self._guard:
                self._end, self._is_summing = end, False
        return True

    def _read(self, digest: "hashlib._Hash", start: int, end: int) -> None:
        while start < end:
            piece = self._memory[: end - start]
            read = os.preadv(self._file, [piece], start)
            if not read:
                raise OSError("the file is shorter than what was written to it")
            digest.update(piece[:read])
            start += read

    def finish(self) -> str:
        """Wait for the disk.

        Returns
        -------
        str
            SHA-256 of the file from its start to the end of the last part, hex; empty where none was asked for.

        Raises
        ------
        OSError
            If the disk refused one.
        ValueError
            If one is missing that a checksum needs.
        """
        if self._flush is not None:
            # The system tells of a failure once, to whoever asks first.
            self._flush.result()
        if self._waiting:
            raise ValueError(f"nothing was written at {self._end}")
        return "" if self._digest is None else self._digest.hexdigest()
