from pathlib import Path

import pytest

from tethercap.batch.recipes import (
    RollRecipes,
    parse_recipes,
    read_recipes,
    store_frame_recipe,
    store_roll_recipe,
)
from tethercap.convert.recipe import Border, Dust, Recipe, Turn
from tethercap.errors import ProfileError

TEXT = """\
# mine
contrast = 1.1   # flat film
space = "a98"
[frame."9-12"]
balance_stops = [0.0, 0.0, -0.1]
exposure_stops = 1
[frame."10"]
exposure_stops = 0.5
turn = "quarter"
"""


def test_without_a_file_everything_is_as_usual(tmp_path: Path) -> None:
    assert read_recipes(tmp_path) == RollRecipes()
    assert read_recipes(tmp_path).for_frame("7") == Recipe()


def test_the_frames_own_words_win_over_ranges_and_ranges_over_the_roll() -> None:
    recipes = parse_recipes(TEXT)
    assert recipes.for_frame("8").contrast == 1.1
    assert recipes.for_frame("8").exposure_stops == 0.0
    assert recipes.for_frame("9").exposure_stops == 1.0
    tenth = recipes.for_frame("10")
    assert (tenth.exposure_stops, tenth.turn, tenth.balance_stops[2]) == (0.5, Turn.QUARTER, -0.1)


def test_the_single_frame_wins_wherever_it_stands() -> None:
    text = '[frame."10"]\ncontrast = 1.5\n[frame."9-12"]\ncontrast = 0.8\n'
    assert parse_recipes(text).for_frame("10").contrast == 1.5


def test_a_recipe_instead_of_the_rolls_keeps_what_frames_have_of_their_own() -> None:
    recipe = parse_recipes(TEXT).for_frame("10", instead=Recipe(contrast=0.7))
    assert (recipe.contrast, recipe.exposure_stops) == (0.7, 0.5)


def test_film_that_lay_the_other_way_up_is_mirrored_unless_the_file_says_otherwise() -> None:
    assert parse_recipes("").for_frame("1", mirrored=True).mirrored
    assert not parse_recipes("mirrored = false").for_frame("1", mirrored=True).mirrored


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("contrst = 1.0", 'unknown field "contrst"; did you mean "contrast"?'),
        ('[frame."7"]\nexposure_stop = 1', 'frame."7".exposure_stop"; did you mean "exposure_stops"?'),
        ('[frame."7"]\nframe = 1', "unknown field"),
        ('[frame."twelve"]\ncontrast = 1.0', "is not a frame number"),
        ('contrast = "much"', "contrast"),
        ("contrast = 0.0", "contrast is 0.0"),
        ('border = "thick"', "border"),
        ("corners_px = [[9, 9], [9, 9], [9, 9], [9, 9]]", "have to go clockwise"),
        ("corners_px = [[0, 0], [0, 9], [9, 9], [9, 0]]", "have to go clockwise"),
        ("corners_px = [[nan, 0], [9, 0], [9, 9], [0, 9]]", "have to go clockwise"),
        ("corners_px = [[0, 0], [9e9, 0], [9e9, 9e9], [0, 9e9]]", "have to go clockwise"),
        ("= 3", "not valid TOML"),
        ("schema = 2", "schema 1"),
        ('recipe = "nowhere"', 'There is no recipe "nowhere"'),
        ("[frames]\n", 'did you mean "frame"?'),
    ],
)
def test_mistakes_are_told_with_place_and_nearest_name(text: str, said: str) -> None:
    with pytest.raises(ProfileError) as caught:
        parse_recipes(text, "roll/recipe.toml")
    assert said in str(caught.value)


def test_what_is_stored_is_read_again(tmp_path: Path) -> None:
    chosen = Recipe(
        exposure_stops=0.4,
        balance_stops=(0.1, 0.0, -0.05),
        border=Border.HAIR,
        turn=Turn.HALF,
        dust=Dust.MARK,
        trim_mm=(0.0, 1.5, 0.0, 0.0),
        corners_px=((1.0, 2.0), (3.0, 2.0), (3.0, 4.0), (1.0, 4.0)),
    )
    store_frame_recipe(tmp_path, "7A", chosen)
    assert read_recipes(tmp_path).for_frame("7A") == chosen
    assert read_recipes(tmp_path).for_frame("7") == Recipe()


def test_only_differences_are_stored_and_comments_stay(tmp_path: Path) -> None:
    (tmp_path / "recipe.toml").write_text(TEXT)
    store_frame_recipe(tmp_path, "08", Recipe(contrast=1.1, space=Recipe().space, exposure_stops=-0.3))
    text = (tmp_path / "recipe.toml").read_text()
    assert "# flat film" in text
    assert '[frame.08]\nexposure_stops = -0.3\nspace = "srgb"' in text
    assert read_recipes(tmp_path).for_frame("10").exposure_stops == 0.5


def test_a_frame_put_back_to_the_rolls_recipe_has_no_table(tmp_path: Path) -> None:
    store_roll_recipe(tmp_path, Recipe(contrast=1.2))
    store_frame_recipe(tmp_path, "7", Recipe(contrast=1.4))
    assert read_recipes(tmp_path).frames
    store_frame_recipe(tmp_path, "07", Recipe(contrast=1.2))
    assert not read_recipes(tmp_path).frames
    store_frame_recipe(tmp_path, "07", Recipe(contrast=1.4))
    store_roll_recipe(tmp_path, Recipe(saturation=0.5))
    recipes = read_recipes(tmp_path)
    assert recipes.for_frame("8") == Recipe(saturation=0.5)
    assert recipes.for_frame("7") == Recipe(saturation=0.5, contrast=1.4)


def test_a_file_with_a_mistake_is_not_written_over(tmp_path: Path) -> None:
    (tmp_path / "recipe.toml").write_text("contrst = 1.0\n")
    with pytest.raises(ProfileError):
        store_frame_recipe(tmp_path, "7", Recipe(contrast=2.0))
    assert (tmp_path / "recipe.toml").read_text() == "contrst = 1.0\n"
