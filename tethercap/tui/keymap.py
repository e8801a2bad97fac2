"""Own keys are checked before they are used: known actions only, and no key that would do two things."""

import difflib
from collections.abc import Mapping

from tethercap.errors import ProfileError
from tethercap.tui.actions import ACTIONS, Where


def check_keys(keys: Mapping[str, str], source: str = "the key file") -> None:
    """Refuse unknown actions, and keys that would do two things on one screen.

    Raises
    ------
    ProfileError
    """
    ids = [action.id for action in ACTIONS]
    for action_id in keys:
        if action_id not in ids:
            nearest = difflib.get_close_matches(action_id, ids, 1)
            todo = f"Did you mean {nearest[0]!r}?" if nearest else f"The actions are {', '.join(ids)}."
            raise ProfileError(f"{source}: there is no action {action_id!r}.", todo=todo)
    for where in Where:
        _check_screen(where, keys, source)


def _check_screen(where: Where, keys: Mapping[str, str], source: str) -> None:
    taken: dict[str, str] = {}
    for action in ACTIONS:
        if action.where not in (where, Where.EVERYWHERE):
            continue
        for key in keys.get(action.id, action.key).split(","):
            other = taken.setdefault(key.strip(), action.id)
            if other != action.id:
                raise ProfileError(f"{source}: the key {key.strip()!r} would both {other!r} and {action.id!r}.")
