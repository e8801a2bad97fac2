import json
import os
import subprocess
import sys
from pathlib import Path

import click
import numpy as np
import pytest
import tifffile
from click.testing import CliRunner, Result
from PIL import Image

from tests.unit.convert.film_shots import BASE_COUNTS, colour_patches, raw_of, shoot
from tests.unit.image_files.dng_writer import write_dng
from tethercap.cli._greedy import spread
from tethercap.cli.convert import convert
from tethercap.errors import RollError
from tethercap.image_files.icc import icc_profile
from tethercap.image_files.metadata import read
from tethercap.image_files.tiff import read_tiff
from tethercap.pictures import ColourSpace


@pytest.fixture
def films(tmp_path: Path) -> list[Path]:
    paths = []
    for seed in (4, 5):
        shot = shoot(colour_patches(seed, side=80), rim_px=60)
        paths.append(write_dng(tmp_path / f"frame{seed}.dng", shot.raw.mosaic, neutral=(0.53, 1.0, 0.67)))
    return paths


def run(*words: object) -> Result:
    return CliRunner().invoke(convert, [str(word) for word in words], catch_exceptions=False, standalone_mode=False)


def test_each_raw_becomes_a_tiff_of_its_name(films: list[Path], tmp_path: Path) -> None:
    out = tmp_path / "out"
    result = run(*films, "--kind", "colour-negative", "--roll-together", "--no-crop", "--out", out)
    assert result.return_value == 0
    assert sorted(path.name for path in out.iterdir()) == ["frame4.tif", "frame5.tif"]
    assert result.stdout.split() == [str(out / "frame4.tif"), str(out / "frame5.tif")]
    assert read_tiff(out / "frame4.tif").shape == (440, 600, 3)


def test_json_tells_what_was_done(films: list[Path], tmp_path: Path) -> None:
    result = run(films[0], "--kind", "bw-negative", "--no-crop", "--out", tmp_path / "out", "--json", "--space", "a98")
    said = json.loads(result.stdout)
    assert said["size_px"] == [600, 440]
    assert said["steps"][-1] == {"step": "encode", "space": "a98"}


def test_a_flat_field_and_cards_are_used(films: list[Path], tmp_path: Path) -> None:
    light = np.broadcast_to(np.array([8000.0, 15000.0, 10000.0]), (440, 600, 3))
    flat = write_dng(tmp_path / "flat.dng", raw_of(light).mosaic)
    card = shoot(np.full((320, 480, 3), 0.18), rim_px=60)
    card_path = write_dng(tmp_path / "card.dng", card.raw.mosaic)
    words = ("--kind", "colour-negative", "--no-crop", "--flat", flat, "--grey", card_path, card_path)
    result = run(films[0], *words, "--out", tmp_path / "out", "--json")
    steps = {step["step"]: step for step in json.loads(result.stdout)["steps"]}
    assert steps["flat-field"]["applied"] is True
    assert steps["equalise"]["model"] == "grey card, 2 exposures"


def test_a_picture_without_a_card_is_said_to_show_none_and_a_card_is_not(films: list[Path], tmp_path: Path) -> None:
    card = shoot(np.full((320, 480, 3), 0.18), rim_px=60)
    card_path = write_dng(tmp_path / "card.dng", card.raw.mosaic)
    for grey, is_told in (([films[1], card_path], True), ([card_path], False)):
        result = run(films[0], "--kind", "colour-negative", "--no-crop", "--out", tmp_path / "out", "--grey", *grey)
        said = " ".join(result.stderr.split())
        assert ("No even grey card lies where one was measured in frame5.dng: give" in said) is is_told


def test_one_damaged_file_does_not_stop_the_others(films: list[Path], tmp_path: Path) -> None:
    damaged = tmp_path / "damaged.dng"
    damaged.write_bytes(films[0].read_bytes()[:-9000])
    result = run(damaged, films[1], "--kind", "colour-negative", "--no-crop", "--out", tmp_path / "out")
    assert result.return_value == 1
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["frame5.tif"]


def test_what_a_run_that_was_cut_off_left_is_taken_away_and_what_another_is_making_is_not(
    films: list[Path], tmp_path: Path
) -> None:
    out = tmp_path / "out"
    out.mkdir()
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    left = [f".frame4.tif.{gone.pid}.part", f"..frame4.tif.{gone.pid}.part.{gone.pid}.part"]
    others = [f".frame4.tif.{os.getppid()}.part", f".else.tif.{gone.pid}.part"]
    for name in (*left, *others):
        (out / name).write_bytes(b"half a picture")
    run(films[0], "--kind", "colour-negative", "--no-crop", "--out", out)
    assert sorted(path.name for path in out.iterdir()) == sorted([*others, "frame4.tif"])


def test_a_run_that_fails_leaves_nothing_behind(
    films: list[Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("tethercap.cli.convert.put_files", stop)
    with pytest.raises(click.Abort):
        run(films[0], "--kind", "colour-negative", "--no-crop", "--proofs", "--jpeg", "--out", tmp_path / "out")
    assert list((tmp_path / "out").iterdir()) == []


@pytest.mark.parametrize(("option", "value"), [("--exposure", "nan"), ("--exposure", "99"), ("--contrast", "-3")])
def test_what_no_picture_can_be_made_with_is_a_wrong_command_line(
    option: str, value: str, films: list[Path], tmp_path: Path
) -> None:
    with pytest.raises(click.UsageError, match="has to lie between"):
        run(films[0], "--kind", "colour-negative", option, value, "--out", tmp_path / "out")


def test_of_a_folder_neither_the_bare_light_nor_a_folder_in_it_is_converted(films: list[Path], tmp_path: Path) -> None:
    light = np.broadcast_to(np.array([8000.0, 15000.0, 10000.0]), (440, 600, 3))
    flat = write_dng(tmp_path / "light.dng", raw_of(light).mosaic)
    (tmp_path / "further.dng").mkdir()
    out = tmp_path / "out"
    result = run(tmp_path, "--kind", "colour-negative", "--no-crop", "--flat", flat, "--out", out)
    assert result.return_value == 0
    assert sorted(path.name for path in out.iterdir()) == ["frame4.tif", "frame5.tif"]
    assert "light.dng is the bare light" in result.stderr
    with pytest.raises(click.UsageError, match="no picture but"):
        run(flat, "--kind", "colour-negative", "--flat", flat, "--out", out)


@pytest.mark.parametrize("out", ["a file", "a file/below it"])
def test_a_place_where_nothing_can_be_written_is_told(out: str, films: list[Path], tmp_path: Path) -> None:
    (tmp_path / "a file").write_text("not a folder")
    with pytest.raises(RollError, match="Nothing was changed"):
        run(films[0], "--kind", "colour-negative", "--no-crop", "--out", tmp_path / out)


def test_two_pictures_of_one_name_are_not_written_over_each_other(films: list[Path], tmp_path: Path) -> None:
    (tmp_path / "other").mkdir()
    twin = tmp_path / "other" / films[0].name
    twin.write_bytes(films[0].read_bytes())
    with pytest.raises(click.UsageError, match="both be written"):
        run(films[0], twin, "--kind", "colour-negative", "--out", tmp_path / "out")
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("name", "words"), [("frame4_linear", ("--archive", "linear")), ("frame4_full", ("--jpeg", "--proofs"))]
)
def test_what_is_written_besides_takes_no_others_name(
    name: str, words: tuple[str, ...], films: list[Path], tmp_path: Path
) -> None:
    other = films[0].with_stem(name)
    other.write_bytes(films[0].read_bytes())
    with pytest.raises(click.UsageError, match="both be written"):
        run(films[0], other, "--kind", "colour-negative", *words, "--out", tmp_path / "out")


def test_two_at_once_give_the_same_bytes(films: list[Path], tmp_path: Path) -> None:
    for jobs, name in ((1, "one"), (2, "two")):
        run(*films, "--kind", "colour-negative", "--no-crop", "--out", tmp_path / name, "--jobs", jobs)
    for film in films:
        one, two = (tmp_path / name / f"{film.stem}.tif" for name in ("one", "two"))
        assert one.read_bytes() == two.read_bytes()


@pytest.mark.parametrize(
    ("args", "spread_out"),
    [
        (["f", "--grey", "a", "b", "--out", "d"], ["f", "--grey", "a", "--grey", "b", "--out", "d"]),
        (["--grey", "a", "--grey", "b", "c"], ["--grey", "a", "--grey", "b", "--grey", "c"]),
        (["f", "g"], ["f", "g"]),
        (["--grey", "a"], ["--grey", "a"]),
    ],
)
def test_cards_are_taken_up_to_the_next_option(args: list[str], spread_out: list[str]) -> None:
    assert spread(args, {"--grey"}) == spread_out


def test_base_counts_are_those_of_the_film(films: list[Path], tmp_path: Path) -> None:
    result = run(
        *films, "--kind", "colour-negative", "--roll-together", "--no-crop", "--out", tmp_path / "out", "--json"
    )
    for line in result.stdout.splitlines():
        np.testing.assert_allclose(json.loads(line)["base_counts_rgb"], BASE_COUNTS, rtol=0.06)


@pytest.mark.parametrize("kind", ["linear", "density"])
def test_an_archive_picture_is_written_besides_and_says_what_it_is(
    films: list[Path], tmp_path: Path, kind: str
) -> None:
    out = tmp_path / "out"
    run(films[0], "--kind", "colour-negative", "--no-crop", "--archive", kind, "--out", out)
    archive = out / f"frame4_{kind}.tif"
    with tifffile.TiffFile(archive) as opened:
        page = opened.pages.first
        assert page.asarray().dtype == np.uint16
        assert 34675 not in page.tags, "no colour profile"
        assert "D = (value - 2000)" in page.description or "Linear light" in page.description
    facts = json.loads(str(read(archive)["Xmp.tethercap.Values"]))
    assert facts["values"] == kind
    assert (out / "frame4.tif").exists()


def test_a_positive_that_is_there_is_kept_unless_it_is_the_same(films: list[Path], tmp_path: Path) -> None:
    out = tmp_path / "out"
    words = (films[0], "--kind", "colour-negative", "--no-crop", "--out", out)
    run(*words)
    run(*words)
    assert [path.name for path in out.iterdir()] == ["frame4.tif"], "the same bytes are no other picture"
    first = (out / "frame4.tif").read_bytes()
    result = run(*words, "--exposure", 1)
    assert "frame4.tif was there already; it is kept as frame4_before.tif" in result.stderr
    assert (out / "frame4_before.tif").read_bytes() == first
    run(*words, "--exposure", 2)
    assert sorted(path.name for path in out.iterdir()) == ["frame4.tif", "frame4_before-2.tif", "frame4_before.tif"]
    run(*words, "--replace")
    assert (out / "frame4.tif").read_bytes() == first
    assert len(list(out.iterdir())) == 3


@pytest.mark.parametrize("space", ["srgb", "display-p3"])
def test_a_jpeg_of_full_size_is_written_besides(films: list[Path], tmp_path: Path, space: str) -> None:
    made = []
    for name in ("out", "again"):
        out = tmp_path / name
        run(films[0], "--kind", "colour-negative", "--no-crop", "--jpeg", "--space", space, "--out", out)
        assert sorted(path.name for path in out.iterdir()) == ["frame4.tif", "frame4_full.jpg"]
        made.append((out / "frame4_full.jpg").read_bytes())
    assert made[0] == made[1]
    path = tmp_path / "out" / "frame4_full.jpg"
    tiff = read_tiff(tmp_path / "out" / "frame4.tif")
    with Image.open(path) as opened:
        assert opened.info["icc_profile"] == icc_profile(ColourSpace(space))
        away = np.abs(np.asarray(opened.convert("RGB"), np.float64) - tiff / 257.0)
    assert away.mean() < 1.5
    told = read(path)
    assert told["Exif.Photo.FileSource"] == "3"
    assert told["Xmp.xmpMM.DerivedFrom/stRef:filePath"] == "frame4.dng"
    assert str(told["Xmp.iptcExt.DigitalSourceType"]).endswith("negativeFilm")
