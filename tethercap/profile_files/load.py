"""Profiles read into their types: an unknown field, a wrong unit or a wrong name is an error that says where."""

import dataclasses
import difflib
import tomllib
import typing
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TypeVar

import msgspec

from tethercap.errors import ProfileError
from tethercap.film.formats import FilmFormat
from tethercap.film.kinds import FilmKind, FilmKindProfile
from tethercap.profile_files.find import profile_paths

_T = TypeVar("_T")
SCHEMA = 1
"""The only profile schema there is so far."""


def nearest_name(name: str, names: Iterable[str]) -> str:
    """Give a hint like ``; did you mean "pitch_mm"?``, or nothing when no name is near."""
    near = difflib.get_close_matches(name, list(names), n=1, cutoff=0.5)
    return f'; did you mean "{near[0]}"?' if near else ""


def read_profile(path: Path, profile_type: type[_T]) -> _T:
    """Read one TOML file into a dataclass.

    Parameters
    ----------
    path : Path
        The file.
    profile_type : type
        A dataclass; nested tables are dataclasses too. Every key of the file must be one of its fields.

    Raises
    ------
    ProfileError
        If the file cannot be read, is not TOML, has an unknown, missing or ill-typed field, another schema, or an `id`
        that is not the file's name.
    """
    table = _read_table(path)
    _refuse_unknown_fields(table, profile_type, path, "")
    if table.get("schema", SCHEMA) != SCHEMA:
        what = f"{path}: schema {table['schema']} is not known here, only {SCHEMA}."
        raise ProfileError(what, todo="Update tethercap, or the file.")
    try:
        profile = msgspec.convert(table, profile_type, strict=True)
    except msgspec.ValidationError as error:
        raise ProfileError(f"{path}: {error}.") from error
    if "id" in table and table["id"] != path.name.removesuffix(".toml"):
        raise ProfileError(f'{path}: id "{table["id"]}" is not the file\'s name.', todo="Make the two equal.")
    return profile


def _read_table(path: Path) -> dict[str, object]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise ProfileError(f"{path} cannot be read: {error.strerror or error}.") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ProfileError(f"{path} is not valid TOML: {error}.") from error


def _refuse_unknown_fields(table: Mapping[str, object], profile_type: object, path: Path, prefix: str) -> None:
    if not (isinstance(profile_type, type) and dataclasses.is_dataclass(profile_type)):
        return
    hints = typing.get_type_hints(profile_type)
    names = [field.name for field in dataclasses.fields(profile_type)]
    for key, value in table.items():
        if key not in names:
            raise ProfileError(f'{path}: unknown field "{prefix}{key}"{nearest_name(key, names)}')
        if isinstance(value, dict):
            for candidate in (hints[key], *typing.get_args(hints[key])):
                _refuse_unknown_fields(value, candidate, path, f"{prefix}{key}.")


def list_profiles(kind_folder: str, *, project: Path | None = None) -> list[str]:
    """Ids of all profiles of one kind, sorted."""
    return sorted(path.name.removesuffix(".toml") for path in profile_paths(kind_folder, project))


def load_profile(kind_folder: str, profile_id: str, profile_type: type[_T], *, project: Path | None = None) -> _T:
    """Find a profile by its id and read it.

    Parameters
    ----------
    kind_folder : str
        "film_formats", "film_kinds", "rigs", "recipes", ...
    profile_id : str
        File name without ".toml".
    profile_type : type
        Dataclass to read it into.
    project : Path or None
        Folder of the work at hand, see `find.profile_folders`.

    Raises
    ------
    ProfileError
        If there is no such profile, or it has a mistake in it.
    """
    paths = {path.name.removesuffix(".toml"): path for path in profile_paths(kind_folder, project)}
    if profile_id not in paths:
        what = kind_folder.replace("_", " ").removesuffix("s")
        known = ", ".join(sorted(paths)) or "none"
        hint = nearest_name(profile_id, paths) or "."
        raise ProfileError(f'There is no {what} "{profile_id}"{hint}', todo=f"Known: {known}.")
    return read_profile(paths[profile_id], profile_type)


def list_film_formats(*, project: Path | None = None) -> list[str]:
    """Ids of all film formats, sorted."""
    return list_profiles("film_formats", project=project)


def load_film_format(format_id: str, *, project: Path | None = None) -> FilmFormat:
    """Read a film format by its id, e.g. "135-36x24".

    Raises
    ------
    ProfileError
        If there is none, or its file has a mistake in it.
    """
    return load_profile("film_formats", format_id, FilmFormat, project=project)


def load_film_formats(*, project: Path | None = None) -> tuple[FilmFormat, ...]:
    """Read all film formats.

    Raises
    ------
    ProfileError
        If one of the files has a mistake in it.
    """
    return tuple(read_profile(path, FilmFormat) for path in profile_paths("film_formats", project))


def load_film_kind(kind: FilmKind | str, *, project: Path | None = None) -> FilmKindProfile:
    """Read what is typical of a kind of film.

    Raises
    ------
    ProfileError
        If there is none, or its file has a mistake in it.
    """
    return load_profile("film_kinds", str(kind), FilmKindProfile, project=project)
