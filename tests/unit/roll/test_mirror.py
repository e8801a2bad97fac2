"""The second copy: complete, read back, never in the way, never over another picture."""

import errno
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.unit.roll import rolls
from tests.unit.roll.rolls import HastyDisk, reopen, take
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
