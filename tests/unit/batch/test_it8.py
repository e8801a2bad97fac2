"""A slide target copied by a camera with a matrix of its own: the matrix is found again."""

import json
import warnings
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from tests.unit.convert.film_shots import raw_of
from tests.unit.image_files.dng_writer import write_dng
from tethercap.batch.it8 import calibrate_on_target, read_slide_target
from tethercap.cli.convert import convert
from tethercap.convert.flat_field import measure_flat_field
from tethercap.convert.it8 import COLUMNS, ROWS, linear_srgb_of
from tethercap.errors import ConversionError, ProfileError
from tethercap.image_files.raw import read_raw
from tethercap.pictures import F64Array

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it tells that plotting is not to be had
    import colour

CAMERA = np.array([[0.72, 0.22, 0.06], [0.14, 0.74, 0.12], [0.04, 0.20, 0.76]])
"""Linear sRGB of the film to what the invented camera sees; rows sum to one."""
LIGHT = np.array([8000.0, 14000.0, 9000.0])
SIDE, LEFT, TOP = 48, 100, 60


def invented_colours() -> dict[str, F64Array]:
    """CIE XYZ under D50 of 264 patches; invented."""
    random = np.random.default_rng(7)
    white = np.array([0.9642, 1.0, 0.8249])
    colours = {}
    for row in ROWS:
        for column in range(1, COLUMNS + 1):
            level = 10.0 ** random.uniform(-1.6, -0.1)
            tint = np.ones(3) if column == 16 else np.exp(random.normal(0, 0.25, 3))
            colours[f"{row}{column}"] = level * tint * white
    return colours


@pytest.fixture
def target(tmp_path: Path) -> Path:
    """A RAW of the target, its flat field, its text, and the JSON that says where it lies."""
    colours = invented_colours()
    light = np.ones((TOP * 2 + 12 * SIDE, LEFT * 2 + 22 * SIDE, 3))
    lines = []
    for r, row in enumerate(ROWS):
        for c in range(COLUMNS):
            xyz = colours[f"{row}{c + 1}"]
            seen = CAMERA @ np.maximum(linear_srgb_of(xyz[None])[0], 0.0)
            light[TOP + r * SIDE : TOP + (r + 1) * SIDE, LEFT + c * SIDE : LEFT + (c + 1) * SIDE] = seen
            lines.append(f"{row}{c + 1:02d} " + " ".join(f"{100 * value:.4f}" for value in xyz))
    write_dng(tmp_path / "target.dng", raw_of(LIGHT * light).mosaic)
    write_dng(tmp_path / "flat.dng", raw_of(LIGHT * np.ones_like(light)).mosaic)
    head = "IT8.7/1\nBEGIN_DATA_FORMAT\nSAMPLE_ID XYZ_X XYZ_Y XYZ_Z\nEND_DATA_FORMAT\nNUMBER_OF_SETS 264\nBEGIN_DATA\n"
    (tmp_path / "values.txt").write_text(head + "\n".join(lines) + "\nEND_DATA\n")
    right, bottom = LEFT + 22 * SIDE - 0.5, TOP + 12 * SIDE - 0.5
    corners = [[LEFT - 0.5, TOP - 0.5], [right, TOP - 0.5], [right, bottom]]
    (tmp_path / "target.json").write_text(json.dumps({"file": "target.dng", "corners_px": corners}))
    return tmp_path


def differences(matrix: F64Array) -> F64Array:
    """CIEDE2000 over the patches, judged by colour-science."""
    wanted = np.maximum(linear_srgb_of(np.array(list(invented_colours().values()))), 0.0)
    seen = np.clip((wanted @ CAMERA.T) @ matrix.T, 0.0, None)
    space = colour.RGB_COLOURSPACES["sRGB"]
    labs = [colour.XYZ_to_Lab(light @ space.matrix_RGB_to_XYZ.T, space.whitepoint) for light in (wanted, seen)]
    return np.asarray(colour.delta_E(labs[0], labs[1], method="CIE 2000"))


def test_the_cameras_matrix_is_found_again(target: Path) -> None:
    flat = measure_flat_field(read_raw(target / "flat.dng"))
    model = calibrate_on_target(read_slide_target(target / "target.json", target / "values.txt"), flat)
    found = differences(np.array(model.light_matrix))
    assert found.mean() < 1.0
    assert found.mean() < 0.25 * differences(np.eye(3)).mean()
    assert "264 patches" in model.source


def test_slides_are_converted_by_it(target: Path, tmp_path: Path) -> None:
    words = [target / "target.dng", "--kind", "slide", "--no-crop", "--flat", target / "flat.dng", "--json"]
    words += ["--it8", target / "target.json", "--it8-values", target / "values.txt", "--out", tmp_path / "out"]
    result = CliRunner().invoke(convert, [str(word) for word in words], catch_exceptions=False, standalone_mode=False)
    steps = {step["step"]: step for step in json.loads(result.stdout)["steps"]}
    assert "slide target of ISO 12641" in json.dumps(steps)


def test_a_target_without_a_place_is_told(target: Path) -> None:
    (target / "target.json").write_text('{"file": "target.dng"}')
    with pytest.raises(ProfileError, match="does not say where"):
        read_slide_target(target / "target.json", target / "values.txt")


def test_too_few_patches_are_refused(target: Path) -> None:
    said = read_slide_target(target / "target.json", target / "values.txt")
    for name in list(said.places)[10:]:
        del said.places[name]
    with pytest.raises(ConversionError, match="Only 10 patches"):
        calibrate_on_target(said, None)


def test_corners_a_patch_off_are_refused(target: Path) -> None:
    said = json.loads((target / "target.json").read_text())
    said["corners_px"] = [[x + SIDE, y] for x, y in said["corners_px"]]
    (target / "moved.json").write_text(json.dumps(said))
    with pytest.raises(ConversionError, match="off its own colours"):
        calibrate_on_target(read_slide_target(target / "moved.json", target / "values.txt"), None)


def test_a_target_that_has_suffered_is_told(target: Path) -> None:
    said = read_slide_target(target / "target.json", target / "values.txt")
    assert calibrate_on_target(said, None).note == ""
    for column in range(1, 7):  # some of its patches are no longer what they were
        said.colours[f"A{column}"], said.colours[f"L{column}"] = said.colours[f"L{column}"], said.colours[f"A{column}"]
    assert "off its own colours" in calibrate_on_target(said, None).note


def test_a_text_in_two_bytes_a_letter_is_read(target: Path) -> None:
    text = (target / "values.txt").read_text()
    (target / "wide.txt").write_text(text, encoding="utf-16")
    assert len(read_slide_target(target / "target.json", target / "wide.txt").colours) == len(ROWS) * COLUMNS
