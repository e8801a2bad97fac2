"""The record: whatever happens to the file, what can be trusted is used and the rest is told with its place."""

import errno
import hashlib
import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.unit.roll.rolls import HastyDisk, ticking
from tethercap.errors import StorageError
from tethercap.roll.lines import Blank, Filed, Line, LineBody, NextFrame, Noted, Skipped
from tethercap.roll.record import RecordContents, RecordWriter, encode_line, read_record, read_record_file

_FRAMES = st.sampled_from(["00", "0", "1", "2", "36A"])
_BODIES: st.SearchStrategy[LineBody] = st.one_of(
    st.builds(Skipped, frame=_FRAMES, why=st.text(max_size=20)),
    st.builds(Blank, frame=_FRAMES),
    st.builds(NextFrame, frame=_FRAMES),
    st.builds(Noted, text=st.text(max_size=40), detail=st.text(max_size=20)),
    st.builds(
        Filed,
        frame=_FRAMES,
        take=st.integers(1, 9),
        file=st.just("raw/A_01.dng"),
        sha256=st.from_regex(r"[0-9a-f]{64}", fullmatch=True),
        size_bytes=st.integers(0, 2**40),
        accepted=st.booleans(),
        tilt_deg=st.floats(-5, 5) | st.none(),
    ),
)
_RECORDS = st.lists(_BODIES, max_size=8)


def _texts(bodies: list[LineBody]) -> list[bytes]:
    return [encode_line(number, f"2031-04-05T12:00:{number:02}.000Z", body) for number, body in enumerate(bodies, 1)]


def _bodies(contents: RecordContents) -> list[LineBody]:
    return [line.body for line in contents.lines]


@given(_RECORDS)
def test_what_is_written_reads_the_same(bodies: list[LineBody]) -> None:
    read = read_record(b"".join(_texts(bodies)))
    assert _bodies(read) == bodies
    assert not read.damage
    assert not read.torn


def test_a_line_can_be_checked_without_this_program() -> None:
    text = encode_line(3, "2031-04-05T12:00:00.000Z", Skipped(frame="9", why='a "why", with ,"sum":"0"')).decode()
    fields = json.loads(text)
    assert (fields["v"], fields["n"], fields["kind"], fields["frame"]) == (1, 3, "skipped", "9")
    content = text[: text.rindex(',"sum":')]
    assert hashlib.sha256(content.encode()).hexdigest()[:16] == fields["sum"]


@given(_RECORDS, st.data())
def test_any_prefix_gives_the_lines_that_are_whole(bodies: list[LineBody], data: st.DataObject) -> None:
    texts = _texts(bodies)
    content = b"".join(texts)
    length = data.draw(st.integers(0, len(content)))
    read = read_record(content[:length])
    ends = [sum(map(len, texts[: count + 1])) for count in range(len(texts))]
    # A line whose line feed alone is missing is whole: its checksum says so.
    whole = sum(end - 1 <= length for end in ends)
    assert _bodies(read) == bodies[:whole]
    assert not read.damage
    assert read.sound_bytes + len(read.torn) == length


@given(_RECORDS, st.data())
def test_a_damaged_byte_costs_one_line_and_is_told(bodies: list[LineBody], data: st.DataObject) -> None:
    texts = _texts([*bodies, Blank(frame="1")])
    number = data.draw(st.integers(0, len(texts) - 2)) if len(texts) > 1 else 0
    place = data.draw(st.integers(0, len(texts[number]) - 2))
    damaged = bytearray(texts[number])
    damaged[place] ^= data.draw(st.integers(1, 255))
    content = b"".join([*texts[:number], bytes(damaged), *texts[number + 1 :]])
    read = read_record(content)
    expected = [*bodies, Blank(frame="1")]
    del expected[number]
    assert _bodies(read) == expected
    assert any(damage.line_number == number + 1 for damage in read.damage)


@given(_RECORDS, st.data())
def test_lost_lines_are_told(bodies: list[LineBody], data: st.DataObject) -> None:
    texts = _texts([*bodies, Blank(frame="1"), Blank(frame="2")])
    gone = data.draw(st.integers(0, len(texts) - 2))
    read = read_record(b"".join(texts[:gone] + texts[gone + 1 :]))
    assert [damage.why for damage in read.damage] == [f"1 entries are missing, the first is entry {gone + 1}"]


@given(_RECORDS, st.randoms(use_true_random=False), st.data())
def test_copies_and_another_order_change_nothing(bodies: list[LineBody], chance: object, data: st.DataObject) -> None:
    texts = _texts(bodies)
    copies = data.draw(st.lists(st.sampled_from(texts), max_size=3)) if texts else []
    shuffled = [*texts, *copies]
    chance.shuffle(shuffled)  # type: ignore[attr-defined]
    read = read_record(b"".join(shuffled))
    assert _bodies(read) == bodies
    assert bool(read.damage) == (shuffled != texts)


@given(st.binary(max_size=400))
def test_any_bytes_are_read(content: bytes) -> None:
    read = read_record(content)
    assert not read.lines
    assert read.sound_bytes + len(read.torn) == len(content)


@given(st.text(max_size=100))
def test_a_line_with_a_right_sum_and_wrong_content_is_told(text: str) -> None:
    body = json.dumps({"v": 1, "n": 1, "at": "x", "kind": text}).encode()[:-1]
    line = body + b',"sum":"' + hashlib.sha256(body).hexdigest()[:16].encode() + b'"}\n'
    read = read_record(line)
    assert not read.lines
    assert len(read.damage) == 1


def test_a_newer_format_is_said_to_be_newer() -> None:
    body = b'{"v":2,"n":1,"at":"x","kind":"blank","frame":"1"'
    read = read_record(body + b',"sum":"' + hashlib.sha256(body).hexdigest()[:16].encode() + b'"}\n')
    assert "newer tethercap" in read.damage[0].why


def _writer(path: Path, layer: HastyDisk | None = None) -> RecordWriter:
    return RecordWriter(layer or HastyDisk(), path, read_record_file(path), ticking())


def test_lines_are_numbered_on(tmp_path: Path) -> None:
    path = tmp_path / "record.jsonl"
    for _ in range(2):
        writer = _writer(path)
        writer.append(Blank(frame="1"))
        writer.append(Blank(frame="2"))
        writer.close()
        writer.close()
    assert [line.number for line in read_record_file(path).lines] == [1, 2, 3, 4]


@pytest.mark.parametrize("cut", [1, 10, 40])
def test_a_torn_end_is_taken_off_and_noted(tmp_path: Path, cut: int) -> None:
    path = tmp_path / "record.jsonl"
    texts = _texts([Blank(frame="1"), Blank(frame="2")])
    path.write_bytes(texts[0] + texts[1][: -1 - cut])
    writer = _writer(path)
    writer.append(Blank(frame="3"))
    writer.close()
    read = read_record_file(path)
    assert not read.damage
    first, note, last = _bodies(read)
    assert first == Blank(frame="1")
    assert isinstance(note, Noted)
    assert note.detail == texts[1][: -1 - cut].decode()
    assert last == Blank(frame="3")


def test_a_last_line_without_its_line_feed_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "record.jsonl"
    path.write_bytes(_texts([Blank(frame="1")])[0][:-1])
    writer = _writer(path)
    writer.append(Blank(frame="2"))
    writer.close()
    assert _bodies(read_record_file(path)) == [Blank(frame="1"), Blank(frame="2")]


class _FailingDisk(HastyDisk):
    """Writes half of what it is given, then fails, as often as told."""

    def __init__(self, failures: int, truncate_failures: int = 0) -> None:
        self.failures = failures
        self.truncate_failures = truncate_failures

    def truncate(self, handle: int, size_bytes: int) -> None:
        if self.truncate_failures:
            self.truncate_failures -= 1
            raise OSError(errno.EIO, "fault")
        super().truncate(handle, size_bytes)

    def write(self, handle: int, content: bytes) -> None:
        if self.failures:
            self.failures -= 1
            super().write(handle, content[: len(content) // 2])
            raise OSError(errno.ENOSPC, "full")
        super().write(handle, content)


@pytest.mark.parametrize(("truncate_failures", "refusals"), [(0, 2), (1, 2), (2, 3)])
def test_a_line_that_could_not_be_written_leaves_no_trace(
    tmp_path: Path, truncate_failures: int, refusals: int
) -> None:
    path = tmp_path / "record.jsonl"
    writer = _writer(path, _FailingDisk(2, truncate_failures))
    for _ in range(refusals):
        with pytest.raises(StorageError):
            writer.append(Blank(frame="1"))
    line = writer.append(Blank(frame="2"))
    writer.close()
    read = read_record_file(path)
    assert read.lines == (Line(1, line.at, Blank(frame="2")),)
    assert not read.damage
