"""Turning a roll's recipe and those of single frames, with undo; kept in the roll's recipe.toml."""

import dataclasses
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

from tethercap.batch.recipes import read_recipes, store_frame_recipe, store_roll_recipe
from tethercap.convert.recipe import Recipe

_FIELDS = tuple(each.name for each in dataclasses.fields(Recipe) if each.name not in ("schema", "id"))


class Scope(StrEnum):
    """What a turn of the recipe is for."""

    ROLL = "the whole roll"
    FRAME = "this frame only"


@dataclass(frozen=True, slots=True)
class _Before:
    """How something stood before it was turned."""

    scope: Scope
    frame: str
    roll: Recipe
    own: dict[str, object] | None


@dataclass(slots=True)
class RecipeDesk:
    """The recipes of a roll while they are turned; nothing reaches the disk before `store`.

    Parameters
    ----------
    roll_path : Path
    mirrored : bool
        The roll's film lies with its other side up.

    Raises
    ------
    ProfileError
        If the roll's recipe.toml has a mistake.
    """

    roll_path: Path
    mirrored: bool = False
    scope: Scope = Scope.ROLL
    frame: str = ""
    """Number of the frame looked at."""
    _roll: Recipe = field(default_factory=Recipe)
    _own: dict[str, dict[str, object]] = field(default_factory=dict)
    """What single frames have different from the roll, field -> value."""
    _frame_mirrored: dict[str, bool] = field(default_factory=dict)
    _undo: list[_Before] = field(default_factory=list)
    _unstored: set[str] = field(default_factory=set)
    """Frames that were turned and are not kept yet; "" stands for the roll."""

    def __post_init__(self) -> None:
        """Read what is kept."""
        self._roll = read_recipes(self.roll_path).for_roll(mirrored=self.mirrored)

    def look_at(self, frame: str, *, mirrored: bool) -> None:
        """Go to a frame; `mirrored` is how it lay."""
        self.frame = frame
        if frame not in self._own:
            self._frame_mirrored[frame] = mirrored
            kept = read_recipes(self.roll_path).for_frame(frame, mirrored=mirrored)
            self._own[frame] = _differences(kept, self._roll)

    @property
    def recipe(self) -> Recipe:
        """The recipe that turns change, and that the picture is shown with."""
        return self.recipe_of_frame if self.scope is Scope.FRAME else self._roll

    @property
    def recipe_of_frame(self) -> Recipe:
        """What the positive of the frame looked at will be made with."""
        return dataclasses.replace(self._roll, **self._own.get(self.frame, {}))  # type: ignore[arg-type]

    @property
    def frame_differs(self) -> bool:
        """The frame looked at has choices of its own."""
        return bool(self._own.get(self.frame))

    def turn(self, recipe: Recipe) -> None:
        """Take over a turned recipe, for the roll or the frame as the scope says."""
        own = self._own.get(self.frame)
        self._undo.append(_Before(self.scope, self.frame, self._roll, dict(own) if own is not None else None))
        if self.scope is Scope.ROLL:
            self._roll = recipe
            self._unstored.add("")
        else:
            self._own[self.frame] = _differences(recipe, self._roll)
            self._unstored.add(self.frame)

    def reset(self) -> None:
        """Go back to the plain recipe; a frame goes back to its roll's."""
        self.turn(self._roll if self.scope is Scope.FRAME else Recipe(mirrored=self.mirrored))

    def undo(self) -> bool:
        """Take the last turn back; False where there is none. What was of one frame leads back to that frame."""
        if not self._undo:
            return False
        before = self._undo.pop()
        if before.scope is Scope.ROLL:
            self._roll = before.roll
            self._unstored.add("")
        elif before.own is not None:
            self._own[before.frame] = before.own
            self._unstored.add(before.frame)
            self.frame = before.frame
        self.scope = before.scope
        return True

    @property
    def is_stored(self) -> bool:
        """Everything turned is kept."""
        return not self._unstored

    def store(self) -> None:
        """Keep what was turned in the roll's recipe.toml.

        Raises
        ------
        ProfileError, StorageError
            What could not be kept can be tried again.
        """
        if "" in self._unstored:
            store_roll_recipe(self.roll_path, self._roll, mirrored=self.mirrored)
            self._unstored.discard("")
        for frame in sorted(self._unstored):
            recipe = dataclasses.replace(self._roll, **self._own[frame])  # type: ignore[arg-type]
            mirrored = self._frame_mirrored.get(frame, self.mirrored)
            store_frame_recipe(self.roll_path, frame, recipe, mirrored=mirrored)
            self._unstored.discard(frame)


def _differences(recipe: Recipe, usual: Recipe) -> dict[str, object]:
    return {name: getattr(recipe, name) for name in _FIELDS if getattr(recipe, name) != getattr(usual, name)}
