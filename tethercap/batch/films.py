"""Films measured on a rig, kept in profiles/films: for the next roll of the film, and for other films on the rig."""

import dataclasses
from pathlib import Path

import numpy as np
import tomlkit

from tethercap.convert.film_model import FilmModel
from tethercap.convert.usual_film import ESTIMATE
from tethercap.errors import ProfileError
from tethercap.film.kinds import FilmKind
from tethercap.profile_files import load_profile, read_profile
from tethercap.profile_files.find import user_folder
from tethercap.roll.store import Disk, disk_troubles, write_whole

FOLDER = "films"
_ABOVE_0 = ("gamma", "toe", "toe_ratio")
"""Numbers of a film that its curves are divided by."""
_HEADER = (
    "A film as it was measured on one rig: this camera, this light. Made by tethercap; another film's colours\n"
    "on the same rig can be told with its help (convert --beside-film).\n"
)


def read_film(name: str, film_kind: FilmKind) -> FilmModel:
    """Read a film that was measured before.

    Parameters
    ----------
    name : str
        Id of a profile in profiles/films, or a TOML file.
    film_kind : FilmKind
        What it has to be.

    Raises
    ------
    ProfileError
        If there is none, it has a mistake in it, or it is of another kind.
    """
    path = Path(name)
    model = read_profile(path, FilmModel) if path.suffix == ".toml" else load_profile(FOLDER, name, FilmModel)
    if model.film_kind is not film_kind:
        raise ProfileError(
            f"The film {name} is a {model.film_kind.value}, and this one a {film_kind.value}.",
            safe="Nothing was changed.",
            todo="Choose a film of the same kind.",
        )
    _refuse_impossible(model, name)
    return dataclasses.replace(model, source=f"{model.source}, kept as {model.id or path.stem}")


def _refuse_impossible(model: FilmModel, name: str) -> None:
    """Refuse numbers that no film has, as a file that was edited by hand may hold."""
    for field, value in dataclasses.asdict(model).items():
        numbers = np.ravel(value)
        if numbers.dtype.kind != "f" or (np.isfinite(numbers).all() and (field not in _ABOVE_0 or numbers.min() > 0)):
            continue
        raise ProfileError(
            f"The film {name} has {field} = {value}, which no film has.",
            safe="No picture is touched.",
            todo="Correct its file, or measure the film again.",
        )


def is_measured(model: FilmModel) -> bool:
    """Say whether a film was measured on something whose colours are known."""
    return model.source != ESTIMATE


def refuse_taken(film_id: str) -> Path:
    """Give the file that a film will be kept in.

    Raises
    ------
    ProfileError
        If the name cannot be a file's, or is taken.
    """
    is_name = film_id.strip(". ") and film_id.isprintable() and not set(film_id) & set('/\\:*?"<>|')
    if not is_name or film_id.endswith(".toml"):
        raise ProfileError(f'"{film_id}" cannot be the name of a film.', todo="Use letters, digits and dashes.")
    path = user_folder() / FOLDER / f"{film_id}.toml"
    if path.exists():
        raise ProfileError(
            f"There is a film {film_id} already, in {path}.", todo="Choose another name, or move it away."
        )
    return path


def keep_film(model: FilmModel, film_id: str) -> Path:
    """Keep a film that was measured, and say where.

    Raises
    ------
    ProfileError
        As `refuse_taken`.
    StorageError
        If it cannot be written.
    """
    path = refuse_taken(film_id)
    document = tomlkit.document()
    for line in _HEADER.splitlines():
        document.add(tomlkit.comment(line))
    for name, value in dataclasses.asdict(dataclasses.replace(model, id=film_id)).items():
        document.add(name, tomlkit.item(_as_toml(value)))
    with disk_troubles(f"keeping the film {film_id}", safe="No picture is touched."):
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(Disk(), path, tomlkit.dumps(document).encode("utf-8"))
    return path


def _as_toml(value: object) -> object:
    if isinstance(value, FilmKind):
        return value.value
    return [_as_toml(item) for item in value] if isinstance(value, tuple) else value
