import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from click.testing import CliRunner, Result

from tests.unit.watch.pictures import PX_PER_MM, corners_at, film
from tethercap.cli.exit_codes import ExitCode
from tethercap.cli.main import tethercap

KEYS = {
    "file", "verdict", "reasons", "corners_px", "tilt_deg", "offset_mm", "mm_per_px", "whole", "moving", "film_kind",
}  # fmt: skip


def run(*arguments: str) -> Result:
    return CliRunner().invoke(tethercap, ["inspect", *arguments], standalone_mode=False)


@pytest.fixture
def seated(tmp_path: Path) -> Path:
    path = tmp_path / "seated.jpg"
    cv2.imwrite(str(path), film(0.1, 0.05, 0.1), [cv2.IMWRITE_JPEG_QUALITY, 92])
    return path


@pytest.fixture
def off(tmp_path: Path) -> Path:
    path = tmp_path / "off.jpg"
    cv2.imwrite(str(path), film(1.2, 0.0, -0.8), [cv2.IMWRITE_JPEG_QUALITY, 92])
    return path


def test_one_object_a_line_with_every_key(seated: Path, off: Path) -> None:
    result = run(str(seated), str(off), "--format", "135-36x24", "--kind", "colour-negative", "--json")
    first, second = (json.loads(line) for line in result.stdout.splitlines())
    assert set(first) >= KEYS
    assert (first["verdict"], second["verdict"]) == ("accept", "hold")
    assert first["reasons"] == []
    assert first["moving"] is None
    assert second["tilt_deg"] == pytest.approx(-0.8, abs=0.05)
    assert second["offset_mm"] == pytest.approx([1.2, 0.0], abs=0.03)
    assert np.abs(np.array(second["corners_px"]) - corners_at(1.2, 0.0, -0.8)).max() < 0.6
    assert result.return_value == ExitCode.FOUND


def test_all_accepted_is_done(seated: Path) -> None:
    result = run(str(seated), "--format", "135-36x24", "--scale", str(1 / PX_PER_MM))
    assert result.return_value == ExitCode.DONE
    assert "accept" in result.stdout


def test_nothing_to_see_gives_nulls(tmp_path: Path) -> None:
    path = tmp_path / "light.jpg"
    cv2.imwrite(str(path), np.full((424, 640, 3), 250, np.uint8))
    seen = json.loads(run(str(path), "--json").stdout)
    assert seen["verdict"] == "cannot-tell"
    assert seen["corners_px"] is None
    assert seen["offset_mm"] is None
    assert seen["reasons"]


def test_a_damaged_file_does_not_stop_the_others(seated: Path, tmp_path: Path) -> None:
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(seated.read_bytes()[:2000])
    result = run(str(broken), str(seated), "--json")
    assert len(result.stdout.splitlines()) == 1
    assert result.return_value == ExitCode.INPUT
    assert result.stderr.count("broken.jpg") == 1


def test_unknown_format_is_refused_by_name(seated: Path) -> None:
    result = run(str(seated), "--format", "135-36x25")
    assert 'did you mean "135-36x24"' in str(result.exception)


def test_real_negative_on_a_light_table() -> None:
    """A photograph of a real colour negative; its corners read off by eye, so to a few pixels."""
    path = Path(__file__).parent.parent / "data" / "zxing_film_edge_1.jpg"
    if not path.exists():
        pytest.skip("the sample photograph dxfilmedge-1/1.jpg of zxing-cpp is not here")
    seen = json.loads(run(str(path), "--json").stdout)
    assert seen["film_kind"] == "colour-negative"
    assert seen["format"] == "135-36x24"
    expected = [[99, 107], [609, 102], [614, 445], [95, 445]]
    assert np.abs(np.array(seen["corners_px"]) - expected).max() < 4
