"""Turning recipes: on values, on quick looks of real RAW files, and what reaches the roll's recipe.toml."""

import dataclasses
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from tests.tui.drawn_roll import make_roll
from tethercap.batch.pools import SerialExecutor
from tethercap.batch.recipes import read_recipes, store_frame_recipe, store_roll_recipe
from tethercap.batch.roll_jobs import reconvert_roll
from tethercap.convert.recipe import Border, Recipe, Turn
from tethercap.convert.render import convert
from tethercap.image_files.raw import read_raw
from tethercap.image_files.tiff import read_tiff
from tethercap.roll.folder import Roll
from tethercap.tui.quick_look import QuickFrame, looks_of_roll, open_quick
from tethercap.tui.recipe_desk import RecipeDesk, Scope
from tethercap.tui.recipe_dial import KNOBS, Knob
from tethercap.tui.roll_cards import cards_of


@pytest.fixture
def roll(tmp_path: Path) -> Iterator[Roll]:
    with make_roll(tmp_path / "invented-07", frames=2) as made:
        yield made


def _open(roll: Roll) -> QuickFrame:
    return open_quick(roll, cards_of(roll)[0], 500)


@pytest.mark.parametrize("knob", KNOBS, ids=lambda knob: knob.key)
def test_every_knob_turns_forth_and_back(knob: Knob) -> None:
    there = knob.turn(Recipe(), -1)
    assert there != Recipe()
    assert knob.show(knob.turn(there, 1)) == knob.show(Recipe())


def test_knobs_stop_where_a_recipe_ends() -> None:
    for knob in KNOBS:
        recipe = Recipe()
        for _ in range(200):
            recipe = knob.turn(recipe, 1)
        assert isinstance(recipe, Recipe)


def test_a_quick_look_follows_the_recipe(roll: Roll) -> None:
    frame = _open(roll)
    plain = frame.look(Recipe())
    assert frame.look(Recipe(exposure_stops=1.0)).mean() > plain.mean() + 5
    grey = frame.look(Recipe(saturation=0.0))
    assert np.ptp(grey.astype(int), axis=2).mean() < 0.5 * np.ptp(plain.astype(int), axis=2).mean()
    red = frame.look(Recipe(balance_stops=(0.5, 0.0, 0.0)))
    assert red[..., 2].mean() > 1.05 * plain[..., 2].mean()
    assert np.array_equal(red[..., 0], plain[..., 0])
    turned = frame.look(Recipe(turn=Turn.QUARTER))
    assert turned.shape[:2] == plain.shape[1::-1]
    assert np.array_equal(np.rot90(turned), plain)
    assert np.array_equal(frame.look(Recipe(mirrored=True)), plain[:, ::-1])
    cut = frame.look(Recipe(trim_mm=(6.0, 0.0, 6.0, 0.0)))
    assert cut.shape[1] == pytest.approx(plain.shape[1] * 24 / 36, abs=4)
    assert frame.look(Recipe(border=Border.WHOLE)).shape[1] > plain.shape[1]


def test_a_quick_look_is_the_positive_in_small(roll: Roll) -> None:
    """Reference: the conversion itself, shrunk to the same size."""
    import cv2

    frame = _open(roll)
    recipe = Recipe(contrast=1.2, exposure_stops=-0.3)
    quick = frame.look(recipe)
    card = cards_of(roll)[0]
    assert card.raw is not None
    made = convert(
        read_raw(card.raw), recipe, base=None, corners=frame.corners, film_kind=roll.setup.film_kind
    ).positive.pixels_rgb
    small = cv2.resize(made, (quick.shape[1], quick.shape[0]), interpolation=cv2.INTER_AREA)[..., ::-1] / 257
    assert np.abs(small[4:-4, 4:-4] - quick[4:-4, 4:-4]).mean() < 4


@pytest.mark.parametrize(
    "recipe",
    [
        Recipe(),
        Recipe(contrast=1.2, exposure_stops=-0.3, black_point=0.0, balance_stops=(0.1, 0.0, -0.1)),
        Recipe(auto_exposure=False),
        Recipe(own_base=True),
        Recipe(border=Border.HAIR, turn=Turn.QUARTER, mirrored=True, trim_mm=(2.0, 0.0, 0.0, 1.0)),
    ],
    ids=["plain", "turned", "as on the film", "own base", "cut and turned"],
)
def test_with_the_look_of_the_roll_a_quick_look_is_the_rolls_positive(roll: Roll, recipe: Recipe) -> None:
    """Reference: what the conversion of the whole roll writes, shrunk to the same size."""
    import cv2

    store_roll_recipe(roll.path, recipe)
    assert [made.trouble for made in reconvert_roll(roll, SerialExecutor())] == [None, None]
    looks = looks_of_roll(roll)
    for card in cards_of(roll)[:2]:
        frame = open_quick(roll, card, 600)
        alone = frame.look(recipe)
        frame.give_look(looks[card.key])
        quick = frame.look(recipe)
        assert card.shown_take is not None
        made = read_tiff(roll.positive_path(card.key, card.shown_take.number))
        small = cv2.resize(made, (quick.shape[1], quick.shape[0]), interpolation=cv2.INTER_AREA)[..., ::-1] / 257
        # A look is made of 4 x 4 pixels of the RAW: at the rim it has some rebate in it, and edges are less sharp.
        inside = (slice(12, -12), slice(12, -12))
        means = [cv2.blur(np.asarray(each, np.float32)[inside], (15, 15)) for each in (small, quick, alone)]
        away = np.abs(means[1] - means[0])
        assert np.median(away) < 0.8, "within the rounding of eight bits"
        assert away.mean() < 1.5
        assert abs(float((means[1] - means[0]).mean())) < 1.0
        if recipe == Recipe():
            assert np.median(np.abs(means[2] - means[0])) > 2 * np.median(away), "the frame alone is farther off"


def test_a_turn_for_the_roll_reaches_every_frame_and_one_for_a_frame_only_that(roll: Roll) -> None:
    desk = RecipeDesk(roll.path)
    desk.look_at("1", mirrored=False)
    desk.turn(dataclasses.replace(desk.recipe, contrast=1.2))
    desk.scope = Scope.FRAME
    desk.turn(dataclasses.replace(desk.recipe, exposure_stops=0.5))
    assert read_recipes(roll.path).for_roll() == Recipe(), "nothing is kept before it is stored"
    desk.store()
    kept = read_recipes(roll.path)
    assert (kept.for_frame("1").contrast, kept.for_frame("1").exposure_stops) == (1.2, 0.5)
    assert (kept.for_frame("2").contrast, kept.for_frame("2").exposure_stops) == (1.2, 0.0)


def test_what_a_frame_has_of_its_own_stays_when_the_roll_is_turned_and_nothing_more_is_frozen(roll: Roll) -> None:
    store_frame_recipe(roll.path, "1", Recipe(exposure_stops=0.5))
    desk = RecipeDesk(roll.path)
    desk.look_at("1", mirrored=False)
    assert desk.frame_differs
    desk.turn(dataclasses.replace(desk.recipe, contrast=1.3))
    desk.scope = Scope.FRAME
    assert (desk.recipe.contrast, desk.recipe.exposure_stops) == (1.3, 0.5)
    desk.store()
    desk.scope = Scope.ROLL
    desk.turn(dataclasses.replace(desk.recipe, contrast=0.9))
    desk.store()
    assert read_recipes(roll.path).for_frame("1").contrast == 0.9


def test_undo_takes_back_turn_by_turn_and_is_kept_too(roll: Roll) -> None:
    desk = RecipeDesk(roll.path)
    desk.look_at("1", mirrored=False)
    desk.turn(dataclasses.replace(desk.recipe, contrast=1.2))
    desk.scope = Scope.FRAME
    desk.turn(dataclasses.replace(desk.recipe, saturation=0.5))
    desk.store()
    assert desk.undo()
    assert (desk.scope, desk.recipe.saturation, desk.recipe.contrast) == (Scope.FRAME, 1.0, 1.2)
    assert desk.undo()
    assert (desk.scope, desk.recipe) == (Scope.ROLL, Recipe())
    assert not desk.undo()
    desk.store()
    assert read_recipes(roll.path).for_frame("1") == Recipe()


def test_a_frame_is_reset_to_its_roll(roll: Roll) -> None:
    desk = RecipeDesk(roll.path)
    desk.look_at("1", mirrored=False)
    desk.turn(dataclasses.replace(desk.recipe, contrast=1.2))
    desk.scope = Scope.FRAME
    desk.turn(dataclasses.replace(desk.recipe, saturation=0.5))
    desk.reset()
    assert desk.recipe == dataclasses.replace(Recipe(), contrast=1.2)
    assert not desk.frame_differs
