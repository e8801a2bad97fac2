"""Frame numbers as people need them: any start, halves, gaps, strips in any order and any way round, corrections."""

import hashlib
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.unit.roll import rolls
from tests.unit.roll.rolls import ACCEPTED, NOT_ACCEPTED, picture, put_positive, receive, reopen, take
from tethercap.errors import RollError, RollExistsError
from tethercap.roll.fixity import verify
from tethercap.roll.folder import Roll
from tethercap.roll.names import FrameId
from tethercap.roll.state import second_id


@pytest.fixture
def roll(tmp_path: Path) -> Iterator[Roll]:
    with rolls.create(tmp_path / "roll") as made:
        yield made


def _take_next(roll: Roll, count: int) -> list[str]:
    start = sum(len(frame.takes) for frame in roll.frames.values())
    return [take(roll, roll.next_frame_id(), start + number).frame_id for number in range(count)]


def _pictures(roll: Roll) -> dict[str, int]:
    """Frame -> number of the picture that stands for it."""
    numbers = {picture(number): number for number in range(100)}
    return {
        str(frame_id): numbers[(roll.path / frame.chosen.filed.file).read_bytes()]
        for frame_id, frame in roll.frames.items()
        if frame.chosen is not None
    }


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ({}, ["1", "2", "3"]),
        ({"first_frame": "00"}, ["00", "0", "1"]),
        ({"first_frame": "0A"}, ["0A", "1A", "2A"]),
        ({"first_frame": "12", "numbers_run": -1}, ["12", "11", "10"]),
        ({"film_format": "135-18x24"}, ["1", "1A", "2"]),
        ({"film_format": "135-18x24", "first_frame": "00"}, ["00", "00A", "0"]),
    ],
)
def test_numbers_from_the_start(tmp_path: Path, fields: dict[str, object], expected: list[str]) -> None:
    with rolls.create(tmp_path / "roll", rolls.setup(**fields)) as roll:
        assert _take_next(roll, 3) == expected


def test_a_picture_that_is_not_accepted_leaves_the_frame_open(roll: Roll) -> None:
    take(roll, "1", 1, NOT_ACCEPTED)
    assert str(roll.next_frame_id()) == "1"
    assert roll.marks() == {"1": "held"}


def test_skipped_and_blank_frames_are_stepped_over(roll: Roll) -> None:
    _take_next(roll, 1)
    roll.skip("2", "torn")
    roll.mark_blank("3")
    assert str(roll.next_frame_id()) == "4"
    assert roll.marks() == {"1": "taken", "2": "skipped", "3": "blank"}
    roll.reopen("2")
    roll.go_to("2")
    assert _take_next(roll, 1) == ["2"]
    assert str(roll.next_frame_id()) == "4"


def test_going_to_a_frame_outlives_the_run(roll: Roll) -> None:
    _take_next(roll, 2)
    roll.go_to("20")
    roll.close()
    with reopen(roll.path) as again:
        assert _take_next(again, 2) == ["20", "21"]


def test_a_retake_comes_back_to_where_the_roll_stands(roll: Roll) -> None:
    _take_next(roll, 4)
    roll.go_to("2")
    assert _take_next(roll, 2) == ["2", "5"]
    frame = roll.frames[FrameId(2)]
    assert [entry.number for entry in frame.takes] == [1, 2]
    assert frame.chosen is not None
    assert frame.chosen.number == 2


def test_picking_among_takes(roll: Roll) -> None:
    take(roll, "1", 1, NOT_ACCEPTED)
    take(roll, "1", 2)
    roll.pick("1", 1)
    assert _pictures(roll) == {"1": 1}
    with pytest.raises(RollError, match="Frame 1 has no take 3"):
        roll.pick("1", 3)
    roll.close()
    with reopen(roll.path) as again:
        assert _pictures(again) == {"1": 1}
        take(again, "1", 3)
        assert _pictures(again) == {"1": 3}, "a new accepted take stands for the frame again"


def test_a_strip_put_in_backwards_and_the_wrong_way_up(roll: Roll) -> None:
    assert roll.start_strip() == 1
    assert _take_next(roll, 6) == ["1", "2", "3", "4", "5", "6"]
    assert roll.start_strip(first="12", numbers_run=-1, mirrored=True) == 2
    assert _take_next(roll, 6) == ["12", "11", "10", "9", "8", "7"]
    roll.start_strip()
    assert _take_next(roll, 2) == ["13", "14"]
    takes = {str(frame_id): frame.takes[0].filed for frame_id, frame in roll.frames.items()}
    assert [takes[number].mirrored for number in ("6", "12", "7", "13")] == [False, True, True, False]
    assert [takes[number].strip for number in ("6", "12", "7", "13")] == [1, 2, 2, 3]
    assert "Xmp.tiff.Orientation=2" in (roll.path / "raw/X31-007_09.xmp").read_text()
    assert "Xmp.tiff.Orientation" not in (roll.path / "raw/X31-007_13.xmp").read_text()


def test_taking_a_strip_out_ends_what_was_said_of_how_it_lay(roll: Roll) -> None:
    roll.start_strip(first="6", numbers_run=-1, mirrored=True)
    _take_next(roll, 3)
    assert (roll.strip_is_in, roll.numbers_run, str(roll.next_frame_id())) == (True, -1, "3")
    assert roll.start_strip(again=True, first="2") == 1, "the same strip, said again"
    assert (roll.numbers_run, roll.mirrored) == (-1, True)
    roll.end_strip()
    assert (roll.strip_is_in, roll.mirrored, str(roll.next_frame_id())) == (False, False, "7")


def test_strips_in_any_order(roll: Roll) -> None:
    roll.start_strip(first="13")
    _take_next(roll, 6)
    roll.start_strip(first="1")
    _take_next(roll, 6)
    roll.start_strip(first="7")
    assert _take_next(roll, 6) == ["7", "8", "9", "10", "11", "12"]
    assert list(map(str, roll.frames)) == list(map(str, range(1, 19)))
    assert str(roll.next_frame_id()) == "19"


def test_a_strip_is_renumbered_afterwards(roll: Roll) -> None:
    _take_next(roll, 6)
    take(roll, "3", 6)
    roll.skip("7", "torn")
    put_positive(roll, "3", 2, b"positive of 3", b"proof of 3")
    roll.renumber({FrameId(number): FrameId(number + 6) for number in range(1, 8)})
    assert _pictures(roll) == {"7": 0, "8": 1, "9": 6, "10": 3, "11": 4, "12": 5}
    assert roll.marks()["13"] == "skipped"
    assert (roll.path / "raw/X31-007_09_t2.dng").read_bytes() == picture(6)
    assert (roll.path / "positive/X31-007_09_t2.tif").read_bytes() == b"positive of 3"
    assert (roll.path / "proof/X31-007_09_t2.jpg").read_bytes() == b"proof of 3"
    assert "Xmp.tethercap.Frame=9\n" in (roll.path / "raw/X31-007_09.xmp").read_text()
    assert not (roll.path / "raw/X31-007_03.dng").exists()
    assert verify(roll.path).is_sound
    assert str(roll.next_frame_id()) == "14"
    before = _pictures(roll)
    roll.close()
    with reopen(roll.path) as again:
        assert _pictures(again) == before
        assert again.opening_notes == ()


def test_a_strip_that_was_read_backwards_is_turned_round(roll: Roll) -> None:
    _take_next(roll, 6)
    roll.renumber({FrameId(number): FrameId(7 - number) for number in range(1, 7)})
    assert _pictures(roll) == {"1": 5, "2": 4, "3": 3, "4": 2, "5": 1, "6": 0}
    assert verify(roll.path).is_sound


def test_no_number_is_given_twice(roll: Roll) -> None:
    _take_next(roll, 3)
    for moves in ({FrameId(1): FrameId(3)}, {FrameId(1): FrameId(9), FrameId(2): FrameId(9)}):
        with pytest.raises(RollExistsError, match="would be there twice"):
            roll.renumber(moves)
    assert _pictures(roll) == {"1": 0, "2": 1, "3": 2}


def test_a_frame_that_was_passed_over_is_inserted(roll: Roll) -> None:
    _take_next(roll, 5)
    roll.go_to("9")
    _take_next(roll, 1)
    roll.insert("3")
    assert _pictures(roll) == {"1": 0, "2": 1, "4": 2, "5": 3, "6": 4, "9": 5}
    assert _take_next(roll, 1) == ["3"]
    assert verify(roll.path).is_sound


def test_further_files_of_a_take_go_with_its_number(roll: Roll) -> None:
    _take_next(roll, 2)
    for frame in ("1", "2"):
        waiting = roll.waiting_path(roll.made_path(frame, 1, "density", ".tif"))
        waiting.write_bytes(f"density of {frame}".encode())
        roll.put_made(frame, 1, waiting, "density", sha256=hashlib.sha256(waiting.read_bytes()).hexdigest())
    roll.renumber({FrameId(1): FrameId(2), FrameId(2): FrameId(1)})
    assert roll.made_path("2", 1, "density", ".tif").read_bytes() == b"density of 1"
    roll.close()
    assert verify(roll.path).is_sound
    with reopen(roll.path) as again:
        (made,) = again.frames[FrameId(1)].takes[0].made
        assert (made.file, made.what) == ("density/X31-007_01.tif", "density")


def test_the_second_frame_of_a_shot_goes_with_the_first(roll: Roll) -> None:
    _take_next(roll, 2)
    for frame in ("1", "2"):
        put_positive(roll, frame, 1, f"of {frame}".encode(), b"small")
        put_positive(roll, frame, 1, f"of {frame}A".encode(), b"small A", is_second=True)
    (roll.path / "recipe.toml").write_text('[frame."1A"]\ncontrast = 1.5\n')
    roll.renumber({FrameId(1): FrameId(2), FrameId(2): FrameId(7)})
    names = {path.name: path.read_text() for path in (roll.path / "positive").iterdir()}
    assert names == {
        "X31-007_02.tif": "of 1",
        "X31-007_02A.tif": "of 1A",
        "X31-007_07.tif": "of 2",
        "X31-007_07A.tif": "of 2A",
    }
    assert tomllib.loads((roll.path / "recipe.toml").read_text())["frame"] == {"02A": {"contrast": 1.5}}
    assert second_id(roll.frames, FrameId(7)) == FrameId(7, is_half=True)
    with pytest.raises(RollExistsError, match="7A would be there twice"):
        roll.renumber({FrameId(2): FrameId(7, is_half=True)})
    roll.close()
    report = verify(roll.path)
    assert report.is_sound
    assert report.extra == ()
    with reopen(roll.path) as again:
        second = again.frames[FrameId(2)].takes[0].second
        assert second is not None
        assert (second.positive, second.proof) == ("positive/X31-007_02A.tif", "proof/X31-007_02A.jpg")


def test_a_number_that_became_a_frames_own_is_no_second_frames_any_more(roll: Roll) -> None:
    _take_next(roll, 1)
    put_positive(roll, "1", 1, b"of 1")
    put_positive(roll, "1", 1, b"of 1A", is_second=True)
    take(roll, "1A", 5)
    put_positive(roll, "1A", 1, b"of the frame 1A")
    assert second_id(roll.frames, FrameId(1)) is None
    roll.renumber({FrameId(1): FrameId(4)})
    assert roll.positive_path("1A", 1).read_bytes() == b"of the frame 1A"
    assert not roll.positive_path("4A", 1).exists()
    roll.close()
    assert verify(roll.path).is_sound


def test_recipes_of_single_frames_go_with_their_numbers(roll: Roll) -> None:
    _take_next(roll, 3)
    path = roll.path / "recipe.toml"
    path.write_text(
        'contrast = 1.1  # mine\n[frame."1"]\ncontrast = 1.5\n[frame."02"]\ncontrast = 0.7\n[frame."1-3"]\n'
    )
    roll.renumber({FrameId(1): FrameId(2), FrameId(2): FrameId(1)})
    text = path.read_text()
    found = tomllib.loads(text)["frame"]
    assert (found["01"], found["02"]) == ({"contrast": 0.7}, {"contrast": 1.5})
    assert "1-3" in found
    assert "# mine" in text


def test_nothing_is_renumbered_while_a_picture_is_on_its_way(roll: Roll) -> None:
    _take_next(roll, 2)
    incoming = receive(roll, "3", 9)
    with pytest.raises(RollError, match="on its way"):
        roll.insert("2")
    assert list(map(str, roll.frames)) == ["1", "2"]
    roll.file(incoming, ACCEPTED)
    roll.insert("2")
    assert list(map(str, roll.frames)) == ["1", "3", "4"]
