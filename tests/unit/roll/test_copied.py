"""A roll's folder that somebody copies while it is written to, and one that may only be read."""

import errno
import os
import shutil
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pytest

from tests.unit.roll import rolls
from tests.unit.roll.rolls import picture, reopen, take
from tethercap.errors import StorageError
from tethercap.roll.fixity import verify
from tethercap.roll.folder import Roll
from tethercap.roll.names import FrameId
from tethercap.roll.view import read_roll


def _copied(roll: Path, copy: Path, names: Iterable[str]) -> None:
    """Copy some of a roll's folders and files, as a file manager does it: one after the other."""
    copy.mkdir(exist_ok=True)
    for name in names:
        if (roll / name).is_dir():
            shutil.copytree(roll / name, copy / name, dirs_exist_ok=True)
        elif (roll / name).exists():
            shutil.copyfile(roll / name, copy / name)


_TEXTS = ("roll.toml", "record.jsonl", "manifest-sha256.txt", ".lock")


@pytest.mark.parametrize("first", ["texts", "pictures"])
def test_a_folder_copied_while_it_grows_opens_with_every_picture_it_got(tmp_path: Path, first: str) -> None:
    copy = tmp_path / "copy"
    with rolls.create(tmp_path / "roll") as roll:
        take(roll, "1", 1)
        take(roll, "2", 2)
        _copied(roll.path, copy, _TEXTS if first == "texts" else ("raw",))
        take(roll, "3", 3)
        pieces = iter([picture(4)[:100], picture(4)[100:]])
        incoming = roll.receive("4", ".dng", pieces)
        _copied(roll.path, copy, ("raw",) if first == "texts" else _TEXTS)
        roll.set_aside(incoming, "enough")
    with reopen(copy) as opened:
        taken = {str(frame_id): frame.takes[0].filed.sha256 for frame_id, frame in opened.frames.items()}
        assert {"1", "2"} <= set(taken)
        notes = " ".join(opened.opening_notes)
        if first == "texts":
            assert set(taken) == {"1", "2", "3", "4"}, "what came later is taken in"
            assert not opened.frames[FrameId(4)].takes[0].filed.accepted
        else:
            assert "raw/X31-007_03.dng is in the record and not in the folder" in notes
    missing = {name for name in verify(copy).missing if not name.endswith(".xmp")}
    assert missing == (set() if first == "texts" else {"raw/X31-007_03.dng"})
    with reopen(copy) as again:
        assert len(again.frames) == len(taken)


def test_a_copied_lock_file_locks_nobody_out(tmp_path: Path) -> None:
    with rolls.create(tmp_path / "roll") as roll:
        take(roll, "1", 1)
        shutil.copytree(roll.path, tmp_path / "copy")
        assert (tmp_path / "copy/.lock").exists()
        with reopen(tmp_path / "copy") as opened:
            assert str(opened.next_frame_id()) == "2"


def test_a_roll_on_a_medium_that_may_only_be_read_is_looked_at_and_not_opened(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with rolls.create(tmp_path / "roll") as roll:
        take(roll, "1", 1)
    opened = os.open

    def read_only(path: Any, flags: int, *more: Any, **words: Any) -> int:
        if flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT):
            raise OSError(errno.EROFS, os.strerror(errno.EROFS), str(path))
        return opened(path, flags, *more, **words)

    monkeypatch.setattr(os, "open", read_only)
    before = {path: path.read_bytes() for path in roll.path.rglob("*") if path.is_file()}
    with pytest.raises(StorageError, match="may only be read") as refused:
        Roll.open(roll.path)
    assert "Nothing was changed" in str(refused.value)
    assert verify(roll.path).is_sound
    assert str(read_roll(roll.path).next_frame_id) == "2"
    assert {path: path.read_bytes() for path in roll.path.rglob("*") if path.is_file()} == before


def test_a_clock_that_goes_back_puts_nothing_out_of_order(tmp_path: Path) -> None:
    with rolls.create(tmp_path / "roll") as roll:
        take(roll, "1", 1)
        take(roll, "1", 2)
    with reopen(roll.path) as again:  # its clock begins anew, before the first run's
        take(again, "1", 3)
        assert str(again.next_frame_id()) == "2"
    with reopen(roll.path) as once_more:
        (frame,) = once_more.frames.values()
        assert frame.chosen is not None
        assert frame.chosen.number == 3
        assert once_more.opening_notes == ()
