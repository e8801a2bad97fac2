"""Where profiles are looked for: the project at hand, the user's own, the ones that came with tethercap."""

from collections.abc import Iterator
from pathlib import Path

import click

_PACKAGE = Path(__file__).resolve().parent.parent


def shipped_folder() -> Path:
    """Folder of the profiles that came with tethercap: inside the wheel, or beside the package in a checkout."""
    inside_wheel = _PACKAGE / "_profiles"
    return inside_wheel if inside_wheel.is_dir() else _PACKAGE.parent / "profiles"


def user_folder() -> Path:
    """Folder of the user's own profiles, as the system places settings; it need not exist."""
    return Path(click.get_app_dir("tethercap")) / "profiles"


def profile_folders(project: Path | None = None) -> tuple[Path, ...]:
    """Folders to look in, nearest first.

    Parameters
    ----------
    project : Path or None
        Folder of the work at hand; its `profiles` folder wins over the user's, which wins over the shipped one.
        None means the current folder.
    """
    folders = ((project or Path.cwd()) / "profiles", user_folder(), shipped_folder())
    return tuple(dict.fromkeys(folder.resolve() for folder in folders))


def profile_paths(kind_folder: str, project: Path | None = None) -> Iterator[Path]:
    """Yield the TOML files of one kind of profile, nearest first, one for each file name.

    Parameters
    ----------
    kind_folder : str
        "film_formats", "film_kinds", "rigs", "recipes", ...
    project : Path or None
        As in `profile_folders`.
    """
    seen: set[str] = set()
    for folder in profile_folders(project):
        for path in sorted((folder / kind_folder).glob("*.toml")):
            if path.name not in seen:
                seen.add(path.name)
                yield path
