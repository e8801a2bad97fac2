"""A short strip in the real program in a real terminal, by keys and hands-free; the whole roll is `roll_in_tmux`."""

from pathlib import Path

import pytest

from tests.tui.in_tmux import why_no_tmux
from tests.tui.roll_in_tmux import run_roll

pytestmark = [pytest.mark.skipif(bool(why_no_tmux()), reason=why_no_tmux() or "tmux"), pytest.mark.timeout(150)]
SMALL = ("--fast", "--sensor", "3000x2000")


def test_a_strip_is_filed_by_key_and_hands_free_with_the_numbers_of_the_film(tmp_path: Path) -> None:
    outcome = run_roll(
        tmp_path / "strip", mode="both", strips=1, per_strip=2, camera=SMALL, program=("--no-convert",), limit_s=100
    )
    assert outcome.faults == [], outcome.last_screen
    assert outcome.filed == outcome.labels == ["1", "2"]
    assert "all 2 done" in outcome.last_screen
    assert outcome.fired_by == ["key", "hands-free"]
    assert outcome.keys_pressed >= 1
