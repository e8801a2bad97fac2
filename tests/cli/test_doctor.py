"""`tethercap doctor` and the rule it gives."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from tethercap.camera.base import CameraIdentity
from tethercap.camera.holders import UDEV_RULE
from tethercap.cli import doctor as command
from tethercap.cli.exit_codes import ExitCode
from tethercap.errors import StorageError


def run(*arguments: str) -> tuple[str, str, Any]:
    result = CliRunner().invoke(command.doctor, arguments, standalone_mode=False)
    if result.exception is not None:
        raise result.exception
    return result.stdout, result.stderr, result.return_value


@pytest.fixture(autouse=True)
def without_a_driver(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(command, "find_cameras", list)
    monkeypatch.setattr(command, "default_log_dir", lambda: tmp_path)


def test_the_rule_alone_goes_to_stdout() -> None:
    out, err, code = run("--udev")
    assert out == UDEV_RULE
    assert "replug" in err
    assert code is ExitCode.DONE


def test_the_rule_is_written_once_and_nothing_else_is_overwritten(tmp_path: Path) -> None:
    target = tmp_path / "60-cameras.rules"
    assert run("--udev", "--write", str(target))[2] is ExitCode.DONE
    assert target.read_text() == UDEV_RULE
    assert run("--udev", "--write", str(target))[2] is ExitCode.DONE
    target.write_text("something else")
    with pytest.raises(StorageError, match="could not be written"):
        run("--udev", "--write", str(target))
    assert target.read_text() == "something else"


def test_write_alone_makes_no_sense(tmp_path: Path) -> None:
    result = CliRunner().invoke(command.doctor, ["--write", str(tmp_path / "x")])
    assert result.exit_code == ExitCode.USAGE


def test_findings_are_told_with_advice_and_an_exit_code(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tethercap.camera.checkup.list_usb_cameras", list)
    out, _, code = run("--json")
    findings = {record["name"]: record for record in map(json.loads, out.splitlines())}
    assert findings["driver"]["well"]
    assert not findings["cameras"]["well"]
    assert findings["cameras"]["todo"]
    assert code is ExitCode.FOUND
    monkeypatch.setattr(command, "find_cameras", lambda: [CameraIdentity("usb:001,004", model="Body")])
    out, _, code = run()
    assert "Body at usb:001,004" in out
    assert code is ExitCode.DONE
