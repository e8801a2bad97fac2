"""Pictures into a roll: named, checked, never over another one."""

import hashlib
import json
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.unit.roll import rolls
from tests.unit.roll.rolls import ACCEPTED, NOT_ACCEPTED, picture, put_positive, receive, reopen, take
from tethercap.check.findings import Finding, FindingKind, RawFindings, Severity
from tethercap.errors import (
    CameraGoneError,
    ProfileError,
    RollError,
    RollExistsError,
    RollInUseError,
    RollNameError,
    UnreadablePictureError,
)
from tethercap.film.kinds import FilmKind
from tethercap.geometry import OffsetMm, QuadPx
from tethercap.pictures import ShotData
from tethercap.roll.fixity import verify
from tethercap.roll.folder import FiledTake, Roll, TakeOutcome
from tethercap.roll.lines import CameraUsed
from tethercap.roll.names import FrameId
from tethercap.watch.sighting import Alignment, Decision, FrameEdges, Reason, ReasonCode, Sighting, Verdict


@pytest.fixture
def roll(tmp_path: Path) -> Iterator[Roll]:
    with rolls.create(tmp_path / "X31-007") as made:
        yield made


def _files(roll: Roll, folder: str) -> list[str]:
    return sorted(path.name for path in (roll.path / folder).iterdir())


def test_a_picture_gets_its_name_and_its_sidecar(roll: Roll) -> None:
    incoming = receive(roll, "00", 1, ".DNG")
    assert incoming.path.parent == roll.path / "raw"
    assert incoming.path.read_bytes() == picture(1)
    assert (incoming.sha256, incoming.size_bytes) == (hashlib.sha256(picture(1)).hexdigest(), len(picture(1)))
    filed = roll.file(incoming, ACCEPTED)
    assert filed == FiledTake(roll.path / "raw/X31-007_00.dng", "00", 1, incoming.sha256, accepted=True)
    assert filed.path.read_bytes() == picture(1)
    assert _files(roll, "raw") == ["X31-007_00.dng", "X31-007_00.xmp"]
    assert roll.has_picture(incoming.sha256)


def test_an_arriving_picture_can_be_read_before_it_is_certain_to_be_on_the_disk(tmp_path: Path) -> None:
    class SlowDisk(rolls.HastyDisk):
        def sync(self, handle: int) -> None:
            done.append("synced")
            super().sync(handle)

    done: list[str] = []

    def read(names: tuple[Path, Path]) -> None:
        assert not names[1].exists()
        assert names[0].read_bytes() == picture(1)
        done.append(names[1].name)

    with rolls.create(tmp_path / "X31-007", layer=SlowDisk()) as roll:
        done.clear()
        incoming = roll.receive("1", ".dng", [picture(1)], len(picture(1)), on_here=read)
    assert done[:2] == [incoming.path.name, "synced"]


def test_retakes_keep_both(roll: Roll) -> None:
    first, second = take(roll, "1", 1, NOT_ACCEPTED), take(roll, "1", 2)
    assert (first.take, second.take) == (1, 2)
    assert first.path.read_bytes() == picture(1)
    assert second.path.name == "X31-007_01_t2.dng"
    assert roll.next_take("1") == 3
    chosen = roll.frames[FrameId(1)].chosen
    assert chosen is not None
    assert chosen.number == 2


def test_two_pictures_of_a_frame_on_their_way_get_two_numbers(roll: Roll) -> None:
    first, second = receive(roll, "1", 1), receive(roll, "1", 2)
    assert (first.take, second.take) == (1, 2)
    assert roll.file(second, ACCEPTED).take == 2
    assert roll.file(first, ACCEPTED).take == 1


def test_a_file_in_the_way_is_not_overwritten(roll: Roll) -> None:
    incoming = receive(roll, "1", 1)
    stranger = roll.path / "raw/X31-007_01.dng"
    stranger.write_bytes(b"somebody's")
    filed = roll.file(incoming, ACCEPTED)
    assert (filed.take, filed.path.name) == (2, "X31-007_01_t2.dng")
    assert filed.path.read_bytes() == picture(1)
    assert stranger.read_bytes() == b"somebody's"


def test_a_file_that_comes_in_the_way_at_the_last_moment(tmp_path: Path) -> None:
    class RacingDisk(rolls.HastyDisk):
        stranger: Path | None = None

        def rename_new(self, source: Path, target: Path) -> None:
            if target.name == "X31-007_01.dng" and self.stranger is None:
                self.stranger = target
                target.write_bytes(b"somebody's")
            super().rename_new(source, target)

    disk = RacingDisk()
    with rolls.create(tmp_path / "roll", layer=disk) as roll:
        incoming = receive(roll, "1", 1)
        with pytest.raises(RollExistsError, match="nothing was overwritten"):
            roll.file(incoming, ACCEPTED)
        assert incoming.path.read_bytes() == picture(1)
        assert not roll.frames
        assert roll.file(incoming, ACCEPTED).take == 2
    assert disk.stranger is not None
    assert disk.stranger.read_bytes() == b"somebody's"
    with reopen(tmp_path / "roll") as again:
        assert [take.number for take in again.frames[FrameId(1)].takes] == [1, 2], "the stranger is taken in"
    assert verify(tmp_path / "roll").is_sound


def test_the_next_take_steps_over_files_that_are_there(roll: Roll) -> None:
    (roll.path / "raw/X31-007_01_t4.dng").write_bytes(b"somebody's")
    assert receive(roll, "1", 1).take == 5


def test_a_companion_lies_beside_its_picture(roll: Roll) -> None:
    filed = take(roll, "1", 1)
    path = roll.file_companion(receive(roll, "1", 2, ".JPG"), filed)
    assert path == roll.path / "raw/X31-007_01.jpg"
    second = roll.file_companion(receive(roll, "1", 3, ".jpg"), filed)
    assert second.parent.name == "aside"
    assert second.read_bytes() == picture(3)
    assert roll.marks() == {"1": "taken"}
    assert verify(roll.path).is_sound


def test_a_picture_of_the_wrong_size_is_refused_and_kept_aside(roll: Roll) -> None:
    with pytest.raises(UnreadablePictureError, match="sent 5 bytes of the 7 it announced"):
        roll.receive("1", ".dng", [b"12345"], 7)
    with pytest.raises(UnreadablePictureError, match="sent 0 bytes"):
        roll.receive("1", ".dng", [])
    assert _files(roll, "raw") == []
    assert (roll.path / "aside" / _files(roll, "aside")[0]).stat().st_size in {0, 5}
    assert receive(roll, "1", 1).take == 1


def test_a_cable_pulled_in_the_middle(roll: Roll) -> None:
    def pieces() -> Iterator[bytes]:
        yield b"123"
        raise CameraGoneError("The camera is gone.")

    with pytest.raises(CameraGoneError):
        roll.receive("1", ".dng", pieces(), 7)
    assert _files(roll, "raw") == []
    assert len(_files(roll, "aside")) == 1
    assert verify(roll.path).is_sound


def test_set_aside_keeps_the_picture(roll: Roll) -> None:
    path = roll.set_aside(receive(roll, "1", 1), "blurred")
    assert path.read_bytes() == picture(1)
    assert roll.next_take("1") == 1
    assert roll.marks() == {}
    lines = [json.loads(line) for line in (roll.path / "record.jsonl").read_text().splitlines()]
    assert lines[-1]["why"] == "blurred"


@pytest.mark.parametrize("suffix", ["", "dng", ".d/../x", ".xmp", ".part"])
def test_a_name_from_the_camera_makes_no_path(roll: Roll, suffix: str) -> None:
    with pytest.raises(RollNameError):
        roll.receive("1", suffix, [b"x"])
    assert _files(roll, "raw") == []


def test_everything_known_about_a_shot_is_in_the_record(roll: Roll) -> None:
    corners = QuadPx.from_array([[10, 20], [110, 20], [110, 90], [10, 90]])
    edges = FrameEdges(corners, (), 0.006, FilmKind.COLOUR_NEGATIVE, "135-36x24", 0.9)
    alignment = Alignment(OffsetMm(0.1, -0.2), 0.3, 0.0, True, 0.0, 0.006)
    kind = FindingKind("clipped", Severity.WARNING, "The base is clipped.", "Shorten the exposure.")
    sighting = Sighting(
        7, 1.5, Verdict(Decision.HOLD, (Reason(ReasonCode.OFF_CENTRE, "off by 1.2 mm"),)), None, None, None,
        ready=False, film_present=True, film_kind=None,
    )  # fmt: skip
    outcome = TakeOutcome(
        accepted=True,
        forced=True,
        fired_by="forced",
        findings=RawFindings((Finding(kind, 0.25, "of the base"),), edges, alignment),
        sighting=sighting,
        shot=ShotData(exposure_s=1 / 60, f_number=8.0, iso=100),
        asked={"iso": "100"},
        settings={"iso": "100", "aperture": "f/8"},
        camera=CameraUsed(make="Example", model="One", serial="123"),
        camera_file="/store/IMG_0001.DNG",
    )
    take(roll, "1", 1, outcome)
    roll.close()
    with reopen(roll.path) as again:
        filed = again.frames[FrameId(1)].takes[0].filed
    assert list(filed.offset_mm or ()) == [0.1, -0.2]
    assert filed.tilt_deg == 0.3
    assert filed.corners_px is not None
    assert list(filed.corners_px[2]) == [110.0, 90.0]
    assert filed.findings[0].code == "clipped"
    assert filed.findings[0].value == 0.25
    assert filed.reasons[0].code == "off-centre"
    assert filed.shot == ShotData(exposure_s=1 / 60, f_number=8.0, iso=100)
    assert filed.settings["aperture"] == "f/8"
    assert filed.camera == CameraUsed(make="Example", model="One", serial="123")
    assert filed.software.startswith("tethercap ")
    assert filed.taken_at.startswith("2031-04-05T12:")


def test_the_manifest_is_one_that_coreutils_read(roll: Roll) -> None:
    take(roll, "1", 1)
    take(roll, "2", 2)
    put_positive(roll, "1", 1)
    done = subprocess.run(
        ["sha256sum", "--check", "--strict", "manifest-sha256.txt"], cwd=roll.path, capture_output=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert len(done.stdout.splitlines()) == 5


def test_conversions_that_are_not_done_are_known(roll: Roll) -> None:
    take(roll, "1", 1, NOT_ACCEPTED)
    second, other = take(roll, "1", 2), take(roll, "2", 3)
    assert roll.unfinished_conversions() == (second, other)
    positive = roll.positive_path("1", 2)
    put_positive(roll, "1", 2, b"p", b"q", recipe="plain", steps=[("density", {"base": [0.1, 0.2, 0.3]})])
    assert roll.unfinished_conversions() == (other,)
    roll.close()
    with reopen(roll.path) as again:
        converted = again.frames[FrameId(1)].takes[1].converted
        assert converted is not None
        assert converted.steps == [["density", {"base": [0.1, 0.2, 0.3]}]]
        positive.unlink()
        assert [filed.frame_id for filed in again.unfinished_conversions()] == ["1", "2"]


def test_a_positive_made_while_its_frame_got_another_number_goes_with_its_picture(roll: Roll) -> None:
    filed = take(roll, "7", 1)
    roll.renumber({FrameId(7): FrameId(8)})
    placed = put_positive(roll, "7", 1, b"p", b"q", picture_sha256=filed.sha256)
    assert placed.files == (roll.positive_path("8", 1), roll.proof_path("8", 1))
    assert not roll.positive_path("7", 1).exists()
    converted = roll.frames[FrameId(8)].takes[0].converted
    assert converted is not None
    assert (converted.positive, converted.proof) == ("positive/X31-007_08.tif", "proof/X31-007_08.jpg")
    assert FrameId(7) not in roll.frames
    assert roll.unfinished_conversions() == ()
    with pytest.raises(RollError, match="not in the roll any more"):
        put_positive(roll, "7", 1, b"p", picture_sha256="ff" * 32)


def test_of_two_frames_with_the_very_same_picture_each_gets_its_own_positive(roll: Roll) -> None:
    first, second = take(roll, "1", 1), take(roll, "2", 1)
    assert first.sha256 == second.sha256
    for frame in ("2", "1"):
        put_positive(roll, frame, 1, frame.encode(), picture_sha256=first.sha256)
    assert roll.positive_path("2", 1).read_bytes() == b"2"
    assert roll.unfinished_conversions() == ()


def test_what_a_person_changed_is_kept_when_it_is_made_anew(roll: Roll) -> None:
    take(roll, "1", 1)
    assert put_positive(roll, "1", 1, b"first", b"first small").kept == ()
    assert put_positive(roll, "1", 1, b"second", b"second small").kept == (), "nobody changed it"
    for count, name in enumerate(("X31-007_01.tif", "X31-007_01-2.tif"), start=1):
        roll.positive_path("1", 1).write_bytes(f"retouched {count}".encode())
        placed = put_positive(roll, "1", 1, b"third", b"second small")
        assert [path.name for path in placed.kept] == [name]
        assert placed.kept[0].read_bytes() == f"retouched {count}".encode()
        assert f"edited/{name}" in placed.kept_words[0]
    assert roll.positive_path("1", 1).read_bytes() == b"third"
    roll.renumber({FrameId(1): FrameId(5)})
    assert sorted(path.name for path in (roll.path / "edited").iterdir()) == ["X31-007_05-2.tif", "X31-007_05.tif"]
    roll.close()
    report = verify(roll.path)
    assert report.is_sound
    assert report.extra == ()
    with reopen(roll.path) as again:
        assert again.opening_notes == ()


def test_a_sheet_that_a_person_changed_is_kept(roll: Roll) -> None:
    for content in (b"sheet", b"drawn upon"):
        roll.sheet_path.write_bytes(content)
        waiting = roll.waiting_path(roll.sheet_path)
        waiting.write_bytes(b"sheet")
        kept = roll.put_sheet(waiting, roll.sheet_path).kept
        roll.sheet_path.write_bytes(b"sheet")
    assert [path.read_bytes() for path in kept] == [b"drawn upon"]
    assert (roll.path / "edited" / "X31-007_contact.jpg").read_bytes() == b"sheet", "nothing was recorded of the first"
    roll.close()
    assert verify(roll.path).extra == ()


def test_one_writer_at_a_time(roll: Roll) -> None:
    with pytest.raises(RollInUseError, match="in use by process"):
        reopen(roll.path)
    roll.close()
    reopen(roll.path).close()
    assert not (roll.path / ".lock").exists()


def test_a_roll_is_not_made_over_something(tmp_path: Path) -> None:
    (tmp_path / "roll").mkdir()
    (tmp_path / "roll/holiday.txt").write_text("mine")
    with pytest.raises(RollExistsError, match="not empty"):
        rolls.create(tmp_path / "roll")
    assert [path.name for path in (tmp_path / "roll").iterdir()] == ["holiday.txt"]


def test_a_folder_that_is_no_roll_is_not_opened(tmp_path: Path) -> None:
    with pytest.raises(RollError, match="is not a roll"):
        reopen(tmp_path)
    with pytest.raises(RollError, match="is not a roll"):
        reopen(tmp_path / "nowhere")
    assert list(tmp_path.iterdir()) == []


def test_a_mistake_in_roll_toml_lets_go_of_the_lock(roll: Roll) -> None:
    roll.close()
    text = (roll.path / "roll.toml").read_text()
    (roll.path / "roll.toml").write_text(text.replace("film_kind", "flim_kind"))
    for _ in range(2):
        with pytest.raises(ProfileError, match="did you mean 'film_kind'"):
            reopen(roll.path)
    (roll.path / "roll.toml").write_text(text)
    reopen(roll.path).close()


def test_a_sidecar_that_cannot_be_made_does_not_keep_a_picture_out(tmp_path: Path) -> None:
    def refuse(properties: object) -> bytes:
        raise ValueError("no such property")

    with Roll.create(tmp_path / "roll", rolls.setup(), sidecar=refuse, layer=rolls.HastyDisk()) as roll:
        assert take(roll, "1", 1).path.exists()
        assert "no such property" in str(roll.take_troubles()[0])
        assert roll.take_troubles() == []


def test_the_folder_may_move_to_another_machine(roll: Roll, tmp_path: Path) -> None:
    take(roll, "1", 1)
    roll.close()
    moved = tmp_path / "other disk" / "a copy"
    moved.parent.mkdir()
    roll.path.rename(moved)
    with reopen(moved) as again:
        assert again.opening_notes == ()
        assert str(again.next_frame_id()) == "2"
        assert take(again, "2", 2).path == moved / "raw/X31-007_02.dng"
