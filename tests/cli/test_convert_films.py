"""Films that were measured on a rig, kept and used again: `tethercap convert --save-film` and so on."""

import dataclasses
import json
from pathlib import Path
from typing import Any

import click
import numpy as np
import pytest
from click.testing import CliRunner

from tests.unit.convert.film_shots import colour_patches, shoot
from tests.unit.image_files.dng_writer import write_dng
from tethercap.batch.films import keep_film, read_film
from tethercap.cli.convert import convert
from tethercap.convert.usual_film import usual_film
from tethercap.errors import ConversionError, ProfileError
from tethercap.film.kinds import FilmKind

NEGATIVE = ("--kind", "colour-negative", "--no-crop")


def run(*words: object) -> list[dict[str, Any]]:
    result = CliRunner().invoke(convert, [*map(str, words), "--json"], catch_exceptions=False, standalone_mode=False)
    assert result.return_value == 0
    return [{step["step"]: step for step in json.loads(line)["steps"]} for line in result.stdout.splitlines()]


@pytest.fixture(autouse=True)
def own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr("tethercap.profile_files.find.user_folder", lambda: tmp_path / "settings")
    monkeypatch.setattr("tethercap.batch.films.user_folder", lambda: tmp_path / "settings")
    return tmp_path / "settings"


def shot(path: Path, linear: np.ndarray) -> Path:
    return write_dng(path, shoot(linear, rim_px=60).raw.mosaic, neutral=(0.53, 1.0, 0.67))


@pytest.fixture
def frame(tmp_path: Path) -> Path:
    return shot(tmp_path / "frame.dng", colour_patches(4, side=40))


@pytest.fixture
def cards(tmp_path: Path) -> list[Path]:
    return [shot(tmp_path / f"card{stops}.dng", np.full((160, 240, 3), 0.18 * 2.0**stops)) for stops in (-1, 1)]


def test_a_film_is_kept_and_used_on_another_roll(
    frame: Path, cards: list[Path], tmp_path: Path, own_settings: Path
) -> None:
    (measured,) = run(frame, *NEGATIVE, "--grey", *cards, "--save-film", "harbour", "--out", tmp_path / "one")
    assert (own_settings / "films" / "harbour.toml").exists()
    again = run(frame, *cards, *NEGATIVE, "--film", "harbour", "--out", tmp_path / "two")
    for steps in again:
        assert {**steps["equalise"], "model": ""} == {**measured["equalise"], "model": ""}
        assert steps["density-matrix"] == measured["density-matrix"]
        assert "kept as harbour" in steps["equalise"]["model"]


def kept(film_id: str, **changed: object) -> None:
    model = dataclasses.replace(usual_film(FilmKind.COLOUR_NEGATIVE).model(), source="a test", **changed)  # type: ignore[arg-type]
    keep_film(model, film_id)


def test_a_film_beside_is_part_of_the_way_to_this_ones_colours(frame: Path, tmp_path: Path) -> None:
    rows = ((2.0, -1.0, 0.0), (0.0, 1.5, -0.5), (0.0, -1.0, 2.0))
    kept("other", light_matrix=rows)
    (alone,) = run(frame, *NEGATIVE, "--roll-together", "--out", tmp_path / "out")
    (beside,) = run(frame, *NEGATIVE, "--beside-film", "other", "--out", tmp_path / "out")
    before, after = (np.array(steps["light-matrix"]["rows"]) for steps in (alone, beside))
    assert np.abs(after - rows).sum() < 0.8 * np.abs(before - rows).sum()


def test_a_recipe_remembers_the_film(frame: Path, tmp_path: Path) -> None:
    kept("harbour", toe=0.22)
    recipe = tmp_path / "mine.toml"
    recipe.write_text('film = "harbour"\n')
    (steps,) = run(frame, *NEGATIVE, "--roll-together", "--recipe", recipe, "--out", tmp_path / "two")
    assert steps["equalise"]["model"] == "a test, kept as harbour"
    assert steps["equalise"]["toe"] == 0.22


@pytest.mark.parametrize("said", ["gamma = [0.6, 0.0, 0.6]", "toe = nan", "speed = [inf, 0.0, 0.0]"])
def test_a_film_with_numbers_that_no_film_has_is_refused(said: str, tmp_path: Path) -> None:
    path = tmp_path / "odd.toml"
    path.write_text(f"{said}\n")
    with pytest.raises(ProfileError, match=said.split()[0]):
        read_film(str(path), FilmKind.COLOUR_NEGATIVE)


def test_what_is_no_film_to_keep_or_to_use_is_refused(frame: Path, cards: list[Path], tmp_path: Path) -> None:
    out = ("--out", tmp_path / "out")
    with pytest.raises(ConversionError, match="not measured"):
        run(frame, *NEGATIVE, "--save-film", "harbour", *out)
    for name in ("../harbour", "harbour.toml"):
        with pytest.raises(ProfileError, match="cannot be the name"):
            run(frame, *NEGATIVE, "--grey", *cards, "--save-film", name, *out)
    kept("harbour")
    with pytest.raises(ProfileError, match="There is a film harbour already"):
        run(frame, *NEGATIVE, "--grey", *cards, "--save-film", "harbour", *out)
    with pytest.raises(ProfileError, match="is a colour-negative"):
        run(frame, "--kind", "slide", "--no-crop", "--film", "harbour", *out)
    with pytest.raises(ProfileError, match='no film "harbor"; did you mean "harbour"'):
        run(frame, *NEGATIVE, "--film", "harbor", *out)
    with pytest.raises(click.UsageError, match="was measured already"):
        run(frame, *NEGATIVE, "--film", "harbour", "--grey", *cards, *out)
