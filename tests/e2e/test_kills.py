"""Kill -9 of the capture, its camera process and its workers in one strip: the short form of the chain soak."""

from pathlib import Path

import pytest

from tests.bench.chain.kills import run_kills

PLAN = ("camera", "converter", "prover", "checker", "capture")


@pytest.mark.timeout(400)
def test_whatever_is_killed_the_strip_is_filed_whole_and_numbered_right(tmp_path: Path) -> None:
    figures = run_kills(tmp_path, len(PLAN), seed=2, strips=1, plan=PLAN)
    assert dict(figures.kills) == dict.fromkeys(PLAN, 1)
    assert figures.starts >= 2
    assert figures.frames == 6 * figures.rolls
