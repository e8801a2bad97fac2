"""Room on the disk, told before it is too late."""

from pathlib import Path

import pytest

from tethercap.errors import StorageError
from tethercap.roll.room import Room, look_at_room


@pytest.mark.parametrize(
    ("free_bytes", "fit", "sentence"),
    [
        (10_000_000_000, 195, ""),
        (1_000_000_000, 15, "The disk has room for 15 of 36 more frames (1.0 GB free)."),
        (250_000_000, 0, "The disk is as good as full (0.2 GB free): make room before the next shot."),
        (0, 0, "The disk is as good as full (0.0 GB free): make room before the next shot."),
    ],
)
def test_what_is_said(free_bytes: int, fit: int, sentence: str) -> None:
    room = Room(free_bytes, picture_bytes=50_000_000, frames_wanted=36)
    assert room.frames_that_fit == fit
    assert room.sentence == sentence
    assert room.is_enough is not bool(sentence)


def test_looks_at_the_real_disk(tmp_path: Path) -> None:
    room = look_at_room(tmp_path, 1, 1, result_bytes=2)
    assert room.free_bytes > 0
    assert room.picture_bytes == 3
    with pytest.raises(StorageError):
        look_at_room(tmp_path / "gone", 1, 1)
