"""What is said about the disks while a roll is captured, once each."""

from collections import namedtuple
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from tests.unit.session.stage import Stage, set_stage
from tethercap.camera.fake import FakeFile
from tethercap.errors import StorageError
from tethercap.exposure.settings import Setting
from tethercap.roll.folder import Incoming
from tethercap.session import events
from tethercap.session.events import Mode

_Usage = namedtuple("_Usage", "total used free")


def _three_frames() -> list[tuple[float, str]]:
    phases = [(0.5, "none")]
    for number in range(3):
        phases += [(1.0 + 2 * number, "moving"), (2.5 + 2 * number, "seated")]
    return [*phases, (7.0, "moving"), (8.0, "none")]


def _run(folder: Path) -> Stage:
    stage = set_stage(folder / "roll-a", _three_frames(), mode=Mode.HANDS_FREE)
    with stage.roll:
        stage.runner.run()
    assert len(stage.told(events.FrameFiled)) == 3
    return stage


def test_nothing_is_said_where_all_is_well(tmp_path: Path) -> None:
    assert _run(tmp_path).told(events.Advised) == []


def test_a_disk_that_is_nearly_full_is_announced_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tethercap.roll.room.shutil.disk_usage", lambda path: _Usage(1, 1, 100 << 20))
    said = _run(tmp_path).told(events.Advised)
    assert [event.sentence for event in said] == [
        "The disk is as good as full (0.1 GB free): make room before the next shot."
    ]


def test_a_sidecar_that_could_not_be_written_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    stage = set_stage(tmp_path / "roll-a", _three_frames(), mode=Mode.HANDS_FREE)
    trouble = StorageError("The disk is full (while writing a sidecar).", safe="The picture itself is filed.")
    stage.roll._core.troubles.append(trouble)
    with stage.roll:
        stage.runner.run()
    assert [event.sentence for event in stage.told(events.Advised)] == [
        f"{trouble} Opening the roll again puts that right."
    ]


def test_a_disk_that_cannot_be_asked_is_told_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(path: Path) -> None:
        raise OSError(5, "fault", str(path))

    monkeypatch.setattr("tethercap.roll.room.shutil.disk_usage", refuse)
    said = _run(tmp_path).told(events.Advised)
    assert len(said) == 1
    assert "reports a fault" in said[0].sentence


def test_a_picture_that_came_short_does_not_end_the_run(tmp_path: Path) -> None:
    shots: list[int] = []

    def expose(number: int) -> list[FakeFile]:
        shots.append(number)
        return [FakeFile(b"" if len(shots) == 1 else b"picture %d" % number)]

    stage = set_stage(tmp_path / "roll-a", _three_frames(), mode=Mode.HANDS_FREE, expose=expose)
    with stage.roll:
        stage.runner.run()
    troubled = stage.told(events.StorageTroubled)
    assert "The camera sent 0 bytes" in str(troubled[0].error)
    assert len(stage.told(events.FrameFiled)) >= 2


def test_a_file_in_the_way_does_not_end_the_run(tmp_path: Path) -> None:
    stage = set_stage(tmp_path / "roll-a", _three_frames(), mode=Mode.HANDS_FREE)
    stranger = stage.roll.path / "raw/roll-a_02.dng"
    receive = stage.roll.receive

    def receive_late(*arguments: Any, **options: Any) -> Incoming:
        incoming = receive(*arguments, **options)
        if incoming.frame_id == "2" and not stranger.exists():
            stranger.write_bytes(b"somebody's")
        return incoming

    stage.roll.receive = receive_late  # type: ignore[method-assign]
    with stage.roll:
        stage.runner.run()
    assert [(event.frame_id, event.take) for event in stage.told(events.FrameFiled)] == [("1", 1), ("2", 2), ("3", 1)]
    assert stranger.read_bytes() == b"somebody's"


def test_a_low_battery_is_told_once_for_each_limit_it_passes(tmp_path: Path) -> None:
    stage = set_stage(tmp_path / "roll-a", _three_frames())
    for at_s, percent in ((0.2, 60), (1.0, 19), (2.0, 18), (3.0, 9), (4.0, 19)):
        stage.clock.at(at_s, partial(stage.camera.use_up, percent, None))
    with stage.roll:
        stage.runner.run()
    sentences = [event.sentence for event in stage.told(events.Advised)]
    assert ["19 %" in sentences[0], "9 %" in sentences[1], len(sentences)] == [True, True, 2]
    assert stage.runner.snapshot().settings[Setting.BATTERY].value.number == 19


def test_a_card_with_too_little_room_is_told_before_the_shot(tmp_path: Path) -> None:
    _run(tmp_path)
    size_bytes = max((tmp_path / "roll-a/raw").glob("*.dng")).stat().st_size
    stage = set_stage(tmp_path / "roll-a", [(3.0, "none")])
    for at_s, pictures in ((0.5, 500), (1.0, 4), (1.5, 4), (2.0, 3)):
        stage.clock.at(at_s, partial(stage.camera.use_up, 80, pictures * size_bytes))
    with stage.roll:
        stage.runner.run()
    assert [event.sentence for event in stage.told(events.Advised)] == [
        f"The camera's card has room for {pictures} of 6 more pictures: change it between two strips."
        for pictures in (4, 3)
    ]
