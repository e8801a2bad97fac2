"""No state of the disk after a power cut, whatever call it comes after, loses a picture that was said to be filed."""

import hashlib
from pathlib import Path

import pytest

from tests.unit.roll import rolls
from tests.unit.roll.recording_disk import Call, PowerCut, Promise, RecordingDisk
from tethercap.errors import RollError
from tethercap.roll.fixity import MANIFEST_NAME, verify
from tethercap.roll.folder import FiledTake, Roll
from tethercap.roll.names import FrameId


def _work_on(roll: Roll, disk: RecordingDisk) -> None:
    """A few frames with everything that moves files: retakes, a skipped frame, an inserted one, numbers traded."""
    for number, accepted in enumerate((True, False, True)):
        outcome = rolls.ACCEPTED if accepted else rolls.NOT_ACCEPTED
        filed = rolls.take(roll, roll.next_frame_id(), number, outcome)
        disk.log.append(Promise(filed))
    roll.set_aside(rolls.receive(roll, "9", 90), "a test")
    roll.skip(roll.next_frame_id(), "scratched")
    companion = rolls.receive(roll, "1", 91, ".jpg")
    roll.file_companion(companion, FiledTake(roll.path / "raw/X31-007_01.dng", "1", 1, "", accepted=True))


@pytest.fixture
def recorded(tmp_path: Path) -> RecordingDisk:
    disk = RecordingDisk(tmp_path / "disk")
    disk.root.mkdir()
    with rolls.create(disk.root / "roll", layer=disk) as roll:
        _work_on(roll, disk)
    return disk


def _check_after(cut: PowerCut, folder: Path, seed: int) -> None:
    for name, keep, content in cut.states(seed):
        place = folder / name.replace(" ", "-")
        place.mkdir(parents=True)
        cut.write_to(place, keep, content)
        try:
            roll = rolls.reopen(place / "roll")
        except (RollError, FileNotFoundError):
            assert not cut.promises, f"{name}: a roll with pictures does not open"
            continue
        with roll:
            for promise in cut.promises:
                assert isinstance(promise, FiledTake)
                _check_promise(roll, promise, name)
            _check_order(roll, name)
        assert verify(place / "roll").is_sound, name


def _check_promise(roll: Roll, promise: FiledTake, name: str) -> None:
    record = roll.frames[FrameId.parse(promise.frame_id)].take(promise.take)
    assert record is not None, f"{name}: frame {promise.frame_id} take {promise.take} is not known"
    content = (roll.path / record.filed.file).read_bytes()
    assert hashlib.sha256(content).hexdigest() == promise.sha256 == record.filed.sha256, name
    assert record.filed.accepted is promise.accepted, name
    assert (roll.path / record.sidecar).exists(), name


def _check_order(roll: Roll, name: str) -> None:
    """No passing name is left, and what is in the folder is in the record."""
    for path in roll.path.rglob("*"):
        if path.is_file() and path.name != ".lock" and path.parent != roll.path:
            assert not path.name.startswith("."), f"{name}: {path.name} was left over"
            listed = (roll.path / MANIFEST_NAME).read_text()
            assert path.name in listed or path.parent.name == "aside", f"{name}: {path.name} is not in the manifest"


def test_no_cut_loses_a_filed_picture(recorded: RecordingDisk, tmp_path: Path) -> None:
    for length in range(len(recorded.log) + 1):
        _check_after(PowerCut(recorded.log, length), tmp_path / f"cut{length}", seed=length)


@pytest.mark.parametrize("careless_about", ["/raw/", "record.jsonl"])
def test_the_check_finds_a_careless_order(tmp_path: Path, careless_about: str) -> None:
    class Careless(RecordingDisk):
        def sync(self, handle: int) -> None:
            if careless_about not in self._open[handle]:
                super().sync(handle)

    disk = Careless(tmp_path / "disk")
    disk.root.mkdir()
    with rolls.create(disk.root / "roll", layer=disk) as roll:
        _work_on(roll, disk)
    with pytest.raises(AssertionError):
        for length in range(0, len(disk.log) + 1, 3):
            _check_after(PowerCut(disk.log, length), tmp_path / f"cut{length}", seed=length)


def test_renumbering_is_done_wholly_or_not_at_all(tmp_path: Path) -> None:
    disk = RecordingDisk(tmp_path / "disk")
    disk.root.mkdir()
    with rolls.create(disk.root / "roll", layer=disk) as roll:
        for number in range(4):
            rolls.take(roll, roll.next_frame_id(), number)
        before = _places(roll)
        start = len(disk.log)
        roll.renumber({FrameId(1): FrameId(2), FrameId(2): FrameId(1), FrameId(3): FrameId(4), FrameId(4): FrameId(5)})
        after = _places(roll)
    assert sorted(after.values()) == ["1", "2", "4", "5"]
    for length in range(start, len(disk.log) + 1):
        cut = PowerCut(disk.log, length)
        for name, keep, content in cut.states(length):
            place = tmp_path / f"{length}-{name}"
            place.mkdir()
            cut.write_to(place, keep, content)
            with rolls.reopen(place / "roll") as roll:
                places = _places(roll)
                _check_order(roll, name)
            assert places in (before, after), f"{name} after {length} calls"
            assert places == after or length < len(disk.log)
            assert verify(place / "roll").is_sound


def _places(roll: Roll) -> dict[str, str]:
    """SHA-256 of each picture as it lies there -> frame, from the record, the file's name and the sidecar alike."""
    places = {}
    for frame_id, frame in roll.frames.items():
        for take in frame.takes:
            path = roll.path / take.filed.file
            assert path.stem == f"X31-007_{frame_id.file_part}"
            assert f"Xmp.tethercap.Frame={frame_id}\n" in (roll.path / take.sidecar).read_text()
            places[hashlib.sha256(path.read_bytes()).hexdigest()] = str(frame_id)
    return places


def _result(disk: RecordingDisk, path: Path, content: bytes) -> Path:
    handle = disk.open_new(path)
    disk.write(handle, content)
    disk.sync(handle)
    disk.close(handle)
    return path


def test_a_positive_is_the_old_one_or_the_new_one_and_the_record_knows_which(tmp_path: Path) -> None:
    disk = RecordingDisk(tmp_path / "disk")
    disk.root.mkdir()
    with rolls.create(disk.root / "roll", layer=disk) as roll:
        rolls.take(roll, "1", 1)
        start = len(disk.log)
        for pixels in (b"an old positive", b"a new positive"):
            positive, proof = (roll.waiting_path(path("1", 1)) for path in (roll.positive_path, roll.proof_path))
            for path, part in ((positive, pixels), (proof, pixels + b" in small")):
                _result(disk, path, part)
            sums = [hashlib.sha256(path.read_bytes()).hexdigest() for path in (positive, proof)]
            roll.put_positive("1", 1, positive, proof, positive_sha256=sums[0], proof_sha256=sums[1])
        assert roll.positive_path("1", 1).read_bytes() == b"a new positive"
        assert roll.proof_path("1", 1).read_bytes() == b"a new positive in small"
    for length in range(start, len(disk.log) + 1):
        cut = PowerCut(disk.log, length)
        for name, keep, content in cut.states(length):
            place = tmp_path / f"{length}-{name}"
            place.mkdir()
            cut.write_to(place, keep, content)
            with rolls.reopen(place / "roll") as roll:
                _check_order(roll, name)
            assert verify(place / "roll").is_sound, f"{name} after {length} calls"


def test_a_second_cut_while_putting_right_loses_nothing(recorded: RecordingDisk, tmp_path: Path) -> None:
    for length in range(20, len(recorded.log), 17):
        cut = PowerCut(recorded.log, length)
        for name, keep, content in cut.states(length):
            disk = RecordingDisk(tmp_path / f"{length}-{name}")
            disk.root.mkdir()
            cut.write_to(disk.root, keep, content)
            before = _log_of_what_is_there(disk.root)
            try:
                rolls.reopen(disk.root / "roll", layer=disk).close()
            except (RollError, FileNotFoundError):
                continue
            log = [*before, *map(Promise, cut.promises), *disk.log]
            for second in range(len(before) + len(cut.promises), len(log) + 1, 9):
                _check_after(PowerCut(log, second), tmp_path / f"{length}-{name}-{second}", seed=second)


def _log_of_what_is_there(root: Path) -> list[Call | Promise]:
    calls: list[Call | Promise] = []
    for path in sorted(root.rglob("*")):
        name = path.relative_to(root).as_posix()
        if path.is_dir():
            calls.append(Call("mkdir", name))
        elif path.name != ".lock":
            calls += [Call("create", name), Call("write", name, content=path.read_bytes()), Call("sync", name)]
    folders = {".", *(path.relative_to(root).as_posix() for path in root.rglob("*") if path.is_dir())}
    return [*calls, *(Call("sync_folder", folder) for folder in sorted(folders))]
