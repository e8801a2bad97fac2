"""`tethercap convert --again`: a positive tells how it was made, and the same one comes out once more."""

import json
from pathlib import Path

import click
import numpy as np
import pytest
from click.testing import CliRunner, Result

from tests.unit.convert.film_shots import colour_patches, raw_of, shoot
from tests.unit.image_files.dng_writer import write_dng
from tethercap.cli.convert import convert
from tethercap.image_files.metadata import embed, read

RECIPE = """
contrast = 1.2
saturation = 0.9
balance_stops = [0.1, 0.0, -0.2]
black_point = 0.5
border = "hair"
turn = "quarter"
mirrored = true
trim_mm = [0.0, 0.5, 0.0, 0.0]
channel_weights = [0.5, 0.3, 0.2]
space = "display-p3"
"""


def run(*words: object) -> Result:
    return CliRunner().invoke(convert, [str(word) for word in words], catch_exceptions=False, standalone_mode=False)


@pytest.fixture
def films(tmp_path: Path) -> list[Path]:
    shots = [shoot(colour_patches(seed, side=50), rim_px=60) for seed in (4, 5)]
    return [
        write_dng(tmp_path / f"frame{number}.dng", shot.raw.mosaic, neutral=(0.53, 1.0, 0.67))
        for number, shot in enumerate(shots)
    ]


@pytest.fixture
def flat(tmp_path: Path) -> Path:
    light = np.linspace(0.8, 1.0, 420)[:, None] * np.array([8000.0, 15000.0, 10000.0])
    return write_dng(tmp_path / "light.dng", raw_of(np.broadcast_to(light, (320, 420, 3))).mosaic)


@pytest.mark.parametrize("kind", ["colour-negative", "bw-negative", "slide"])
def test_a_roll_of_positives_is_made_again_to_the_byte(
    kind: str, films: list[Path], flat: Path, tmp_path: Path
) -> None:
    recipe, first, again = tmp_path / "mine.toml", tmp_path / "first", tmp_path / "again"
    recipe.write_text(RECIPE)
    assert run(*films, "--kind", kind, "--roll-together", "--flat", flat, "--recipe", recipe, "--dust", "repair",
               "--exposure", "0.3", "--out", first).return_value == 0  # fmt: skip
    assert run(*films, "--flat", flat, "--again", first, "--out", again).return_value == 0
    for name in ("frame0.tif", "frame1.tif"):
        assert (again / name).read_bytes() == (first / name).read_bytes()


def test_one_frame_alone_is_made_again_and_what_is_said_besides_wins(films: list[Path], tmp_path: Path) -> None:
    run(films[0], "--kind", "colour-negative", "--out", tmp_path / "first")
    positive = tmp_path / "first" / "frame0.tif"
    result = run(films[0], "--again", positive, "--space", "a98", "--out", tmp_path / "again", "--json")
    steps = json.loads(result.stdout)["steps"]
    before = [json.loads(step) for step in read(positive)["Xmp.tethercap.Steps"]]  # type: ignore[attr-defined]
    assert steps[:-1] == before[:-1]
    assert steps[-1] == {"step": "encode", "space": "a98"}


def test_merged_exposures_are_made_again(films: list[Path], tmp_path: Path) -> None:
    words = (films[0], films[0], "--merge", "--no-crop", "--out")
    run(*words, tmp_path / "first", "--kind", "bw-negative")
    assert run(*words, tmp_path / "again", "--again", tmp_path / "first").return_value == 0
    first, again = (tmp_path / name / "frame0_merged.tif" for name in ("first", "again"))
    assert again.read_bytes() == first.read_bytes()
    result = run(films[0], "--again", first, "--out", tmp_path / "alone")
    assert result.return_value == 1
    assert "it was merged of frame0.dng, frame0.dng" in " ".join(result.stderr.split())


def test_what_cannot_be_made_again_is_told(films: list[Path], flat: Path, tmp_path: Path) -> None:
    run(films[0], "--kind", "colour-negative", "--no-crop", "--flat", flat, "--out", tmp_path / "first")
    positive = tmp_path / "first" / "frame0.tif"
    result = run(films[0], "--again", positive, "--out", tmp_path / "again")
    assert result.return_value == 1
    assert "it was made with a flat field" in " ".join(result.stderr.split())
    steps = read(positive)["Xmp.tethercap.Steps"]
    assert isinstance(steps, list)
    odd = [step.replace('"frame_long_mm": 36.0', '"frame_long_mm": 41.5') for step in steps]
    embed(positive, {"Xmp.tethercap.Steps": odd})
    result = run(films[0], "--flat", flat, "--again", positive, "--out", tmp_path / "again")
    assert "frames 41.5 mm long" in " ".join(result.stderr.split())
    embed(positive, {"Xmp.tethercap.Steps": ["no step"]})
    result = run(films[0], "--flat", flat, "--again", positive, "--out", tmp_path / "again")
    assert "its metadata does not say so" in " ".join(result.stderr.split())
    assert list((tmp_path / "again").iterdir()) == []
    for words, said in (
        ((*films, "--again", positive), "folder of positives"),
        ((films[0], "--grey", flat, "--again", positive), "leave --grey away"),
    ):
        with pytest.raises(click.UsageError, match=said):
            run(*words, "--out", tmp_path / "again")


def test_what_was_said_of_a_picture_is_said_again_each_by_itself(films: list[Path], tmp_path: Path) -> None:
    run(films[0], "--kind", "colour-negative", "--out", tmp_path / "first")
    positive, said = tmp_path / "first" / "frame0.tif", ["The frame was not found.", "The base was estimated."]
    embed(positive, {"Xmp.tethercap.Warnings": said})
    result = run(films[0], "--again", positive, "--out", tmp_path / "again", "--json")
    assert json.loads(result.stdout)["warnings"] == said
    assert read(tmp_path / "again" / "frame0.tif")["Xmp.tethercap.Warnings"] == said
