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
from tethercap.cli.frames import frames
from tethercap.cli.sheet import sheet
from tethercap.errors import RollExistsError
from tethercap.image_files.metadata import read
from tethercap.image_files.tiff import read_tiff
from tethercap.pictures import F64Array
from tethercap.roll.fixity import verify
from tethercap.roll.folder import TakeOutcome
from tethercap.roll.names import FrameId

NEGATIVE = ("--kind", "colour-negative")


def invoke(command: click.Command, *words: object) -> Result:
    return CliRunner().invoke(command, [str(word) for word in words], catch_exceptions=False, standalone_mode=False)


def run(*words: object) -> Result:
    return invoke(convert, *words)


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


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--merge",), "only one"),
        (("--merge", "--stitch"), "choose one"),
        (("--each", 2), "--each goes with"),
        (("--stitch", "--archive", "density"), "no --archive"),
        (("--frames", "3"), "of a roll"),
    ],
)
def test_what_does_not_go_together_is_refused(words: tuple[object, ...], said: str, tmp_path: Path) -> None:
    path = write_counts(tmp_path / "shot.dng", photograph() * 0.3)
    with pytest.raises(click.UsageError, match=said):
        run(path, *NEGATIVE, *words, "--out", tmp_path / "out")


def test_parts_are_put_together(tmp_path: Path) -> None:
    counts = photograph()
    parts = [counts[:, left : left + 720] for left in (0, 480)]
    paths = [write_counts(tmp_path / f"part{number}.dng", part) for number, part in enumerate(parts)]
    result = run(*paths, *NEGATIVE, "--stitch", "--dust", "repair", "--out", tmp_path / "out", "--json")
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


def test_a_raw_without_a_pair_is_told_and_the_others_are_made(tmp_path: Path) -> None:
    pair = write_dng(tmp_path / "pair.dng", half_frame_pair().raw.mosaic, black=(600,) * 4)
    one = write_counts(tmp_path / "one.dng", colour_patches(3, side=100) * 3000)
    result = run(one, pair, *NEGATIVE, "--pairs", "left-first", "--out", tmp_path / "out")
    assert result.return_value == 1
    assert "Two frames side by side were not found in one.dng" in " ".join(result.stderr.split())
    assert sorted(each.name for each in (tmp_path / "out").iterdir()) == ["pair.tif", "pairA.tif"]


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
    _both_halves_are_on_the_sheet(tmp_path, "7")
    made = {path.name: path.read_bytes() for path in (tmp_path / "roll" / "positive").iterdir()}
    assert run(tmp_path / "roll").return_value == 0
    again = {path.name: path.read_bytes() for path in (tmp_path / "roll" / "positive").iterdir()}
    assert again == made, "a shot that was cut in two is cut in two again, at the same place"
    assert run(tmp_path / "roll", "--frames", "7A").stdout.endswith("X31-007_07A.tif\n")
    with pytest.raises(click.UsageError, match="number of their first frame"):
        run(tmp_path / "roll", "--pairs", "left-first", "--frames", "7A")
    assert run(tmp_path / "roll", "--archive", "density", "--dust", "mark").return_value == 0
    for further in ("density", "dust"):
        assert len(list((tmp_path / "roll" / further).iterdir())) == 2, "each has its own"
    assert invoke(frames, tmp_path / "roll", "--renumber", "7=9").return_value == 0
    names = sorted(path.name for path in (tmp_path / "roll" / "positive").iterdir())
    assert names == ["X31-007_09.tif", "X31-007_09A.tif"]
    assert read(tmp_path / "roll" / "positive" / names[1])["Xmp.tethercap.Frame"] == "9A"
    _both_halves_are_on_the_sheet(tmp_path, "9")
    assert verify(tmp_path / "roll").is_sound
    with rolls.reopen(tmp_path / "roll") as roll:
        roll.skip("9A", "a test")
    with pytest.raises(RollExistsError, match="9A already"):
        run(tmp_path / "roll", "--pairs", "left-first")


def _both_halves_are_on_the_sheet(folder: Path, number: str) -> None:
    invoke(sheet, folder / "roll", "--as", "html", "--out", folder / "page")
    text = (folder / "page.html").read_text(encoding="utf-8")
    assert f"Frame {number}<" in text
    assert f"Frame {number}A<" in text
    assert text.count("data:image/jpeg") == 2
    invoke(sheet, folder / "roll", "--frame-width", 240, "--out", folder / "page")
    page = cv2.imread(str(folder / "page.jpg"))
    assert page is not None
    # Two upright pictures side by side at the left end of the strip, and nothing beside them.
    middle = page[round(0.45 * page.shape[0]) : round(0.6 * page.shape[0])].astype(int)
    spread = np.ptp(middle, axis=2).max(axis=0) > 25
    assert spread[round(0.03 * len(spread)) : round(0.16 * len(spread))].mean() > 0.7
    assert not spread[round(0.2 * len(spread)) :].any()


def file_takes(path: Path, folder: Path, takes: dict[str, list[F64Array]]) -> None:
    """Make a roll whose frames have these takes, all accepted."""
    with rolls.create(path) as roll:
        for frame, pictures in takes.items():
            for counts in pictures:
                content = write_counts(folder / "a.dng", counts).read_bytes()
                roll.file(roll.receive(frame, ".dng", [content], len(content)), TakeOutcome(accepted=True))


def test_a_rolls_bracket_is_merged_by_its_frames_number(tmp_path: Path) -> None:
    counts = photograph()
    file_takes(tmp_path / "roll", tmp_path, {"7": [0.3 * counts, 0.6 * counts], "8": [0.4 * counts]})
    result = run(tmp_path / "roll", "--no-crop", "--merge", "--frames", "7", "--json")
    assert result.return_value == 0
    merging = steps_of(result)["merge-exposures"]
    assert merging["files"] == ["X31-007_07_t2.dng", "X31-007_07.dng"], "the take that stands for the frame is first"
    positive = tmp_path / "roll" / "positive" / "X31-007_07_t2.tif"
    assert [path.name for path in positive.parent.iterdir()] == [positive.name], "only the frame that was asked for"
    assert invoke(frames, tmp_path / "roll", "--renumber", "7=9").return_value == 0
    told = read(positive.with_name("X31-007_09_t2.tif"))
    sources = {told[f"Xmp.xmpMM.Ingredients[{place}]/stRef:filePath"] for place in (1, 2)}
    assert sources == {"raw/X31-007_09.dng", "raw/X31-007_09_t2.dng"}
    assert told["Xmp.xmpMM.History[1]/stEvt:parameters"] == "made of takes 1, 2"
    with rolls.reopen(tmp_path / "roll") as roll:
        converted = roll.frames[FrameId(9)].takes[1].converted
        assert converted is not None
        assert converted.takes == (1, 2)
    assert verify(tmp_path / "roll").is_sound


def test_a_rolls_parts_are_put_together_by_its_frames_number(tmp_path: Path) -> None:
    counts = 0.4 * photograph()
    file_takes(tmp_path / "roll", tmp_path, {"3": [counts[:, :720], counts[:, 480:]], "4": [counts]})
    assert run(tmp_path / "roll", "--stitch", "--jpeg").return_value == 0
    positive = tmp_path / "roll" / "positive" / "X31-007_03_t2.tif"
    assert read_tiff(positive).shape[1] == pytest.approx(1200, abs=3)
    for folder, width in (("proof", 600), ("jpeg", 1200)):
        small = cv2.imread(str(tmp_path / "roll" / folder / "X31-007_03_t2.jpg"))
        assert small is not None
        assert small.shape[1] == pytest.approx(width, abs=3)
    assert (positive.parent / "X31-007_04.tif").exists(), "a frame with one take is converted as usual"
    assert "Xmp.tethercap.Steps" in read(positive)
    report = verify(tmp_path / "roll")
    assert report.is_sound
    assert report.extra == ()


def test_a_roll_without_a_second_take_has_nothing_to_merge(tmp_path: Path) -> None:
    file_takes(tmp_path / "roll", tmp_path, {"3": [0.4 * photograph()]})
    with pytest.raises(click.UsageError, match="none of these frames has two takes"):
        run(tmp_path / "roll", "--merge")
    with pytest.raises(click.UsageError, match="no picture of these frames"):
        run(tmp_path / "roll", "--frames", "5-9")
    with pytest.raises(click.BadParameter, match="is not a frame number"):
        run(tmp_path / "roll", "--frames", "five")


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
