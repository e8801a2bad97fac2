"""Frame numbers as film edges print them, roll ids that every system takes."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tethercap.errors import RollNameError
from tethercap.roll.names import (
    FrameId,
    check_path,
    check_roll_id,
    check_suffix,
    parse_frame_range,
    parse_stem,
    stem,
)

FRAME_IDS = st.builds(FrameId, st.integers(-2, 999), st.booleans())
ROLL_IDS = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9._-]{0,20}[A-Za-z0-9]", fullmatch=True)


@pytest.mark.parametrize(
    ("typed", "label", "file_part"),
    [
        ("0", "0", "0"),
        ("00", "00", "00"),
        ("1", "1", "01"),
        (7, "7", "07"),
        ("007", "7", "07"),
        (" 36a ", "36A", "36A"),
        ("0A", "0A", "0A"),
        ("00A", "00A", "00A"),
        ("s", "S", "S"),
        ("120", "120", "120"),
    ],
)
def test_reads_what_edges_print(typed: str | int, label: str, file_part: str) -> None:
    assert str(FrameId.parse(typed)) == label
    assert FrameId.parse(typed).file_part == file_part


@pytest.mark.parametrize("typed", ["", "000", "1B", "A", "-1", "1000", "1.0", "1/2", "../1", "٣", "1 A", "X1"])
def test_refuses_what_no_edge_prints(typed: str) -> None:
    with pytest.raises(RollNameError):
        FrameId.parse(typed)


def test_frames_sort_as_they_lie_on_the_film() -> None:
    order = ["S", "00", "00A", "0", "0A", "1", "1A", "2", "9", "10", "36", "36A"]
    assert sorted(map(FrameId.parse, reversed(order))) == list(map(FrameId.parse, order))


@pytest.mark.parametrize(
    ("start", "step", "by_halves", "expected"),
    [
        ("00", 1, False, "0"),
        ("0", 1, False, "1"),
        ("36", 1, False, "37"),
        ("1A", 1, False, "2A"),
        ("1", 1, True, "1A"),
        ("1A", 1, True, "2"),
        ("00A", 1, True, "0"),
        ("1", -1, False, "0"),
        ("0", -1, False, "00"),
        ("1", -1, True, "0A"),
        ("12", -1, False, "11"),
        ("5", 3, True, "6A"),
    ],
)
def test_goes_on_along_the_film(start: str, step: int, by_halves: bool, expected: str) -> None:
    assert str(FrameId.parse(start).next(step, by_halves=by_halves)) == expected


@pytest.mark.parametrize(("start", "step"), [("S", -1), ("999", 1)])
def test_says_so_where_the_numbers_end(start: str, step: int) -> None:
    with pytest.raises(RollNameError, match="no frame number"):
        FrameId.parse(start).next(step)


@given(FRAME_IDS, st.integers(-5, 5), st.booleans())
def test_a_step_back_undoes_a_step(frame_id: FrameId, step: int, by_halves: bool) -> None:
    try:
        there = frame_id.next(step, by_halves=by_halves)
    except RollNameError:
        return
    assert there.next(-step, by_halves=by_halves) == frame_id
    assert (there > frame_id) == (step > 0)


@given(ROLL_IDS, FRAME_IDS, st.integers(1, 50))
def test_a_file_name_tells_frame_and_take(roll_id: str, frame_id: FrameId, take: int) -> None:
    assert FrameId.parse(str(frame_id)) == frame_id
    assert parse_stem(roll_id, stem(roll_id, frame_id, take)) == (frame_id, take)


@given(st.text(max_size=30))
def test_other_names_tell_nothing_or_are_our_own(text: str) -> None:
    found = parse_stem("R1", text)
    assert found is None or stem("R1", *found) == text


def test_two_frames_never_share_a_file_name() -> None:
    frames = [FrameId(number, half) for number in range(-2, 1000) for half in (False, True)]
    names = {stem("r", frame_id, take).lower() for frame_id in frames for take in (1, 2)}
    assert len(names) == 2 * len(frames)


@pytest.mark.parametrize("text", ["2024-017", "A", "x_1.b", "a" * 60, "CONTACT", "COM10"])
def test_takes_portable_roll_ids(text: str) -> None:
    assert check_roll_id(text) == text


@pytest.mark.parametrize(
    "text",
    ["", ".", "..", ".x", "a/b", "a\\b", "a b", "ä", "a.", "-x", "a" * 61, "con", "NUL", "com1.x", "a\n", "a:b", "a\0"],
)
def test_refuses_roll_ids_that_some_system_does_not_take(text: str) -> None:
    with pytest.raises(RollNameError):
        check_roll_id(text)


def test_suffixes_from_cameras_are_not_trusted() -> None:
    assert check_suffix(".DNG") == ".dng"
    for text in ("", "dng", ".", "./x", ".d/g", ".dng.xmp", ".xmp", ".part", ".abcdef", ".d\0"):
        with pytest.raises(RollNameError):
            check_suffix(text)


def test_paths_of_a_record_stay_inside_the_roll() -> None:
    for text in ("raw/A_01.dng", "A_contact.jpg", "raw/.A_01.dng.0011aabb.whole"):
        assert check_path(text) == text
    for text in ("/x", "../x", "raw/../../x", "raw/..", "a/b/c", "..", "raw/x\n", "raw\\x", "", "raw/" + "x" * 300):
        with pytest.raises(RollNameError):
            check_path(text)


def test_ranges_of_frames() -> None:
    assert parse_frame_range("7") == (FrameId(7), FrameId(7))
    assert parse_frame_range("00-36A") == (FrameId(-1), FrameId(36, is_half=True))
    for text in ("12-7", "7-", "-7", "7-9-11", "a-b"):
        with pytest.raises(RollNameError):
            parse_frame_range(text)
