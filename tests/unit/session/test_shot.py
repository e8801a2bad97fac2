"""When a shot's files are complete, and what they are called."""

import pytest

from tethercap.camera.base import CameraFile
from tethercap.session.events import FiredBy
from tethercap.session.shot import QUIET_S, Shot, suffix_of


def shot(*names: str, last_at_s: float | None = None, finished: bool = False) -> Shot:
    files = [CameraFile("/store/DCIM", name, 10) for name in names]
    return Shot("7", 1, FiredBy.KEY, 0.0, None, files=files, last_file_at_s=last_at_s, finished=finished)


@pytest.mark.parametrize(
    ("one", "expected_files", "now_s", "complete"),
    [
        (shot(), 1, 99.0, False),
        (shot(finished=True), 1, 99.0, False),
        (shot("a.dng", last_at_s=1.0), 1, 1.0, True),
        (shot("a.dng", last_at_s=1.0), 2, 1.1, False),
        (shot("a.dng", last_at_s=1.0), 2, 1.0 + QUIET_S, True),
        (shot("a.dng", last_at_s=1.0, finished=True), 2, 1.0, True),
        (shot("a.jpg", "a.dng", last_at_s=1.0), 2, 1.0, True),
    ],
)
def test_complete_by_count_by_word_or_by_quiet(one: Shot, expected_files: int, now_s: float, complete: bool) -> None:
    assert one.all_files_in(now_s, expected_files) is complete


def test_the_raw_comes_first_whatever_order_the_camera_had() -> None:
    assert [file.name for file in shot("X.JPG", "X.NEF").raw_first()] == ["X.NEF", "X.JPG"]


@pytest.mark.parametrize(
    ("name", "suffix"),
    [
        ("DSC_0001.NEF", ".nef"),
        ("IMG_1.JPG", ".jpg"),
        ("a", ".raw"),
        ("../../etc/passwd", ".raw"),
        ("x.dng/../y.exe", ".raw"),
        ("x.DNG", ".dng"),
        ("x.exe", ".raw"),
    ],
)
def test_a_cameras_name_gives_its_known_ending_and_nothing_else(name: str, suffix: str) -> None:
    assert suffix_of(CameraFile("/", name, 1)) == suffix
