"""What a record adds up to, for any lines in any order."""

from hypothesis import given
from hypothesis import strategies as st

from tests.unit.roll.rolls import setup
from tethercap.errors import RollNameError
from tethercap.roll.lines import (
    Blank,
    Companion,
    Converted,
    Described,
    Filed,
    FrameMove,
    Line,
    LineBody,
    NextFrame,
    Picked,
    Renumbered,
    Renumbering,
    Reopened,
    SetAside,
    SheetMade,
    Skipped,
    StripStarted,
)
from tethercap.roll.record import encode_line, read_record
from tethercap.roll.state import FrameStatus, rebuild

_FRAMES = st.sampled_from(["S", "00", "0", "1", "1A", "2", "3", "998", "999", "999A", "17B", "", "../1"])
_TAKES = st.integers(1, 3)
_SUMS = st.sampled_from(["a" * 64, "b" * 64])
_FILES = st.sampled_from(["raw/X_01.dng", "raw/X_02.dng", "positive/X_01.tif", "../x", "/x", "raw/../../x", ""])
_MOVES = st.builds(FrameMove, frame=_FRAMES, new_frame=_FRAMES)
_BODIES: st.SearchStrategy[LineBody] = st.one_of(
    st.builds(
        Filed, frame=_FRAMES, take=_TAKES, file=_FILES, sha256=_SUMS, size_bytes=st.just(1), accepted=st.booleans()
    ),
    st.builds(Companion, frame=_FRAMES, take=_TAKES, file=_FILES, sha256=_SUMS, size_bytes=st.just(1)),
    st.builds(Converted, frame=_FRAMES, take=_TAKES, positive=_FILES, positive_sha256=_SUMS),
    st.builds(SetAside, file=_FILES, was=_FILES, why=st.just(""), frame=_FRAMES, take=_TAKES, sha256=_SUMS),
    st.builds(Skipped, frame=_FRAMES),
    st.builds(Blank, frame=_FRAMES),
    st.builds(Reopened, frame=_FRAMES),
    st.builds(Picked, frame=_FRAMES, take=_TAKES),
    st.builds(NextFrame, frame=_FRAMES),
    st.builds(StripStarted, strip=st.integers(1, 3), numbers_run=st.sampled_from([1, -1]), first=_FRAMES | st.just("")),
    st.builds(Renumbering, frames=st.lists(_MOVES, max_size=2).map(tuple), files=st.just(())),
    st.builds(Renumbered),
    st.builds(SheetMade, file=_FILES, sha256=_SUMS),
    st.builds(Described, sha256=st.dictionaries(_FILES, _SUMS, max_size=2)),
)
_LINES = st.lists(_BODIES, max_size=12).map(lambda bodies: [Line(n, "", body) for n, body in enumerate(bodies, 1)])


@given(_LINES)
def test_any_lines_add_up_to_something_usable(lines: list[Line]) -> None:
    state, troubles = rebuild(setup(), lines)
    assert not any(".." in file or file.startswith("/") for file in state.sums)
    assert all(frame.frame_id == frame_id for frame_id, frame in state.frames.items())
    for frame in state.frames.values():
        assert [take.number for take in frame.takes] == sorted({take.number for take in frame.takes})
        assert frame.is_closed == (frame.status not in {FrameStatus.OPEN, FrameStatus.HELD})
    try:
        next_id = state.next_frame_id()
    except RollNameError:
        return
    assert next_id == state.next_asked or not state.frame(next_id).is_closed
    assert len(troubles) <= len(lines)


@given(_LINES)
def test_a_record_that_was_written_and_read_adds_up_to_the_same(lines: list[Line]) -> None:
    content = b"".join(encode_line(line.number, line.at, line.body) for line in lines)
    assert rebuild(setup(), read_record(content).lines) == rebuild(setup(), lines)
