"""A short run of the soak: a process that files pictures is killed at random moments, and nothing is lost."""

import sys
from pathlib import Path

import pytest

from tests.bench.soak_roll import soak


@pytest.mark.skipif(sys.platform == "win32", reason="forks and sends SIGKILL")
def test_kills_at_random_moments_lose_nothing(tmp_path: Path) -> None:
    figures = soak(tmp_path, kills=25, seed=11, picture_bytes=60_000, longest_s=0.12)
    assert figures.kills == 25
    assert figures.pictures_filed > 0
