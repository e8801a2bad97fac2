"""Own keys: a small file that names actions and the keys they get."""

import difflib
from collections.abc import Mapping
from pathlib import Path

import msgspec

from tethercap.errors import ProfileError
from tethercap.tui.actions import ACTIONS, Where

FILE_NAME = "keys.toml"


def read_keys(path: Path) -> dict[str, str]:
    """Read a key file: one ``action = "key"`` or ``action = "key,other"`` a line, keys by Textual's names.

    Parameters
    ----------
    path : Path
        Need not exist; then every action keeps its own key.

    Raises
    ------
    ProfileError
        If the file cannot be understood, names no action, or gives one key to two actions of a screen.
    """
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        return {}
    except OSError as error:
        raise ProfileError(f"The key file {path} cannot be read: {error.strerror}.") from error
    try:
        keys = msgspec.toml.decode(content, type=dict[str, str])
    except msgspec.DecodeError as error:
        raise ProfileError(
            f"The key file {path} is not understood: {error}.", todo='Write lines like fire = "space".'
        ) from error
    check_keys(keys, str(path))
    return keys


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
        taken: dict[str, str] = {}
        for action in ACTIONS:
            if action.where not in (where, Where.EVERYWHERE):
                continue
            for key in keys.get(action.id, action.key).split(","):
                other = taken.setdefault(key.strip(), action.id)
                if other != action.id:
                    raise ProfileError(f"{source}: the key {key.strip()!r} would both {other!r} and {action.id!r}.")
