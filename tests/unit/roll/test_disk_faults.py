"""A disk that refuses at any call: a clear sentence, nothing lost, and the same step works once the disk does."""

import errno
import hashlib
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.unit.roll import rolls
from tests.unit.roll.recording_disk import Call, RecordingDisk
from tests.unit.roll.rolls import ACCEPTED, picture, receive, reopen, take
from tethercap.errors import RollExistsError, StorageError
from tethercap.roll.fixity import verify
from tethercap.roll.folder import FiledTake, Roll
from tethercap.roll.names import FrameId
from tethercap.roll.store import Disk, _rename_by_kernel, disk_troubles


class FaultyDisk(rolls.HastyDisk):
    """Fails at its n-th call, and at as many after it as told."""

    def __init__(self) -> None:
        self.calls = 0
        self.fails_from = 10**9
        self.failures = 0
        self.code = errno.EIO

    def arm(self, fails_from: int, failures: int, code: int) -> None:
        self.calls, self.fails_from, self.failures, self.code = 0, fails_from, failures, code

    def _count(self) -> None:
        self.calls += 1
        if self.fails_from <= self.calls < self.fails_from + self.failures:
            raise OSError(self.code, "refused", "a file")

    def open_new(self, path: Path) -> int:
        self._count()
        return super().open_new(path)

    def write(self, handle: int, content: bytes) -> None:
        try:
            self._count()
        except OSError:
            super().write(handle, content[: len(content) // 2])
            raise
        super().write(handle, content)

    def sync(self, handle: int) -> None:
        self._count()

    def sync_folder(self, path: Path) -> None:
        self._count()

    def rename_new(self, source: Path, target: Path) -> None:
        self._count()
        super().rename_new(source, target)

    def replace(self, source: Path, target: Path) -> None:
        self._count()
        super().replace(source, target)

    def truncate(self, handle: int, size_bytes: int) -> None:
        self._count()
        super().truncate(handle, size_bytes)


def _until_it_works(step: Callable[[], FiledTake]) -> tuple[FiledTake, list[StorageError]]:
    errors: list[StorageError] = []
    while True:
        try:
            return step(), errors
        except StorageError as error:
            errors.append(error)
            assert len(errors) < 20


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    fails_from=st.integers(1, 30),
    failures=st.integers(1, 4),
    code=st.sampled_from([errno.ENOSPC, errno.EIO, errno.EROFS, errno.EACCES, errno.ESTALE]),
)
def test_a_refusal_at_any_call_is_made_good(
    tmp_path_factory: pytest.TempPathFactory, fails_from: int, failures: int, code: int
) -> None:
    disk, path = FaultyDisk(), tmp_path_factory.mktemp("faults") / "roll"
    with rolls.create(path, layer=disk) as roll:
        take(roll, "1", 1)
        disk.arm(fails_from, failures, code)

        def one_picture() -> FiledTake:
            incoming = receive(roll, "2", 2)
            filed, errors = _until_it_works(lambda: roll.file(incoming, ACCEPTED))
            assert all(error.what and error.safe and error.todo for error in errors)
            return filed

        filed, _ = _until_it_works(one_picture)
        assert filed.path.read_bytes() == picture(2)
        assert roll.marks() == {"1": "taken", "2": "taken"}
        disk.arm(10**9, 0, 0)
    _check_sound(path, filed)


def _check_sound(path: Path, filed: FiledTake) -> None:
    with reopen(path) as roll:
        frame = roll.frames[FrameId(2)]
        assert [entry.filed.sha256 for entry in frame.takes] == [filed.sha256]
        assert hashlib.sha256((path / frame.takes[0].filed.file).read_bytes()).hexdigest() == filed.sha256
        assert roll.marks() == {"1": "taken", "2": "taken"}
    assert verify(path).is_sound


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(fails_from=st.integers(1, 40), code=st.sampled_from([errno.ENOSPC, errno.EIO]))
def test_a_disk_that_goes_for_good_leaves_what_was_filed(
    tmp_path_factory: pytest.TempPathFactory, fails_from: int, code: int
) -> None:
    disk, path = FaultyDisk(), tmp_path_factory.mktemp("gone") / "roll"
    roll = rolls.create(path, layer=disk)
    first = take(roll, "1", 1)
    disk.arm(fails_from, 10**9, code)
    acknowledged = [first]
    try:
        acknowledged.append(take(roll, "2", 2))
        acknowledged.append(take(roll, "3", 3))
    except StorageError:
        pass
    roll.close()
    with reopen(path) as again:
        for filed in acknowledged:
            entry = again.frames[FrameId.parse(filed.frame_id)].take(filed.take)
            assert entry is not None
            content = (path / entry.filed.file).read_bytes()
            assert hashlib.sha256(content).hexdigest() == filed.sha256
    assert verify(path).is_sound


def test_a_full_disk_gives_its_room_back(tmp_path: Path) -> None:
    disk = FaultyDisk()
    with rolls.create(tmp_path / "roll", layer=disk) as roll:
        disk.arm(3, 1, errno.ENOSPC)
        with pytest.raises(StorageError, match=r"The disk is full .*receiving frame 1") as caught:
            receive(roll, "1", 1)
        assert caught.value.safe.startswith("The picture is still on the card")
        assert list((roll.path / "raw").iterdir()) == []
        assert receive(roll, "1", 1).take == 1


def test_trouble_with_a_sidecar_does_not_keep_the_picture_out(tmp_path: Path) -> None:
    class NoSidecars(rolls.HastyDisk):
        def open_new(self, path: Path) -> int:
            if ".xmp" in path.name:
                raise OSError(errno.ENOSPC, "full", str(path))
            return super().open_new(path)

    with rolls.create(tmp_path / "roll", layer=NoSidecars()) as roll:
        filed = take(roll, "1", 1)
        assert filed.path.exists()
        assert "The disk is full (while writing raw/X31-007_01.xmp)" in str(roll.take_troubles()[0])
    with reopen(tmp_path / "roll"):
        assert filed.path.with_suffix(".xmp").exists()
    assert verify(tmp_path / "roll").is_sound


@pytest.mark.parametrize(
    ("code", "said"),
    [
        (errno.ENOSPC, "The disk is full"),
        (errno.EDQUOT, "share of the disk is used up"),
        (errno.EROFS, "may only be read"),
        (errno.EACCES, "may not be written to by you"),
        (errno.EIO, "reports a fault"),
        (errno.ENOENT, "disk may be gone"),
        (errno.ENODEV, "The disk is gone"),
        (errno.ESTALE, "network disk"),
        (errno.EMFILE, "Too many open files"),
    ],
)
def test_every_refusal_is_a_sentence(code: int, said: str) -> None:
    import os

    with pytest.raises(StorageError, match=said) as caught, disk_troubles("trying", safe="All is safe."):
        raise OSError(code, os.strerror(code), "/somewhere")
    assert "while trying" in str(caught.value)
    assert "All is safe." in str(caught.value)
    assert caught.value.todo


def test_a_rename_never_replaces(tmp_path: Path) -> None:
    one, other = tmp_path / "one", tmp_path / "other"
    one.write_text("1")
    other.write_text("2")
    with pytest.raises(FileExistsError):
        Disk().rename_new(one, other)
    assert (one.read_text(), other.read_text()) == ("1", "2")
    other.unlink()
    Disk().rename_new(one, other)
    assert not one.exists()
    assert other.read_text() == "1"


@pytest.mark.parametrize("knows_links", [True, False])
def test_a_rename_never_replaces_where_the_kernel_does_not_help(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, knows_links: bool
) -> None:
    def refuse(*paths: object) -> None:
        raise OSError(errno.EPERM, "no links here")

    monkeypatch.setattr("tethercap.roll.store._rename_by_kernel", lambda source, target: False)
    if not knows_links:
        monkeypatch.setattr("tethercap.roll.store.os.link", refuse)
    test_a_rename_never_replaces(tmp_path)


def test_the_kernel_helps_on_linux(tmp_path: Path) -> None:
    (tmp_path / "one").write_text("1")
    done = _rename_by_kernel(tmp_path / "one", tmp_path / "other")
    assert done == (tmp_path / "other").exists()


def test_something_in_the_way_is_another_kind_of_error() -> None:
    with pytest.raises(RollExistsError, match="nothing was overwritten"), disk_troubles("trying", safe=""):
        raise FileExistsError(errno.EEXIST, "exists", "/there")


def test_a_roll_with_a_faulty_disk_closes(tmp_path: Path) -> None:
    disk = FaultyDisk()
    roll: Roll = rolls.create(tmp_path / "roll", layer=disk)
    disk.arm(1, 10**9, errno.EIO)
    roll.close()
    roll.close()


def test_a_picture_named_before_the_disk_failed_keeps_its_name(tmp_path: Path) -> None:
    """Somebody had put a file under its name meanwhile, so it had become a second take."""
    disk = FaultyDisk()
    with rolls.create(tmp_path / "roll", layer=disk) as roll:
        take(roll, "4", 4)
        incoming = receive(roll, "5", 5)
        (roll.path / "raw/X31-007_05.dng").write_bytes(b"in the way")
        disk.arm(8, 1, errno.EIO)  # line and its sync, rename, four for the sidecar; then the folder's sync
        with pytest.raises(StorageError):
            roll.file(incoming, ACCEPTED)
        assert not incoming.path.exists()
        filed = roll.file(incoming, ACCEPTED)
        assert (filed.frame_id, filed.take) == ("5", 2)
        assert filed.path.read_bytes() == picture(5)
    assert verify(tmp_path / "roll").is_sound


def test_a_record_that_is_begun_anew_has_its_name_on_the_disk(tmp_path: Path) -> None:
    with rolls.create(tmp_path / "roll") as roll:
        take(roll, "1", 1)
    (tmp_path / "roll/record.jsonl").unlink()
    disk = RecordingDisk(tmp_path)
    reopen(tmp_path / "roll", layer=disk).close()
    calls = [(call.name, call.path) for call in disk.log if isinstance(call, Call)]
    created = calls.index(("create", "roll/record.jsonl"))
    assert calls.index(("sync_folder", "roll")) < calls.index(("write", "roll/record.jsonl"))
    assert created < calls.index(("sync_folder", "roll"))
