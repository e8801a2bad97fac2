"""Everything a person can do, said once: keys, footer, help, palette and the README's table are made from this."""

from collections.abc import Iterable

from textual.binding import Binding, BindingType

from tethercap.tui.action import Action, Where
from tethercap.tui.actions_capture import CAPTURE_ACTIONS, EVERYWHERE_ACTIONS
from tethercap.tui.actions_rolls import OTHER_ACTIONS

__all__ = ["ACTIONS", "Action", "Where", "action_named", "actions_of", "bindings_of", "key_name", "keys_table"]

ACTIONS: tuple[Action, ...] = (*CAPTURE_ACTIONS, *OTHER_ACTIONS, *EVERYWHERE_ACTIONS)
"""Ids are unique over all screens, since a key file names them."""

_KEY_NAMES = {
    "question_mark": "?",
    "space": "space",
    "escape": "esc",
    "ctrl+p": "^p",
    "pagedown": "pg dn",
    "pageup": "pg up",
    "plus": "+",
    "minus": "-",
}


def actions_of(where: Where) -> tuple[Action, ...]:
    """Actions that work on a screen, in the order of their rank."""
    return tuple(sorted((a for a in ACTIONS if a.where in (where, Where.EVERYWHERE)), key=lambda action: action.rank))


def action_named(action_id: str) -> Action:
    """The action of that id.

    Raises
    ------
    KeyError
    """
    return {action.id: action for action in ACTIONS}[action_id]


def bindings_of(where: Where) -> list[BindingType]:
    """Key bindings of a screen (or of the program for EVERYWHERE), each with its id, so that keys can be changed."""
    chosen: Iterable[Action] = (action for action in ACTIONS if action.where is where)
    return [
        Binding(action.key, action.id, action.label, id=action.id, tooltip=action.tooltip, show=action.rank < 99)
        for action in chosen
    ]


def key_name(key: str) -> str:
    """How the first of some keys is written for a person."""
    first = key.split(",")[0].strip()
    return _KEY_NAMES.get(first, first)


def keys_table() -> str:
    """All actions as a Markdown table, for the README."""
    rows = [f"| {a.where.value} | `{key_name(a.key)}` | {a.label} | `{a.id}` | {a.tooltip} |" for a in ACTIONS]
    return "\n".join(["| screen | key | what | id | |", "|---|---|---|---|---|", *rows])
