"""What an action is, and where it works."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from functools import partial


class Where(StrEnum):
    """The screen on which an action works."""

    EVERYWHERE = "everywhere"
    CAPTURE = "capture"
    START = "start"
    SET_UP = "set-up"
    ROLL = "roll"
    FRAME = "frame"
    CONVERT = "convert"


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """One thing a person can do. Its id is the name in the key file, and of the method `action_<id>` of its screen."""

    id: str
    where: Where
    label: str
    key: str
    """Default keys, comma-separated, in Textual's names."""
    tooltip: str
    """One line."""
    help: str
    """A sentence or three: what it does, and when one wants it."""
    rank: int = 50
    """Order in the row of keys; small ones are shown first, 99 is not shown there."""


def on(where: Where) -> Callable[..., Action]:
    """Give a maker of actions for one screen; it takes the other fields of `Action` by name."""
    return partial(Action, where=where)
