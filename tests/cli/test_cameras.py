"""`tethercap cameras` on the virtual camera inside the driver's wheel."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from click.testing import CliRunner

from tethercap.camera.words.dump import read_dumps
from tethercap.cli.cameras import cameras
from tethercap.cli.exit_codes import ExitCode
from tethercap.errors import NoCameraError, StorageError


def run(*arguments: str) -> tuple[str, str, Any]:
    result = CliRunner().invoke(cameras, arguments, standalone_mode=False)
    if result.exception is not None:
        raise result.exception
    return result.stdout, result.stderr, result.return_value


@pytest.fixture(autouse=True)
def own_folders(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.delenv("VCAMERADIR", raising=False)


@pytest.fixture
def virtual(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    folder = tmp_path / "pictures"
    folder.mkdir()
    assert cv2.imwrite(str(folder / "a.jpg"), np.zeros((48, 64, 3), np.uint8))
    monkeypatch.setenv("VCAMERADIR", str(folder))


@pytest.mark.usefixtures("virtual")
def test_cameras_are_listed_without_being_opened() -> None:
    out, _, code = run("--json")
    assert json.loads(out)["port"] == "usb:001,001"
    assert code is ExitCode.DONE


@pytest.mark.usefixtures("virtual")
def test_one_camera_is_shown_with_what_it_can_and_cannot_do() -> None:
    out, _, _ = run("--open", "--json")
    record = json.loads(out)
    assert record["live_view"] is False
    assert record["trigger"] is True
    assert any("cannot be watched" in note for note in record["notes"])
    assert record["settings"]["aperture"]["number"] == pytest.approx(2.8)
    assert record["driver"].startswith("gphoto2 2.6.3")


@pytest.mark.usefixtures("virtual")
def test_a_dump_reads_back_and_holds_no_serial_number(tmp_path: Path) -> None:
    target = tmp_path / "dump.txt"
    _, err, code = run("--dump", str(target))
    assert code is ExitCode.DONE
    assert str(target) in err.replace("\n", "")
    (dump,) = read_dumps(target)
    widgets = {widget.name: widget for widget in dump.widgets}
    assert widgets["f-number"].choices
    assert widgets["serialnumber"].current_text == "(removed)"
    with pytest.raises(StorageError):
        run("--dump", str(target))


def test_no_camera_is_said_on_stderr() -> None:
    out, err, code = run()
    assert out == ""
    assert "No camera was found" in err
    assert code is ExitCode.DONE
    with pytest.raises(NoCameraError):
        run("--open")
