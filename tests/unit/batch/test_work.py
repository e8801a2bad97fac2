from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import tifffile

from tests.unit.convert.film_shots import colour_patches, shoot
from tests.unit.image_files.dng_writer import write_dng
from tethercap.batch.job import ConversionJob
from tethercap.batch.pools import make_pool
from tethercap.batch.survey import SurveyJob, survey_roll
from tethercap.batch.work import EightBit, convert_file
from tethercap.convert.recipe import Border, Recipe
from tethercap.errors import PictureError, StorageError
from tethercap.film.kinds import FilmKind
from tethercap.geometry import SizePx
from tethercap.image_files.jpeg import decode_jpeg
from tethercap.image_files.metadata import read
from tethercap.image_files.tiff import Compression, read_tiff

NEGATIVE = FilmKind.COLOUR_NEGATIVE


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> ConversionJob:
    folder = tmp_path_factory.mktemp("work")
    shot = shoot(colour_patches(side=120), rim_px=80)
    raw_path = write_dng(folder / "roll_07.dng", shot.raw.mosaic, neutral=(0.53, 1.0, 0.67))
    return ConversionJob(
        raw_path=raw_path,
        film_kind=NEGATIVE,
        positive_path=folder / "roll_07.tif",
        proof_path=folder / "roll_07.jpg",
        corners=shot.corners,
        properties={"Xmp.dc.title": "Roll 7, frame 07", "Exif.Image.Artist": "Invented Person"},
    )


def test_positive_and_proof_are_written(job: ConversionJob) -> None:
    result = convert_file(job)
    assert result.positive is not None
    assert result.proof is not None
    pixels = read_tiff(result.positive)
    assert (pixels.shape[1], pixels.shape[0]) == result.size
    proof = decode_jpeg(result.proof.read_bytes())
    assert proof.shape[0] == pytest.approx(pixels.shape[0] / 2, abs=1)
    means = (pixels >> 8).astype(float).mean(axis=(0, 1))
    np.testing.assert_allclose(proof.astype(float).mean(axis=(0, 1))[::-1], means, atol=2.0)


def test_metadata_tell_where_it_came_from_and_how(job: ConversionJob) -> None:
    result = convert_file(job)
    assert result.positive is not None
    assert result.proof is not None
    for path in (result.positive, result.proof):
        found = read(path)
        assert found["Xmp.dc.title"] == "Roll 7, frame 07"
        steps = found["Xmp.tethercap.Steps"]
        assert isinstance(steps, list)
        assert len(steps) == len(result.steps)
        assert '"step": "density-over-base"' in steps[2]


@pytest.mark.parametrize("compression", list(Compression))
def test_the_same_job_gives_the_same_bytes(job: ConversionJob, compression: Compression) -> None:
    assert job.positive_path is not None
    assert job.proof_path is not None
    twice = []
    for threads in (1, 2):
        convert_file(replace(job, threads=threads, compression=compression))
        twice.append((job.positive_path.read_bytes(), job.proof_path.read_bytes()))
    assert twice[0] == twice[1]


def test_the_raw_stays_as_it_was(job: ConversionJob) -> None:
    before = job.raw_path.read_bytes()
    convert_file(job)
    assert job.raw_path.read_bytes() == before


def test_a_proof_alone_may_be_asked_for_at_a_size(job: ConversionJob, tmp_path: Path) -> None:
    wanted = replace(job, positive_path=None, proof_path=tmp_path / "small.jpg", proof_long_side_px=200)
    convert_file(wanted)
    assert max(decode_jpeg((tmp_path / "small.jpg").read_bytes()).shape) == 200
    assert [path.name for path in tmp_path.iterdir()] == ["small.jpg"]


def test_a_damaged_raw_writes_nothing(job: ConversionJob, tmp_path: Path) -> None:
    damaged = tmp_path / "cut.dng"
    damaged.write_bytes(job.raw_path.read_bytes()[:-5000])
    with pytest.raises(PictureError):
        convert_file(
            replace(job, raw_path=damaged, positive_path=tmp_path / "cut.tif", proof_path=tmp_path / "cut.jpg")
        )
    assert [path.name for path in tmp_path.iterdir()] == ["cut.dng"]


def test_a_folder_that_is_gone_is_a_clear_error(job: ConversionJob, tmp_path: Path) -> None:
    with pytest.raises(StorageError, match="RAW is untouched"):
        convert_file(replace(job, positive_path=tmp_path / "gone" / "a.tif"))


def test_another_process_gives_the_same_bytes(job: ConversionJob, tmp_path: Path) -> None:
    here = replace(job, positive_path=tmp_path / "here.tif", proof_path=None)
    there = replace(job, positive_path=tmp_path / "there.tif", proof_path=None)
    convert_file(here)
    with make_pool("processes", 1) as pool:
        result = pool.submit(convert_file, there).result(timeout=60)
    assert result.positive == tmp_path / "there.tif"
    assert (tmp_path / "here.tif").read_bytes() == (tmp_path / "there.tif").read_bytes()


def test_a_serial_pool_hands_errors_on() -> None:
    with make_pool("serial") as pool, pytest.raises(ZeroDivisionError):
        pool.submit(divmod, 1, 0).result()


def test_frames_of_a_roll_share_their_base(tmp_path: Path) -> None:
    jobs, seen = [], list[int]()
    for number, level in enumerate((1.0, 1.02, 0.99)):
        shot = shoot(colour_patches(number, side=120), rim_px=80, falloff=np.full((640, 880), level))
        path = write_dng(tmp_path / f"{number}.dng", shot.raw.mosaic, neutral=(0.53, 1.0, 0.67))
        jobs.append(SurveyJob(path, NEGATIVE, shot.corners, find_frame=False))
    with make_pool("serial") as pool:
        roll = survey_roll(jobs, pool, on_done=lambda: seen.append(1))
    assert len(seen) == 3
    assert roll.bases is not None
    assert len({base.counts_rgb for base in roll.bases}) == 1
    assert len({survey.base.counts_rgb for survey in roll.frames if survey.base is not None}) == 3


def test_whole_pictures_keep_their_size(job: ConversionJob) -> None:
    result = convert_file(replace(job, recipe=Recipe(border=Border.WHOLE)))
    with tifffile.TiffFile(job.raw_path) as opened:
        assert opened.pages.first.shape == (result.size.height_px, result.size.width_px)


@pytest.mark.parametrize("half", [False, True])
def test_a_small_picture_is_the_same_in_whatever_bands_it_is_put(half: bool) -> None:
    pixels = np.random.default_rng(1).integers(0, 65536, (23, 11, 3)).astype(np.uint16)
    whole, banded = EightBit(SizePx(11, 23), half=half), EightBit(SizePx(11, 23), half=half)
    whole.put(0, pixels)
    for first, last in ((15, 23), (0, 1), (7, 8), (8, 15), (1, 7)):
        banded.put(first, pixels[first:last])
    np.testing.assert_array_equal(banded.picture(), whole.picture())


def test_a_picture_that_could_not_be_cut_says_so(job: ConversionJob) -> None:
    whole = replace(job, corners=None, proof_path=None)
    made = convert_file(whole)
    assert any("nothing was cut off" in warning for warning in made.warnings)
    assert made.positive is not None
    assert read(made.positive)["Xmp.tethercap.Warnings"] == list(made.warnings)
    meant = replace(whole, recipe=Recipe(border=Border.WHOLE))
    assert not any("cut off" in warning for warning in convert_file(meant).warnings)
