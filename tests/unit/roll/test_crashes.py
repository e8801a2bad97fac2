"""A short run of the soak: a process that files pictures is killed at random moments, and nothing is lost."""

import sys
from pathlib import Path

import pytest

from tests.bench.soak_roll import soak


@pytest.mark.skipif(sys.platform == "win32", reason="forks and sends SIGKILL")
def test_kills_at_random_moments_lose_nothing(tmp_path: Path) -> None:
    # A machine that is busy with other work files nothing in so short a time; then the kills come later.
    for longest_s in (0.12, 0.5, 2.0):
        figures = soak(tmp_path, kills=25, seed=11, picture_bytes=60_000, longest_s=longest_s)
        assert figures.kills == 25
        if figures.pictures_filed > 0:
            return
    pytest.fail("nothing was filed, so nothing was shown")
