"""The record of a roll: a file that only grows, one JSON object a line, each line with its own checksum.

A line::

    {"v":1,"n":17,"at":"2026-03-02T18:04:11.250Z","kind":"skipped","frame":"9","why":"...","sum":"5f0c..."}

`v` is the version of the format, `n` counts the lines from 1, `at` is UTC, `kind` names one of the types in
`tethercap.roll.lines`. `sum` is always last: the first 16 hex digits of the SHA-256 of the line's bytes up to and
without ``,"sum"``, so that any tool can check it. A line counts once it is on the disk.
"""

import hashlib
import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

import msgspec

from tethercap.errors import StorageError
from tethercap.roll.lines import Line, LineBody, Noted
from tethercap.roll.store import FileLayer, disk_troubles

FILE_NAME: Final = "record.jsonl"
VERSION: Final = 1

_SUM_MARK = b',"sum":"'
_SUM_DIGITS = 16
_SUM_TAIL_BYTES = len(_SUM_MARK) + _SUM_DIGITS + len(b'"}')

_encoder = msgspec.json.Encoder()
_body_decoder = msgspec.json.Decoder(LineBody)


class _Head(msgspec.Struct, frozen=True):
    v: int
    n: int
    at: str


_head_decoder = msgspec.json.Decoder(_Head)


@dataclass(frozen=True, slots=True)
class Damage:
    """A place in the record that cannot be trusted."""

    line_number: int
    """In the file, from 1, as editors count; 0 where a whole line is missing."""
    why: str

    def __str__(self) -> str:
        return f"line {self.line_number}: {self.why}" if self.line_number else self.why


@dataclass(frozen=True, slots=True)
class RecordContents:
    """What a record file says."""

    lines: tuple[Line, ...]
    """Trusted lines in the order in which they were written."""
    damage: tuple[Damage, ...] = ()
    torn: bytes = b""
    """What stands after the last whole line: a line that was never finished, and so never counted."""
    sound_bytes: int = 0
    """Size of the file without the torn end."""
    ends_unfinished: bool = False
    """The last line is whole but for its line feed."""


def line_sum(content: bytes) -> str:
    """Checksum of a line's bytes before the ``,"sum"``."""
    return hashlib.sha256(content).hexdigest()[:_SUM_DIGITS]


def encode_line(number: int, at: str, body: LineBody) -> bytes:
    """One line of the record, line feed included."""
    head = _encoder.encode(_Head(VERSION, number, at))
    content = head[:-1] + b"," + _encoder.encode(body)[1:-1]
    return content + _SUM_MARK + line_sum(content).encode() + b'"}\n'


def decode_line(text: bytes) -> Line:
    """Read one line without its line feed.

    Raises
    ------
    ValueError
        With the reason, where the line cannot be trusted or is of a kind not known here.
    """
    content, tail = text[:-_SUM_TAIL_BYTES], text[-_SUM_TAIL_BYTES:]
    if not (tail.startswith(_SUM_MARK) and tail.endswith(b'"}')):
        raise ValueError("not a whole line of a record")
    if tail[len(_SUM_MARK) : -2] != line_sum(content).encode():
        raise ValueError("the checksum does not fit")
    try:
        head = _head_decoder.decode(text)
        if head.v > VERSION:
            raise ValueError(f"written by a newer tethercap (format {head.v})")
        return Line(head.n, head.at, _body_decoder.decode(text))
    except (msgspec.MsgspecError, UnicodeError, RecursionError) as error:
        raise ValueError(f"not understood ({str(error)[:200]})") from error


def read_record(content: bytes) -> RecordContents:
    """Read a whole record, whatever its state: what can be trusted is used, the rest is told.

    Lines that were copied twice or changed places are put right by their numbers.
    """
    whole, feed, rest = content.rpartition(b"\n")
    texts = whole.split(b"\n") if feed else []
    lines: list[tuple[int, Line]] = []
    damage: list[Damage] = []
    for line_number, text in enumerate(texts, start=1):
        try:
            lines.append((line_number, decode_line(text)))
        except ValueError as error:
            damage.append(Damage(line_number, str(error)))
    ends_unfinished = False
    if rest:
        try:
            lines.append((len(texts) + 1, decode_line(rest)))
            ends_unfinished, rest = True, b""
        except ValueError:
            pass
    ordered, order_damage = _put_in_order(lines, bool(damage))
    return RecordContents(tuple(ordered), tuple(damage + order_damage), rest, len(content) - len(rest), ends_unfinished)


def _put_in_order(lines: Iterable[tuple[int, Line]], is_damaged: bool) -> tuple[list[Line], list[Damage]]:
    """Lines sorted by their numbers, exact copies dropped; and what was odd about it."""
    damage: list[Damage] = []
    seen: dict[int, list[Line]] = {}
    highest = 0
    for line_number, line in lines:
        same_number = seen.setdefault(line.number, [])
        if line in same_number:
            damage.append(Damage(line_number, f"a copy of entry {line.number}; left out"))
            continue
        if same_number:
            damage.append(Damage(line_number, f"a second entry {line.number} that says something else; both are used"))
        elif line.number < highest:
            damage.append(Damage(line_number, f"entry {line.number} stands after entry {highest}; put in order"))
        same_number.append(line)
        highest = max(highest, line.number)
    missing = [number for number in range(1, highest + 1) if number not in seen] if highest < 1_000_000 else []
    if missing and not is_damaged:
        damage.append(Damage(0, f"{len(missing)} entries are missing, the first is entry {missing[0]}"))
    return [line for number in sorted(seen) for line in seen[number]], damage


def utc_text(now: datetime) -> str:
    """Time as the record writes it: UTC to the millisecond."""
    return now.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


class RecordWriter:
    """Appends to a record. One writer at a time: whoever holds the roll's lock.

    Parameters
    ----------
    now : callable
        Gives the date and time of a line, with time zone.
    """

    def __init__(self, layer: FileLayer, path: Path, contents: RecordContents, now: Callable[[], datetime]) -> None:
        self._layer = layer
        self._now = now
        self._path = path
        self._lock = threading.Lock()
        self._next_number = max((line.number for line in contents.lines), default=0) + 1
        self._size_bytes = contents.sound_bytes
        self._tail_is_sound = True
        with disk_troubles("opening the roll's record", safe="Nothing was changed."):
            self._handle = layer.open_append(path)
        try:
            self._mend_tail(contents)
        except BaseException:
            layer.close(self._handle)
            raise

    def _mend_tail(self, contents: RecordContents) -> None:
        """Take off a line that was never finished, so that the next one stands alone; its text goes into a note."""
        with disk_troubles("mending the roll's record", safe="The record still holds all that was in it."):
            if contents.ends_unfinished:
                self._layer.write(self._handle, b"\n")
                self._layer.sync(self._handle)
                self._size_bytes += 1
            elif contents.torn:
                self._layer.truncate(self._handle, self._size_bytes)
        if contents.torn:
            text = contents.torn[:2000].decode("utf-8", "backslashreplace")
            self.append(Noted(text="A last line that was never finished was taken off the record.", detail=text))

    def append(self, body: LineBody) -> Line:
        """Write one line and wait until it is on the disk.

        Raises
        ------
        StorageError
            Then the line does not count, and the file is put back as it was as soon as the disk lets it.
        """
        with self._lock, disk_troubles("writing the roll's record", safe="What was filed before stays filed."):
            line = Line(self._next_number, utc_text(self._now()), body)
            content = encode_line(line.number, line.at, body)
            if not self._tail_is_sound:
                self._layer.truncate(self._handle, self._size_bytes)
                self._tail_is_sound = True
            self._tail_is_sound = False
            try:
                self._layer.write(self._handle, content)
                self._layer.sync(self._handle)
            except OSError:
                self._put_tail_back()
                raise
            self._tail_is_sound = True
            self._size_bytes += len(content)
            self._next_number += 1
            return line

    def _put_tail_back(self) -> None:
        try:
            self._layer.truncate(self._handle, self._size_bytes)
            self._tail_is_sound = True
        except OSError:
            pass  # the next append tries again before it writes

    def close(self) -> None:
        """Close the file; safe to call twice."""
        with self._lock:
            if self._handle >= 0:
                handle, self._handle = self._handle, -1
                self._layer.close(handle)


def read_record_file(path: Path) -> RecordContents:
    """Read the record at `path`; an empty one where there is none.

    Raises
    ------
    StorageError
    """
    try:
        return read_record(path.read_bytes())
    except FileNotFoundError:
        return RecordContents(())
    except OSError as error:
        raise StorageError(
            f"The roll's record cannot be read: {error}.", safe="Nothing was changed.", todo="Look at the disk."
        ) from error
