"""The camera's own names repeat and wrap; a picture is never confused with an earlier one of the same name."""

from __future__ import annotations

from pathlib import Path

import pytest

from mock_camera.bodies import BODIES
from tests.contract.subjects import make_simulated
from tethercap.camera.base import FileAppeared


@pytest.mark.parametrize("body", [body for body in BODIES if body in ("standard", "0a", "0b", "0e")])
def test_pictures_on_both_sides_of_9999_all_come(body: str, tmp_path: Path) -> None:
    subject = make_simulated(body, "--first-number", "9998", log_dir=tmp_path)
    try:
        files: list[FileAppeared] = []
        for _ in range(4):
            files.extend(subject.shoot())
        assert len(files) == 4
        assert len({(event.file.folder, event.file.name) for event in files}) == 4
        assert len({subject.pull(event) for event in files}) == 4
    finally:
        subject.camera.close()
        for close in subject.close_also:
            close()
