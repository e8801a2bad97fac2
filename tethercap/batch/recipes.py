"""A roll's recipe.toml: how its positives are made, for the whole roll and for single frames.

::

    schema = 1
    recipe = "soft"            # optional: a recipe of profiles/recipes to begin with
    contrast = 1.1             # for the whole roll

    [frame."07"]               # for this frame only
    exposure_stops = 0.5

    [frame."9-12"]             # for some frames; what is said of one frame alone wins
    balance_stops = [0.0, 0.0, -0.1]

The fields are those of `tethercap.convert.recipe.Recipe`. The file is a person's: comments in it are kept.
"""

import dataclasses
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import Any

import msgspec
import tomlkit
from tomlkit.exceptions import TOMLKitError

from tethercap.convert.recipe import Recipe
from tethercap.errors import ProfileError, RollNameError, StorageError
from tethercap.profile_files import load_profile
from tethercap.profile_files.load import nearest_name
from tethercap.roll.names import FrameId, parse_frame_range
from tethercap.roll.setup_file import RECIPES_NAME
from tethercap.roll.store import Disk, disk_troubles, write_whole

_NAMES = tuple(item.name for item in dataclasses.fields(Recipe) if item.name not in {"schema", "id"})
_HEADER = """\
How the positives of this roll are made; written by tethercap, yours to change. Without the file
every field is as usual. Some frames may differ, in a table of their own: [frame."07"] or [frame."9-12"].
"""


@dataclass(frozen=True, slots=True)
class FrameChoices:
    """What is chosen for one frame or a range of them."""

    first: FrameId
    last: FrameId
    chosen: Mapping[str, object]
    """Field of `Recipe` -> value, only those that were chosen."""


@dataclass(frozen=True, slots=True)
class RollRecipes:
    """What a roll's recipe.toml says."""

    start: Recipe = field(default_factory=Recipe)
    """The recipe that the roll begins with."""
    roll: Mapping[str, object] = field(default_factory=dict)
    """Field of `Recipe` -> value for the whole roll."""
    frames: tuple[FrameChoices, ...] = ()
    """Those for ranges as the file has them, then those for one frame, which win."""

    def for_roll(self, *, mirrored: bool = False) -> Recipe:
        """Recipe of frames nothing special is said about.

        Parameters
        ----------
        mirrored : bool
            The film lay the other way up; counts where the file says nothing about it.
        """
        start = dataclasses.replace(self.start, mirrored=self.start.mirrored or mirrored)
        return _changed(start, self.roll)

    def for_frame(self, frame_id: FrameId | str, *, mirrored: bool = False, instead: Recipe | None = None) -> Recipe:
        """Recipe of one frame.

        Parameters
        ----------
        frame_id : FrameId or str
        mirrored : bool
            The film lay the other way up; counts where the file says nothing about it.
        instead : Recipe, optional
            Takes the place of what is said about the whole roll.
        """
        frame = FrameId.parse(frame_id)
        recipe = self.for_roll(mirrored=mirrored)
        if instead is not None:
            recipe = dataclasses.replace(instead, mirrored=instead.mirrored or mirrored)
        for choices in self.frames:
            if choices.first <= frame <= choices.last:
                recipe = _changed(recipe, choices.chosen)
        return recipe


def read_recipes(roll_path: Path) -> RollRecipes:
    """Read a roll's recipe.toml; where there is none, everything is as usual.

    Raises
    ------
    ProfileError
        If it is not TOML, or has an unknown or impossible field; with the nearest known name.
    """
    path = roll_path / RECIPES_NAME
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return RollRecipes()
    except (OSError, UnicodeDecodeError) as error:
        raise ProfileError(f"{path} cannot be read: {error}.", safe="No picture is touched.") from error
    return parse_recipes(text, str(path), roll_path)


def parse_recipes(text: str, file_name: str = RECIPES_NAME, project: Path | None = None) -> RollRecipes:
    """Understand the text of a recipe.toml; `file_name` is named in errors.

    Raises
    ------
    ProfileError
    """
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ProfileError(f"{file_name} is not valid TOML: {error}.", todo="Correct the file.") from error
    if table.pop("schema", 1) != 1:
        raise ProfileError(f"{file_name}: only schema 1 is known here.", todo="Update tethercap, or the file.")
    named = table.pop("recipe", "")
    if not isinstance(named, str):
        raise ProfileError(f"{file_name}: recipe has to be the id of a recipe, in quotes.")
    start = load_profile("recipes", named, Recipe, project=project) if named else Recipe()
    frames = table.pop("frame", {})
    if not isinstance(frames, dict):
        raise ProfileError(f'{file_name}: frame has to be tables like [frame."07"].')
    choices = [_frame_choices(key, value, file_name) for key, value in frames.items()]
    # One frame's own words come last, so that they win over a range's.
    choices.sort(key=lambda each: each.first == each.last)
    return RollRecipes(start, _choices(table, file_name, "", (*_NAMES, "recipe", "frame")), tuple(choices))


def _frame_choices(key: str, table: object, file_name: str) -> FrameChoices:
    where = f'frame."{key}".'
    try:
        first, last = parse_frame_range(key)
    except RollNameError as error:
        raise ProfileError(f"{file_name}: {where.rstrip('.')}: {error}") from error
    if not isinstance(table, dict):
        raise ProfileError(f'{file_name}: {where.rstrip(".")} has to be a table, [frame."{key}"].')
    return FrameChoices(first, last, _choices(table, file_name, where, _NAMES))


def _choices(table: Mapping[str, object], file_name: str, where: str, known: tuple[str, ...]) -> dict[str, object]:
    for name in table:
        if name not in _NAMES:
            raise ProfileError(
                f'{file_name}: unknown field "{where}{name}"{nearest_name(name, known)}',
                safe="No picture is touched.",
                todo="Correct the file and try again.",
            )
    try:
        recipe = msgspec.convert(table, Recipe, strict=True)
    except msgspec.ValidationError as error:
        raise ProfileError(
            f"{file_name}: {where}{str(error).replace('`$.', '`')}.", todo="Correct the file."
        ) from error
    return {name: getattr(recipe, name) for name in table}


def _changed(recipe: Recipe, chosen: Mapping[str, object]) -> Recipe:
    return dataclasses.replace(recipe, **chosen)  # type: ignore[arg-type]


def store_frame_recipe(roll_path: Path, frame_id: FrameId | str, recipe: Recipe, *, mirrored: bool = False) -> None:
    """Keep what one frame is to have different from its roll; nothing is kept where it differs in nothing.

    Parameters
    ----------
    roll_path : Path
    frame_id : FrameId or str
    recipe : Recipe
        The frame's whole recipe.
    mirrored : bool
        The film lay the other way up, as in `RollRecipes.for_frame`.

    Raises
    ------
    ProfileError
        If the file that is there is not usable; it is not touched then.
    StorageError
    """
    frame = FrameId.parse(frame_id)
    recipes = read_recipes(roll_path)
    others = tuple(each for each in recipes.frames if not each.first == each.last == frame)
    usual = dataclasses.replace(recipes, frames=others).for_frame(frame, mirrored=mirrored)
    document = _document(roll_path)
    if "frame" not in document:
        document["frame"] = tomlkit.table(is_super_table=True)
    tables: Any = document["frame"]
    for key in [key for key in tables if parse_frame_range(key) == (frame, frame)]:
        tables.remove(key)
    different = _differences(recipe, usual)
    if different:
        table = tomlkit.table()
        for name, value in different.items():
            table.add(name, _as_toml(value))
        tables.add(frame.file_part, table)
    _write(roll_path, document)


def store_roll_recipe(roll_path: Path, recipe: Recipe, *, mirrored: bool = False) -> None:
    """Keep the recipe of the whole roll; what single frames have of their own stays.

    Raises
    ------
    ProfileError, StorageError
        As in `store_frame_recipe`.
    """
    recipes = read_recipes(roll_path)
    usual = dataclasses.replace(recipes, roll={}).for_roll(mirrored=mirrored)
    document = _document(roll_path)
    different = _differences(recipe, usual)
    for name in _NAMES:
        if name not in different:
            document.pop(name, None)
    for name, value in different.items():
        document[name] = _as_toml(value)
    _write(roll_path, document)


def _differences(recipe: Recipe, usual: Recipe) -> dict[str, object]:
    return {name: getattr(recipe, name) for name in _NAMES if getattr(recipe, name) != getattr(usual, name)}


def _as_toml(value: object) -> object:
    if isinstance(value, StrEnum):
        return value.value
    return [_as_toml(item) for item in value] if isinstance(value, tuple) else value


def _document(roll_path: Path) -> tomlkit.TOMLDocument:
    try:
        return tomlkit.parse((roll_path / RECIPES_NAME).read_text(encoding="utf-8"))
    except FileNotFoundError:
        document = tomlkit.document()
        for line in _HEADER.splitlines():
            document.add(tomlkit.comment(line))
        document.add("schema", tomlkit.item(1))
        return document
    except (OSError, TOMLKitError) as error:
        raise StorageError(f"{roll_path / RECIPES_NAME} cannot be read: {error}.") from error


def _write(roll_path: Path, document: tomlkit.TOMLDocument) -> None:
    text = tomlkit.dumps(document)
    parse_recipes(text, str(roll_path / RECIPES_NAME), roll_path)
    with disk_troubles(f"keeping {RECIPES_NAME}", safe="No picture is touched; the recipe is as it was before."):
        write_whole(Disk(), roll_path / RECIPES_NAME, text.encode("utf-8"))
