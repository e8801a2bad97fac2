"""Converting a roll and making its sheet, as a person does on the command line."""

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from tests.unit.convert.film_shots import colour_patches, shoot
from tests.unit.image_files.dng_writer import write_dng
from tests.unit.roll import rolls
from tethercap.check.findings import RawFindings
from tethercap.cli.convert import convert
from tethercap.cli.sheet import sheet
from tethercap.errors import RollInUseError
from tethercap.film.kinds import FilmKind
from tethercap.image_files.jpeg import decode_jpeg
from tethercap.image_files.metadata import read
from tethercap.roll.fixity import verify
from tethercap.roll.folder import Roll, TakeOutcome
from tethercap.watch.sighting import FrameEdges


@pytest.fixture
def roll_path(tmp_path: Path) -> Path:
    path = tmp_path / "roll"
    with rolls.create(path) as roll:
        for number, seed in (("1", 4), ("2", 5)):
            shot = shoot(colour_patches(seed, side=80), rim_px=60)
            content = write_dng(tmp_path / "a.dng", shot.raw.mosaic, neutral=(0.53, 1.0, 0.67)).read_bytes()
            incoming = roll.receive(number, ".dng", [content], len(content))
            edges = FrameEdges(shot.corners, (), 36 / 480, FilmKind.COLOUR_NEGATIVE, "135-36x24", 1.0)
            roll.file(incoming, TakeOutcome(accepted=True, findings=RawFindings((), edges, None)))
        roll.skip("3", "torn")
    return path


def run(command: object, *words: object) -> object:
    result = CliRunner().invoke(command, [str(word) for word in words], catch_exceptions=False, standalone_mode=False)  # type: ignore[arg-type]
    return result.return_value


def test_a_roll_is_converted_into_its_own_folders(roll_path: Path) -> None:
    assert run(convert, roll_path) == 0
    assert sorted(path.name for path in (roll_path / "positive").iterdir()) == ["X31-007_01.tif", "X31-007_02.tif"]
    assert sorted(path.name for path in (roll_path / "proof").iterdir()) == ["X31-007_01.jpg", "X31-007_02.jpg"]
    with Roll.open(roll_path) as roll:
        for frame in list(roll.frames.values())[:2]:
            chosen = frame.chosen
            assert chosen is not None
            assert chosen.converted is not None
            assert chosen.converted.positive.startswith("positive/")
    proof = read(roll_path / "proof" / "X31-007_01.jpg")
    assert proof["Xmp.tethercap.Steps"]


def test_frames_are_cut_by_the_corners_in_the_record(roll_path: Path) -> None:
    run(convert, roll_path)
    height, width = decode_jpeg((roll_path / "proof" / "X31-007_01.jpg").read_bytes()).shape[:2]
    assert (width, height) == (pytest.approx(240, abs=4), pytest.approx(160, abs=4))


def test_the_sheet_shows_the_roll(roll_path: Path) -> None:
    run(convert, roll_path)
    assert run(sheet, roll_path, "--frame-width", 240) == 0
    page = decode_jpeg((roll_path / "X31-007_contact.jpg").read_bytes())
    # Six frames of 240 px side by side, and something to see in the first two.
    assert page.shape[1] > 6 * 240
    assert np.std(page[:, : 2 * 260].astype(float)) > 20


def test_a_sheet_can_be_made_before_anything_was_converted(roll_path: Path) -> None:
    assert run(sheet, roll_path, "--frame-width", 240) == 0
    assert (roll_path / "X31-007_contact.jpg").exists()


def test_archive_pictures_of_a_roll_are_in_its_manifest(roll_path: Path) -> None:
    assert run(convert, roll_path, "--archive", "density") == 0
    assert sorted(path.name for path in (roll_path / "density").iterdir()) == ["X31-007_01.tif", "X31-007_02.tif"]
    report = verify(roll_path)
    assert report.is_sound
    assert report.extra == ()


def test_a_roll_in_use_is_told_before_anything_is_converted(roll_path: Path) -> None:
    with Roll.open(roll_path), pytest.raises(RollInUseError):
        run(convert, roll_path)
    assert list((roll_path / "positive").iterdir()) == []


def test_the_sheet_is_written_elsewhere_while_the_roll_is_in_use(roll_path: Path, tmp_path: Path) -> None:
    with Roll.open(roll_path):
        assert run(sheet, roll_path, "--as", "html", "--out", tmp_path / "look") == 0
    assert (tmp_path / "look.html").exists()
    assert verify(roll_path).extra == ()


def test_an_ending_that_was_said_is_not_said_twice(roll_path: Path, tmp_path: Path) -> None:
    for out in ("one.html", "two.v1"):
        assert run(sheet, roll_path, "--as", "html", "--out", tmp_path / out) == 0
    assert sorted(path.name for path in tmp_path.glob("*.html")) == ["one.html", "two.v1.html"]


def test_other_forms_are_noted_in_the_roll(roll_path: Path) -> None:
    for words in (("--as", "pdf"), ("--as", "html"), ("--light-table", "--frame-width", 120)):
        assert run(sheet, roll_path, *words) == 0
    assert {"X31-007_contact.pdf", "X31-007_contact.html", "X31-007_light-table.jpg"} <= {
        path.name for path in roll_path.iterdir()
    }
    report = verify(roll_path)
    assert report.is_sound
    assert report.extra == ()
