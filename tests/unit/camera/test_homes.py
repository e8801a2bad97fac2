"""Private folders of camera processes that were killed together with their program."""

import os
import subprocess
import tempfile
from pathlib import Path

import pytest

from tethercap.camera.driver_handle import HOME_PREFIX, sweep_homes


def test_folders_of_programs_that_are_gone_are_taken_away(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    gone = subprocess.Popen(["true"])
    gone.wait()
    for name in (f"{gone.pid}-a", f"{os.getpid()}-b", f"{os.getppid()}-c", "x-d", f"{10**12}-e"):
        (tmp_path / f"{HOME_PREFIX}{name}").mkdir()
    (tmp_path / f"{HOME_PREFIX}{gone.pid}-a" / "settings").write_text("ptp2=autofocus=off")
    sweep_homes()
    left = {path.name.removeprefix(HOME_PREFIX) for path in tmp_path.iterdir()}
    assert left == {f"{os.getpid()}-b", f"{os.getppid()}-c", "x-d", f"{10**12}-e"}
