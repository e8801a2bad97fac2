"""The second copy: complete, read back, never in the way, never over another picture."""

import errno
import threading
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

import pytest

from tests.unit.roll import rolls
from tests.unit.roll.rolls import HastyDisk, put_positive, reopen, take
from tethercap.errors import RollError, RollExistsError, StorageError
from tethercap.roll.fixity import verify
from tethercap.roll.folder import Roll
from tethercap.roll.mirror import Copying, Mirror, MirrorStatus
from tethercap.roll.names import FrameId


@pytest.fixture
def roll(tmp_path: Path) -> Iterator[Roll]:
    with rolls.create(tmp_path / "roll") as made:
        for number in (1, 2):
            take(made, str(number), number)
        yield made


def _contents(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and path.name != ".lock"
    }


def test_the_copy_is_a_whole_roll(roll: Roll, tmp_path: Path) -> None:
    copy = tmp_path / "other/roll"
    Copying(roll.path, copy, HastyDisk()).catch_up()
    roll.close()
    assert _contents(copy) == _contents(roll.path)
    assert verify(copy).is_sound
    with reopen(copy) as opened:
        assert opened.opening_notes == ()
        assert str(opened.next_frame_id()) == "3"


def test_only_what_is_new_is_written(roll: Roll, tmp_path: Path) -> None:
    copy = tmp_path / "other"
    copying = Copying(roll.path, copy, HastyDisk())
    copying.catch_up()
    stamps = {path: path.stat().st_mtime_ns for path in (copy / "raw").iterdir()}
    take(roll, "3", 3)
    waiting: list[int] = []
    copying.catch_up(waiting.append)
    assert waiting == [2, 1], "a picture and its sidecar"
    assert {path: path.stat().st_mtime_ns for path in stamps} == stamps
    Copying(roll.path, copy, HastyDisk()).catch_up()
    assert {path: path.stat().st_mtime_ns for path in stamps} == stamps, "nor in another run"


def test_another_picture_in_the_copy_is_kept(roll: Roll, tmp_path: Path) -> None:
    copy = tmp_path / "other"
    (copy / "raw").mkdir(parents=True)
    (copy / "raw/X31-007_01.dng").write_bytes(b"another picture")
    copying = Copying(roll.path, copy, HastyDisk())
    copying.catch_up()
    assert copying.moved_aside == ["raw/X31-007_01.dng"]
    assert [path.read_bytes() for path in (copy / "aside").iterdir()] == [b"another picture"]
    assert verify(copy).is_sound


def test_a_renumbered_roll_is_followed(roll: Roll, tmp_path: Path) -> None:
    copy = tmp_path / "other"
    copying = Copying(roll.path, copy, HastyDisk())
    copying.catch_up()
    roll.renumber({FrameId(1): FrameId(2), FrameId(2): FrameId(1)})
    copying.catch_up()
    assert verify(copy).is_sound


def _copied(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of the files whose content is copied from now on."""
    names: list[str] = []
    fill = Copying._fill

    def noting(self: Copying, path: Path, pieces: Iterable[bytes]) -> None:
        names.append(path.name)
        fill(self, path, pieces)

    monkeypatch.setattr(Copying, "_fill", noting)
    return names


@pytest.mark.parametrize("moves", [{1: 2, 2: 1}, {1: 7}, {1: 2, 2: 3}])
@pytest.mark.parametrize("was_away", [False, True])
def test_files_that_got_another_number_are_renamed_in_the_copy(
    roll: Roll, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, moves: dict[int, int], was_away: bool
) -> None:
    copy = tmp_path / "other"
    put_positive(roll, "1", 1)
    copying = Copying(roll.path, copy, HastyDisk())
    copying.catch_up()
    inodes = {path.read_bytes(): path.stat().st_ino for path in (copy / "raw").glob("*.dng")}
    roll.renumber({FrameId(old): FrameId(new) for old, new in moves.items()})
    copied = _copied(monkeypatch)
    copying = Copying(roll.path, copy, HastyDisk()) if was_away else copying
    copying.catch_up()
    assert not [name for name in copied if ".dng" in name or ".tif" in name], "nothing big is copied again"
    assert {path.read_bytes(): path.stat().st_ino for path in (copy / "raw").glob("*.dng")} == inodes
    roll.close()
    assert _contents(copy) == _contents(roll.path), "no old names are left"
    assert copying.moved_aside == []


def test_a_copy_that_is_unplugged_while_it_renames_is_put_right(roll: Roll, tmp_path: Path) -> None:
    class UnpluggedDisk(HastyDisk):
        def __init__(self, renames: int) -> None:
            self.left = renames

        def rename_new(self, source: Path, target: Path) -> None:
            self.left -= 1
            if self.left < 0:
                raise OSError(errno.ENODEV, "gone", str(source))
            super().rename_new(source, target)

    take(roll, "3", 3)
    copy = tmp_path / "other"
    Copying(roll.path, copy, HastyDisk()).catch_up()
    roll.renumber({FrameId(1): FrameId(2), FrameId(2): FrameId(3), FrameId(3): FrameId(1)})
    for renames in range(12):
        try:
            Copying(roll.path, copy, UnpluggedDisk(renames)).catch_up()
            break
        except StorageError:
            continue
    else:
        raise AssertionError("it is never done")
    assert renames > 0
    roll.close()
    assert _contents(copy) == _contents(roll.path)


def test_a_positive_made_anew_takes_the_place_of_the_one_in_the_copy(roll: Roll, tmp_path: Path) -> None:
    positive, copy = roll.positive_path("1", 1), tmp_path / "other"
    for content in (b"the first", b"the second"):
        put_positive(roll, "1", 1, content)
        copying = Copying(roll.path, copy, HastyDisk())
        copying.catch_up()
    assert copying.moved_aside == []
    assert (copy / "positive" / positive.name).read_bytes() == b"the second"
    (copy / "positive" / positive.name).write_bytes(b"by somebody else")
    put_positive(roll, "1", 1, b"the third")
    copying.catch_up()
    assert copying.moved_aside == [f"positive/{positive.name}"], "what others changed is kept"


def test_what_others_put_into_the_copy_is_left_alone(roll: Roll, tmp_path: Path) -> None:
    copy = tmp_path / "other"
    Copying(roll.path, copy, HastyDisk()).catch_up()
    (copy / "raw/note.txt").write_text("mine")
    roll.renumber({FrameId(1): FrameId(9)})
    Copying(roll.path, copy, HastyDisk()).catch_up()
    assert (copy / "raw/note.txt").read_text() == "mine"
    assert verify(copy).is_sound


def test_a_file_of_the_roll_that_does_not_fit_its_manifest_is_told_when_it_lasts(roll: Roll, tmp_path: Path) -> None:
    damaged = roll.path / "raw/X31-007_01.dng"
    whole = damaged.read_bytes()
    damaged.write_bytes(whole[:-1] + b"?")
    statuses = _Statuses()
    mirror = Mirror(roll.path, tmp_path / "other", HastyDisk(), statuses, retry_s=0.01)
    failed = statuses.wait_for(lambda status: status.error is not None)
    assert "other content than its manifest" in str(failed.error)
    damaged.write_bytes(whole)
    statuses.wait_for(lambda status: status.is_caught_up)
    assert mirror.finish(20).is_caught_up


def test_a_copy_that_reads_back_differently_is_refused(roll: Roll, tmp_path: Path) -> None:
    class LyingDisk(HastyDisk):
        def write(self, handle: int, content: bytes) -> None:
            super().write(handle, content[:-1] + b"?" if len(content) > 1000 else content)

    with pytest.raises(RollError, match="reports a fault"):
        Copying(roll.path, tmp_path / "other", LyingDisk()).catch_up()
    assert not (tmp_path / "other/raw/X31-007_01.dng").exists()


def test_places_that_cannot_hold_it(roll: Roll, tmp_path: Path) -> None:
    with pytest.raises(RollError, match="cannot lie inside"):
        Mirror(roll.path, roll.path / "copy", HastyDisk())
    other = tmp_path / "other"
    rolls.create(other, rolls.setup(id="another")).close()
    with pytest.raises(RollExistsError, match="holds another roll"):
        Mirror(roll.path, other, HastyDisk())


class _Statuses:
    """Waits for what the mirror's thread tells."""

    def __init__(self) -> None:
        self._told = threading.Condition()
        self.all: list[MirrorStatus] = []

    def __call__(self, status: MirrorStatus) -> None:
        with self._told:
            self.all.append(status)
            self._told.notify_all()

    def wait_for(self, wanted: Callable[[MirrorStatus], bool]) -> MirrorStatus:
        with self._told:
            assert self._told.wait_for(lambda: any(map(wanted, self.all)), 20), self.all
            return next(status for status in self.all if wanted(status))


def test_the_thread_catches_up_and_ends(roll: Roll, tmp_path: Path) -> None:
    statuses = _Statuses()
    mirror = Mirror(roll.path, tmp_path / "other", HastyDisk(), statuses)
    statuses.wait_for(lambda status: status.is_caught_up)
    take(roll, "3", 3)
    mirror.nudge()
    assert mirror.finish(20).is_caught_up
    assert verify(tmp_path / "other").is_sound
    assert (tmp_path / "other/raw/X31-007_03.dng").exists()
    assert not any(thread.name.startswith("mirror") for thread in threading.enumerate())


def test_a_disk_that_vanishes_is_told_and_caught_up_with_later(roll: Roll, tmp_path: Path) -> None:
    class UnpluggedDisk(HastyDisk):
        is_gone = True

        def open_new(self, path: Path) -> int:
            if self.is_gone:
                raise OSError(errno.ENODEV, "gone", str(path))
            return super().open_new(path)

    disk, statuses = UnpluggedDisk(), _Statuses()
    mirror = Mirror(roll.path, tmp_path / "other", disk, statuses, retry_s=0.01)
    failed = statuses.wait_for(lambda status: status.error is not None)
    assert "The disk is gone (while writing the second copy" in str(failed.error)
    assert failed.waiting > 0
    disk.is_gone = False
    statuses.wait_for(lambda status: status.is_caught_up)
    assert mirror.finish(20).is_caught_up
    assert verify(tmp_path / "other").is_sound


def test_a_disk_that_hangs_holds_nobody_up(roll: Roll, tmp_path: Path) -> None:
    class HangingDisk(HastyDisk):
        def __init__(self) -> None:
            self.is_stuck, self.released = threading.Event(), threading.Event()

        def open_new(self, path: Path) -> int:
            self.is_stuck.set()
            assert self.released.wait(30)
            return super().open_new(path)

    disk = HangingDisk()
    mirror = Mirror(roll.path, tmp_path / "other", disk)
    assert disk.is_stuck.wait(20)
    take(roll, "3", 3)
    mirror.nudge()
    assert not mirror.finish(0.01).is_caught_up
    disk.released.set()
    mirror._thread.join(20)


def test_a_roll_keeps_its_second_copy(tmp_path: Path) -> None:
    with rolls.create(tmp_path / "roll", mirror=tmp_path / "disk2") as roll:
        take(roll, "1", 1)
        roll.close(mirror_wait_s=20)
        assert roll.mirror_status is not None
        assert roll.mirror_status.is_caught_up
    assert verify(tmp_path / "disk2/roll").is_sound
    assert (tmp_path / "disk2/roll/raw/X31-007_01.dng").exists()


def test_what_is_said_about_the_copy() -> None:
    assert MirrorStatus(0).sentence == ""
    assert MirrorStatus(0, moved_aside=("raw/A_01.dng",)).sentence.endswith("moved aside: raw/A_01.dng.")
    gone = StorageError("The disk is gone.", safe="The roll itself is not touched.", todo="Plug it in again.")
    assert MirrorStatus(3, gone).sentence == (
        "The second copy still lacks 3 files. The disk is gone. The roll itself is not touched. Plug it in again. "
        "The next run with the same copy catches up."
    )
