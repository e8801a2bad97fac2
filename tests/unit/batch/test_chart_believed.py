"""A chart that does not look like itself: what is done with it, and that it is said."""

import json
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from tests.unit.convert.film_shots import BASE_COUNTS, colour_patches, density_of, raw_of, shoot
from tests.unit.image_files.dng_writer import BLACK, write_dng
from tethercap.batch import calibration
from tethercap.batch.calibration import Target, calibrate_on_chart, read_targets
from tethercap.batch.pools import SerialExecutor
from tethercap.batch.survey import SurveyJob, survey_roll
from tethercap.cli.convert import convert
from tethercap.convert.charts import CHART_COLUMNS, CHART_EDITIONS
from tethercap.convert.film_base import FilmBase
from tethercap.convert.flat_field import FlatField, measure_flat_field
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx
from tethercap.image_files.raw import read_raw
from tethercap.pictures import F64Array

SIDE = 96
LIGHT = np.array([8000.0, 14000.0, 9000.0])


def on_slide(folder: Path, colours: F64Array) -> Path:
    """Write a slide of 24 patches, the bare light, and a JSON that says where the patches lie; the JSON's path."""
    light = np.full((4 * SIDE, CHART_COLUMNS * SIDE, 3), 0.02)
    quads = []
    for number, colour in enumerate(np.clip(colours, 0.004, 0.95)):
        row, column = divmod(number, CHART_COLUMNS)
        top, left = row * SIDE, column * SIDE
        light[top : top + SIDE, left : left + SIDE] = colour
        right, bottom = left + SIDE - 1, top + SIDE - 1
        quads.append([[left, top], [right, top], [right, bottom], [left, bottom]])
    write_dng(folder / "chart.dng", raw_of(LIGHT * light).mosaic)
    write_dng(folder / "flat.dng", raw_of(LIGHT * np.ones_like(light)).mosaic)
    said = folder / "chart.json"
    said.write_text(json.dumps({"chart.dng": quads}), encoding="utf-8")
    return said


def slide_of(said: Path) -> tuple[Target, FlatField]:
    """The target and the bare light."""
    return read_targets([said])[0], measure_flat_field(read_raw(said.parent / "flat.dng"))


def test_a_target_on_a_slide_is_believed(tmp_path: Path) -> None:
    target, flat = slide_of(on_slide(tmp_path, 0.9 * CHART_EDITIONS[0]))
    model = calibrate_on_chart(target, FilmKind.SLIDE, None, flat).model
    assert model.source == "colour chart on the roll"
    assert not model.note


@pytest.mark.parametrize("contrast", [1.4, 1.7])
def test_a_chart_that_was_photographed_is_not_and_that_is_said(contrast: float, tmp_path: Path) -> None:
    # A rig that is unlike any shows the softer one as a target: it comes within 2 of its colours.
    target, flat = slide_of(on_slide(tmp_path, np.clip(CHART_EDITIONS[0], 0.004, None) ** contrast))
    model = calibrate_on_chart(target, FilmKind.SLIDE, None, flat).model
    assert "colour chart" not in model.source
    assert "chart.dng" in model.note
    assert "was not used" in model.note


def test_it_is_said_with_every_picture(tmp_path: Path) -> None:
    said = on_slide(tmp_path, np.clip(CHART_EDITIONS[0], 0.004, None) ** 1.7)
    words = [tmp_path / "chart.dng", "--kind", "slide", "--no-crop", "--chart", said, "--flat", tmp_path / "flat.dng"]
    done = CliRunner().invoke(convert, [str(word) for word in [*words, "--out", tmp_path / "out", "--json"]])
    assert "was not used" in done.stderr
    assert "was not used" in json.loads(done.stdout)["warnings"][0]


def test_a_chart_that_lies_otherwise_is_said(tmp_path: Path) -> None:
    target, flat = slide_of(on_slide(tmp_path, CHART_EDITIONS[0][::-1]))
    model = calibrate_on_chart(target, FilmKind.COLOUR_NEGATIVE, None, flat).model
    assert "24 patches" in model.note


def test_a_roll_is_read_by_its_frames_where_a_chart_lies_elsewhere(tmp_path: Path) -> None:
    path = write_dng(tmp_path / "frame.dng", shoot(colour_patches(side=80), rim_px=60).raw.mosaic)
    wrong = Target(path, outline=QuadPx.from_array([[90, 90], [430, 90], [430, 350], [90, 350]]))
    jobs = [SurveyJob(path, FilmKind.COLOUR_NEGATIVE)]
    named = partial(calibrate_on_chart, wrong, FilmKind.COLOUR_NEGATIVE, flat=None)
    told = survey_roll(jobs, SerialExecutor(), calibrate=named).model
    assert "was not used" in told.note
    assert replace(told, note="") == survey_roll(jobs, SerialExecutor()).model


@pytest.mark.parametrize("kind", [FilmKind.SLIDE, FilmKind.BW_NEGATIVE])
def test_other_film_says_nothing_of_a_chart_that_fits(kind: FilmKind, tmp_path: Path) -> None:
    target, flat = slide_of(on_slide(tmp_path, 0.9 * CHART_EDITIONS[1]))
    assert not calibrate_on_chart(target, kind, None, flat).model.note


def test_a_chart_is_found_in_a_black_holder(tmp_path: Path) -> None:
    scene = np.full((480, 720, 3), 0.12)
    scene[54:428, 78:644] = 0.03
    for number, colour in enumerate(CHART_EDITIONS[0]):
        top, left = (start + 92 * place for start, place in zip((66, 90), divmod(number, CHART_COLUMNS), strict=True))
        scene[top : top + 82, left : left + 82] = colour
    film = shoot(scene, rim_px=20).raw
    counts = np.full((film.size.height_px + 120, film.size.width_px + 120, 3), 4.0)
    counts[60:-60, 60:-60] = np.repeat((film.mosaic.astype(np.float64) - BLACK)[..., None], 3, axis=2)
    write_dng(tmp_path / "chart.dng", raw_of(counts).mosaic)
    model = calibrate_on_chart(Target(tmp_path / "chart.dng"), FilmKind.COLOUR_NEGATIVE, None, None).model
    assert model.source == "colour chart on the roll"
    assert not model.note


def test_a_chart_is_found_where_a_part_of_it_looks_like_a_frame(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    scene = np.full((400, 600, 3), 0.05)
    for number, colour in enumerate(CHART_EDITIONS[0]):
        top, left = (start + 78 * place for start, place in zip((48, 70), divmod(number, CHART_COLUMNS), strict=True))
        scene[top : top + 70, left : left + 70] = colour
    write_dng(tmp_path / "chart.dng", raw_of(BASE_COUNTS * 10.0 ** -density_of(scene)).mosaic)
    part = QuadPx.from_array([[144, 44], [456, 44], [456, 356], [144, 356]])
    monkeypatch.setattr(calibration, "find_frame", lambda *_: part)
    base = FilmBase((BASE_COUNTS[0], BASE_COUNTS[1], BASE_COUNTS[2]))
    found = calibrate_on_chart(Target(tmp_path / "chart.dng"), FilmKind.COLOUR_NEGATIVE, base, None)
    assert not found.model.note
    assert found.chart is not None
    np.testing.assert_allclose(found.chart, density_of(CHART_EDITIONS[0]), atol=0.05)
