"""What a person prefers of the screens: colours, bells, own keys. One small file, which need not exist."""

from pathlib import Path
from typing import Literal

import msgspec

from tethercap.errors import ProfileError
from tethercap.profile_files.find import user_folder
from tethercap.tui.keymap import check_keys

ThemeName = Literal["dark", "light", "high contrast", "colour-blind safe", "safelight", "no colour"]
Picture = Literal["as the terminal can", "half blocks", "quadrants", "sextants", "octants", "sixel", "kitty"]
Notices = Literal["when away", "always", "never"]
PictureColours = Literal["as the terminal says", "24 bit", "15 bit", "256", "none"]


class Preferences(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """The contents of screen.toml; whatever is left out keeps its default."""

    theme: ThemeName = "dark"
    bells: bool = True
    """Ring for seated, filed, held, strip done."""
    reduced_motion: bool = False
    """At most eight live pictures a second, and nothing glides."""
    picture_colours: PictureColours = "as the terminal says"
    """Overrules what the terminal says of itself."""
    picture: Picture = "as the terminal can"
    """How pictures are shown, overruling what the terminal answers: in text of ever finer blocks, or in pixels."""
    notices: Notices = "when away"
    """Notices on the desktop, where the terminal shows them: for held frames, strips done, trouble."""
    keys: dict[str, str] = {}
    """Action id -> its keys, comma-separated: ``fire = "space,pagedown"``."""


def preferences_path() -> Path:
    """Where the file is looked for: beside the user's own profiles."""
    return user_folder().parent / "screen.toml"


def read_preferences(path: Path | None = None) -> Preferences:
    """Read the file; defaults where there is none.

    Raises
    ------
    ProfileError
        If it cannot be understood, names no action, or gives one key to two actions of a screen.
    """
    file = path or preferences_path()
    try:
        content = file.read_bytes()
    except FileNotFoundError:
        return Preferences()
    except OSError as error:
        raise ProfileError(f"{file} cannot be read: {error.strerror}.") from error
    try:
        preferences = msgspec.toml.decode(content, type=Preferences)
    except msgspec.DecodeError as error:
        todo = 'Write lines like theme = "light", and keys under [keys]: fire = "space".'
        raise ProfileError(f"{file} is not understood: {error}.", todo=todo) from error
    check_keys(preferences.keys, str(file))
    return preferences
