"""The state table of a roll: what may follow what."""

import pytest

from tethercap.session.states import MOVES, RunState, move
from tethercap.session.watching import BUSY


def test_every_state_has_a_row_and_a_way_out() -> None:
    assert set(MOVES) == set(RunState)
    assert all(MOVES.values())


@pytest.mark.parametrize("busy", sorted(BUSY))
def test_a_shot_under_way_cannot_be_left_by_what_the_live_view_shows(busy: RunState) -> None:
    assert not MOVES[busy] & {RunState.NO_FILM, RunState.MOVING, RunState.SETTLING, RunState.SEATED}


def test_every_shot_ends_filed_or_held() -> None:
    assert MOVES[RunState.EXPOSING] == {RunState.PULLING, RunState.HELD}
    assert MOVES[RunState.PULLING] == {RunState.CHECKING, RunState.HELD}
    assert MOVES[RunState.CHECKING] == {RunState.FILED, RunState.HELD}


def test_staying_is_always_a_move() -> None:
    assert all(move(state, state) is state for state in RunState)


def test_an_illegal_move_is_refused_with_both_names() -> None:
    with pytest.raises(ValueError, match="'checking' to 'seated'"):
        move(RunState.CHECKING, RunState.SEATED)
