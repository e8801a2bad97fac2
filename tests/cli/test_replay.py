import json
import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest
from click.testing import CliRunner, Result

from tests.unit.watch.pictures import PX_PER_MM, film
from tethercap.cli.exit_codes import ExitCode
from tethercap.cli.main import tethercap
from tethercap.errors import StorageError, UnreadablePictureError

PLACES_MM = [*np.linspace(-12, 0.1, 8).tolist(), *[0.1] * 9]


def run(*arguments: str) -> Result:
    return CliRunner().invoke(tethercap, ["replay", *arguments], standalone_mode=False)


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Film coming to rest at picture 7; picture 3 was dropped."""
    folder = tmp_path_factory.mktemp("recording")
    for number, x_mm in enumerate(PLACES_MM):
        if number == 3:
            continue
        picture = film(x_mm, 0.0, 0.05, seed=3).astype(np.int16)
        noise = np.random.default_rng(number).integers(-2, 3, picture.shape)
        cv2.imwrite(str(folder / f"live_{number:05d}.jpg"), np.clip(picture + noise, 0, 255).astype(np.uint8))
    return folder


def test_one_object_a_picture_and_one_shot(recording: Path) -> None:
    known = (
        "--format",
        "135-36x24",
        "--kind",
        "colour-negative",
        "--scale",
        str(1 / PX_PER_MM),
        "--shutter",
        str(1 / 60),
    )
    result = run(str(recording), "--fps", "30", *known, "--json")
    assert result.return_value == ExitCode.DONE
    events = [json.loads(line) for line in result.stdout.splitlines()]
    frames = [event for event in events if event["event"] == "frame"]
    fires = [event for event in events if event["event"] == "fire"]
    assert len(frames) == len(PLACES_MM) - 1
    assert [round(frame["t_s"] * 30) for frame in frames] == [0, 1, 2, *range(4, len(PLACES_MM))]
    assert {"file", "verdict", "reasons", "corners_px", "offset_mm", "moving", "ready", "t_s"} <= set(frames[0])
    assert len(fires) == 1
    assert set(fires[0]) == {"event", "file", "t_s"}
    # Rest begins with picture 7; the shot comes within 150 ms of it.
    assert 7 / 30 <= fires[0]["t_s"] <= 7 / 30 + 0.15
    assert [frame["file"] for frame in frames if frame["ready"]] == [fires[0]["file"]]
    assert frames[2]["moving"] is True
    assert frames[-1]["moving"] is False


def test_finds_out_what_it_was_not_told(recording: Path, tmp_path: Path) -> None:
    for number in range(6, len(PLACES_MM)):
        shutil.copy(recording / f"live_{number:05d}.jpg", tmp_path)
    result = run(str(tmp_path), "--shutter", str(1 / 60))
    assert "36 × 24" in result.stderr
    assert result.stdout.count("fire") == 1


def test_a_damaged_picture_counts_as_dropped(recording: Path, tmp_path: Path) -> None:
    shutil.copytree(recording, tmp_path, dirs_exist_ok=True)
    (tmp_path / "live_00005.jpg").write_bytes(b"\xff\xd8\xff")
    result = run(str(tmp_path), "--format", "135-36x24", "--json")
    assert "live_00005.jpg" in result.stderr
    assert '"file": "' + str(tmp_path / "live_00005.jpg") not in result.stdout


def test_a_recording_of_which_nothing_can_be_read_is_an_error(tmp_path: Path) -> None:
    (tmp_path / "1.jpg").write_bytes(b"\xff\xd8\xff")
    (tmp_path / "2.jpg").mkdir()
    result = run(str(tmp_path))
    assert isinstance(result.exception, UnreadablePictureError)
    assert [result.stderr.count(name) for name in ("1.jpg", "2.jpg")] == [1, 1]


def test_a_folder_without_pictures_is_an_error(tmp_path: Path) -> None:
    assert isinstance(run(str(tmp_path)).exception, StorageError)
    assert isinstance(run(str(tmp_path / "none")).exception, StorageError)


@pytest.mark.parametrize("option", ["--fps", "--shutter", "--scale"])
@pytest.mark.parametrize("number", ["nan", "inf", "0", "-1"])
def test_numbers_that_no_camera_has_are_refused(option: str, number: str, tmp_path: Path) -> None:
    result = CliRunner().invoke(tethercap, ["replay", str(tmp_path), option, number])
    assert result.exit_code == 2
    assert option in result.output
