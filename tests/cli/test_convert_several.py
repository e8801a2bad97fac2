"""`tethercap convert` for brackets, parts of a frame, two frames in one shot, and dust."""

import json
from pathlib import Path
from typing import Any

import click
import cv2
import numpy as np
import pytest
from click.testing import CliRunner, Result
from skimage import data

from tests.unit.batch.half_frames import half_frame_pair
from tests.unit.convert.film_shots import BASE_COUNTS, colour_patches, density_of, raw_of
from tests.unit.image_files.dng_writer import write_dng
from tests.unit.roll import rolls
from tethercap.cli.convert import convert
from tethercap.errors import RollExistsError
from tethercap.image_files.metadata import read
from tethercap.image_files.tiff import read_tiff
from tethercap.pictures import F64Array
from tethercap.roll.fixity import verify
from tethercap.roll.folder import TakeOutcome

NEGATIVE = ("--kind", "colour-negative")


def run(*words: object) -> Result:
    return CliRunner().invoke(convert, [str(word) for word in words], catch_exceptions=False, standalone_mode=False)


def steps_of(result: Result) -> dict[str, dict[str, Any]]:
    return {step["step"]: step for step in json.loads(result.stdout)["steps"]}


def write_counts(path: Path, counts: F64Array) -> Path:
    return write_dng(path, raw_of(counts).mosaic, neutral=(0.53, 1.0, 0.67))


def photograph() -> F64Array:
    """Counts of a negative of an open photograph (scikit-image's coffee cup)."""
    light = (cv2.resize(data.coffee(), (1200, 800)).astype(float) / 255.0) ** 2.2
    return np.asarray(BASE_COUNTS * 10.0 ** -density_of(0.02 + 0.9 * light))


def test_exposures_are_merged_into_one_positive(tmp_path: Path) -> None:
    counts = photograph()
    paths = [write_counts(tmp_path / f"shot{number}.dng", counts * 0.3 * number) for number in (1, 2)]
    out = tmp_path / "out"
    result = run(*paths, *NEGATIVE, "--no-crop", "--merge", "--out", out, "--json")
    assert [path.name for path in out.iterdir()] == ["shot1_merged.tif"]
    merging = steps_of(result)["merge-exposures"]
    assert merging["files"] == ["shot1.dng", "shot2.dng"]
    np.testing.assert_allclose(merging["exposures"], [1.0, 2.0], rtol=0.01)


def test_groups_have_to_be_whole(tmp_path: Path) -> None:
    paths = [write_counts(tmp_path / f"shot{number}.dng", photograph() * 0.3) for number in range(3)]
    with pytest.raises(click.UsageError, match="do not make groups of 2"):
        run(*paths, *NEGATIVE, "--merge", "--each", 2, "--out", tmp_path / "out")


def test_parts_are_put_together(tmp_path: Path) -> None:
    counts = photograph()
    parts = [counts[:, left : left + 720] for left in (0, 480)]
    paths = [write_counts(tmp_path / f"part{number}.dng", part) for number, part in enumerate(parts)]
    result = run(*paths, *NEGATIVE, "--stitch", "--out", tmp_path / "out", "--json")
    assert result.return_value == 0
    whole = read_tiff(tmp_path / "out" / "part0_stitched.tif")
    assert whole.shape[0] == pytest.approx(800, abs=3)
    assert whole.shape[1] == pytest.approx(1200, abs=3)
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["part0_stitched.tif"]
    assert steps_of(result)["stitch"]["mismatch_px"] < 0.6
    # It is the cup: bright where the photograph is bright.
    small = cv2.resize(whole[..., 1].astype(np.float32), (120, 80), interpolation=cv2.INTER_AREA)
    wanted = cv2.resize(data.coffee()[..., 1].astype(np.float32), (120, 80), interpolation=cv2.INTER_AREA)
    assert np.corrcoef(small.ravel(), wanted.ravel())[0, 1] > 0.9


def test_parts_that_do_not_meet_are_told(tmp_path: Path) -> None:
    counts = photograph()
    paths = [
        write_counts(tmp_path / "a.dng", counts[:, :500]),
        write_counts(tmp_path / "b.dng", colour_patches(3, side=100) * 3000),
    ]
    result = run(*paths, *NEGATIVE, "--stitch", "--out", tmp_path / "out")
    assert result.return_value == 1
    assert "does not overlap" in result.stderr
    assert list((tmp_path / "out").iterdir()) == []


def test_two_half_frames_become_two_positives(tmp_path: Path) -> None:
    pair = half_frame_pair()
    path = write_dng(tmp_path / "roll_07.dng", pair.raw.mosaic, black=(600,) * 4)
    out = tmp_path / "out"
    result = run(path, *NEGATIVE, "--pairs", "left-first", "--out", out, "--json")
    assert sorted(each.name for each in out.iterdir()) == ["roll_07.tif", "roll_07A.tif"]
    for line, wanted in zip(result.stdout.splitlines(), pair.corners, strict=True):
        found = np.array(json.loads(line)["corners_px"])
        assert np.abs(found - wanted.as_array()).max() < 4


def test_second_halves_in_a_roll_get_the_number_with_an_a(tmp_path: Path) -> None:
    content = write_dng(tmp_path / "a.dng", half_frame_pair().raw.mosaic, black=(600,) * 4).read_bytes()
    setup = rolls.setup(film_format="135-36x24")
    with rolls.create(tmp_path / "roll", setup) as roll:
        roll.file(roll.receive("7", ".dng", [content], len(content)), TakeOutcome(accepted=True))
    assert run(tmp_path / "roll", "--pairs", "left-first").return_value == 0
    names = sorted(path.name for path in (tmp_path / "roll" / "positive").iterdir())
    assert names == ["X31-007_07.tif", "X31-007_07A.tif"]
    assert read(tmp_path / "roll" / "positive" / names[1])["Xmp.tethercap.Frame"] == "7A"
    report = verify(tmp_path / "roll")
    assert report.is_sound
    assert report.extra == ()
    with rolls.reopen(tmp_path / "roll") as roll:
        roll.skip("7A", "a test")
    with pytest.raises(RollExistsError, match="7A already"):
        run(tmp_path / "roll", "--pairs", "left-first")


def dusty() -> F64Array:
    light = np.full((1000, 1500, 3), 0.25) * np.linspace(0.8, 1.2, 1500)[None, :, None]
    film = BASE_COUNTS * 10.0 ** -density_of(light)
    film[200:206, 300:306] *= 0.1
    return np.asarray(film)


def test_dust_is_repaired_only_if_asked_and_the_mask_is_kept(tmp_path: Path) -> None:
    path = write_counts(tmp_path / "frame.dng", dusty())
    spread = {}
    for choice in ("keep", "mark", "repair"):
        out = tmp_path / choice
        run(path, *NEGATIVE, "--no-crop", "--dust", choice, "--archive", "density", "--out", out)
        pixels = read_tiff(out / "frame.tif").astype(float)[190:216, 290:316]
        spread[choice] = float(np.ptp(pixels))
        has_mask = (out / "frame_dust.png").exists()
        assert has_mask is (choice != "keep")
    assert spread["keep"] == spread["mark"]
    assert spread["repair"] < 0.2 * spread["keep"]
    mask = cv2.imread(str(tmp_path / "mark" / "frame_dust.png"), cv2.IMREAD_GRAYSCALE)
    assert mask is not None
    assert mask.shape == (1000, 1500)
    rows, columns = np.nonzero(mask)
    assert (rows.mean(), columns.mean()) == (pytest.approx(202.5, abs=2), pytest.approx(302.5, abs=2))
    archives = [(tmp_path / choice / "frame_density.tif").read_bytes() for choice in ("keep", "repair")]
    assert archives[0] == archives[1], "dust is never touched in an archive picture"
