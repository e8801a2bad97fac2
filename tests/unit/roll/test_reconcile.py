"""Opening a roll after a run that was cut off: what is found is put right, told, and never deleted."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.unit.roll import rolls
from tests.unit.roll.rolls import ACCEPTED, picture, receive, reopen, take
from tethercap.roll.fixity import verify
from tethercap.roll.folder import Roll
from tethercap.roll.names import FrameId


@pytest.fixture
def roll(tmp_path: Path) -> Iterator[Roll]:
    with rolls.create(tmp_path / "roll") as made:
        take(made, "1", 1)
        yield made


def _cut_off(roll: Roll) -> None:
    """End the run as a kill would: nothing is put in order."""
    roll._core.close()
    roll._lock.release()


def test_a_clean_roll_opens_without_a_word(roll: Roll) -> None:
    roll.close()
    before = (roll.path / "manifest-sha256.txt").read_bytes()
    with reopen(roll.path) as again:
        assert again.opening_notes == ()
    assert (roll.path / "manifest-sha256.txt").read_bytes() == before


def test_a_picture_that_arrived_whole_is_kept_as_a_take_nobody_checked(roll: Roll) -> None:
    receive(roll, "2", 2)
    _cut_off(roll)
    with reopen(roll.path) as again:
        assert "not checked when the run was cut off" in again.opening_notes[0]
        assert (roll.path / "raw/X31-007_02.dng").read_bytes() == picture(2)
        assert again.marks() == {"1": "taken", "2": "held"}
        assert str(again.next_frame_id()) == "2"
        assert take(again, "2", 3).take == 2
    assert verify(roll.path).is_sound


def test_a_picture_that_did_not_arrive_whole_is_set_aside(roll: Roll) -> None:
    part = roll.path / "raw/.X31-007_02.dng.00aa11bb.part"
    part.write_bytes(b"half a picture")
    _cut_off(roll)
    with reopen(roll.path) as again:
        assert "not whole" in again.opening_notes[0]
        assert again.marks() == {"1": "taken"}
    kept = list((roll.path / "aside").iterdir())
    assert [path.read_bytes() for path in kept] == [b"half a picture"]
    assert verify(roll.path).is_sound
    assert not verify(roll.path).extra


def test_a_picture_that_was_recorded_and_not_named_is_named(roll: Roll) -> None:
    incoming = receive(roll, "2", 2)
    filed = roll.file(incoming, ACCEPTED)
    filed.path.rename(incoming.path)
    filed.path.with_suffix(".xmp").unlink()
    _cut_off(roll)
    with reopen(roll.path) as again:
        assert "got its name only now" in again.opening_notes[0]
        assert again.marks() == {"1": "taken", "2": "taken"}
    assert filed.path.read_bytes() == picture(2)
    assert filed.path.with_suffix(".xmp").exists()
    assert verify(roll.path).is_sound


def test_a_recorded_picture_whose_name_another_file_has(roll: Roll) -> None:
    incoming = receive(roll, "2", 2)
    filed = roll.file(incoming, ACCEPTED)
    filed.path.rename(incoming.path)
    filed.path.write_bytes(picture(3))
    _cut_off(roll)
    with reopen(roll.path) as again:
        takes = again.frames[FrameId(2)].takes
        assert [(roll.path / entry.filed.file).read_bytes() for entry in takes] == [picture(3), picture(2)]
    assert verify(roll.path).is_sound


def test_a_picture_without_a_line_is_taken_in(roll: Roll) -> None:
    (roll.path / "raw/X31-007_02.dng").write_bytes(picture(2))
    (roll.path / "raw/X31-007_02.jpg").write_bytes(picture(3))
    (roll.path / "raw/X31-007_04_t2.jpg").write_bytes(picture(4))
    (roll.path / "raw/holiday.jpg").write_bytes(b"not ours")
    _cut_off(roll)
    with reopen(roll.path) as again:
        assert len(again.opening_notes) == 3
        assert again.marks() == {"1": "taken", "2": "taken", "4": "taken"}
        assert again.frames[FrameId(2)].takes[0].companions[0].file == "raw/X31-007_02.jpg"
        assert again.frames[FrameId(2)].takes[0].filed.how == "adopted"
    report = verify(roll.path)
    assert report.is_sound
    assert report.extra == ("raw/holiday.jpg",)
    with reopen(roll.path) as once_more:
        assert once_more.opening_notes == ()


def test_a_line_without_its_picture_is_told(roll: Roll) -> None:
    filed = take(roll, "2", 2)
    _cut_off(roll)
    filed.path.unlink()
    with reopen(roll.path) as again:
        assert again.opening_notes == (
            "raw/X31-007_02.dng is in the record and not in the folder. Look for it in copies of this roll.",
        )
        assert again.marks()["2"] == "taken"
        assert again.next_take("2") == 2, "its number is not given to another picture"
    assert verify(roll.path).missing == ("raw/X31-007_02.dng",)


def test_a_lost_record_is_built_again_from_the_pictures(roll: Roll) -> None:
    take(roll, "2", 2)
    take(roll, "2", 3)
    _cut_off(roll)
    (roll.path / "record.jsonl").unlink()
    (roll.path / "manifest-sha256.txt").unlink()
    with reopen(roll.path) as again:
        assert again.marks() == {"1": "taken", "2": "taken"}
        assert len(again.frames[FrameId(2)].takes) == 2
        assert str(again.next_frame_id()) == "3"
    assert verify(roll.path).is_sound


def test_a_damaged_record_is_used_as_far_as_it_can_be_trusted(roll: Roll) -> None:
    take(roll, "2", 2)
    take(roll, "3", 3)
    _cut_off(roll)
    path = roll.path / "record.jsonl"
    lines = path.read_bytes().splitlines(keepends=True)
    number = next(index for index, line in enumerate(lines) if b'"frame":"2"' in line)
    lines[number] = lines[number].replace(b'"frame":"2"', b'"frame":"9"')
    path.write_bytes(b"".join(lines))
    with reopen(roll.path) as again:
        assert f"line {number + 1}: the checksum does not fit" in again.opening_notes[0]
        assert again.marks() == {"1": "taken", "2": "taken", "3": "taken"}, "frame 2 was taken in from its file"
    assert path.read_bytes().startswith(b"".join(lines)), "a record only grows"


def test_a_record_with_paths_that_lead_out_is_not_followed(roll: Roll, tmp_path: Path) -> None:
    from tethercap.roll.lines import Converted, Filed, SheetMade

    secret = tmp_path / "secret.txt"
    secret.write_text("mine")
    bodies = (
        Filed(frame="5", take=1, file="../secret.txt", sha256="0" * 64, size_bytes=4, accepted=True),
        Filed(
            frame="6", take=1, file="raw/X31-007_06.dng", waits_as="../secret.txt", sha256="0" * 64, size_bytes=4,
            accepted=True,
        ),
        Converted(frame="1", take=1, positive="/etc/passwd", positive_sha256="0" * 64),
        SheetMade(file="raw/../../secret.txt", sha256="0" * 64),
    )  # fmt: skip
    for body in bodies:
        roll._core.write_line(body)
    _cut_off(roll)
    with reopen(roll.path) as again:
        assert sum("was left out" in note for note in again.opening_notes) == 4
        assert again.marks() == {"1": "taken"}
    assert secret.read_text() == "mine"
    assert "secret" not in (roll.path / "manifest-sha256.txt").read_text()


def test_a_missing_manifest_and_sidecar_are_written_again(roll: Roll) -> None:
    _cut_off(roll)
    sidecar = roll.path / "raw/X31-007_01.xmp"
    before = sidecar.read_bytes()
    sidecar.unlink()
    (roll.path / "manifest-sha256.txt").unlink()
    (roll.path / ".manifest-sha256.txt.new").write_bytes(b"half")
    (roll.path / "raw/.X31-007_01.xmp.new").write_bytes(b"half")
    (roll.path / "positive/.X31-007_01.tif.123.part").write_bytes(b"half")
    with reopen(roll.path) as again:
        assert again.opening_notes == ()
    assert sidecar.read_bytes() == before
    report = verify(roll.path)
    assert report.is_sound
    assert not report.extra


def test_files_put_into_aside_by_hand_are_noted(roll: Roll) -> None:
    (roll.path / "aside").mkdir()
    (roll.path / "aside/scan.tif").write_bytes(b"x")
    _cut_off(roll)
    reopen(roll.path).close()
    assert "aside/scan.tif" in (roll.path / "manifest-sha256.txt").read_text()
