"""CGATS.17 text of slide targets, and where their patches lie."""

import warnings

import numpy as np
import pytest

from tethercap.convert.it8 import (
    COLUMNS,
    ROWS,
    greys_among,
    linear_srgb_of,
    outline_of,
    parse_cgats,
    patch_places,
    target_colours,
)
from tethercap.errors import ProfileError

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it tells that plotting is not to be had
    import colour

TEXT = """\
IT8.7/1
ORIGINATOR "invented"
DESCRIPTOR "numbers # made up for a test"
CREATED "2031-02-03"   # a comment
KEYWORD "SAMPLE_ID"
NUMBER_OF_FIELDS 7
BEGIN_DATA_FORMAT
SAMPLE_ID XYZ_X XYZ_Y XYZ_Z
LAB_L LAB_A LAB_B
END_DATA_FORMAT
NUMBER_OF_SETS 3
BEGIN_DATA
A01 2.31 2.05 1.12 15.6 9.1 8.8
GS00 80.0 83.0 68.0 93.0 0.1 0.2
L22 40.0 50.0 60.0
    76.1 -20.0 -22.0
END_DATA
"""


def test_the_text_is_understood() -> None:
    text = parse_cgats(TEXT)
    assert text.kind == "IT8.7/1"
    assert text.keywords["ORIGINATOR"] == "invented"
    assert text.keywords["DESCRIPTOR"] == "numbers # made up for a test"
    assert [row["SAMPLE_ID"] for row in text.rows] == ["A01", "GS00", "L22"]
    assert text.rows[2]["LAB_B"] == "-22.0"


def test_patches_are_named_without_zeros_and_light_is_one() -> None:
    colours = target_colours(parse_cgats(TEXT))
    assert list(colours) == ["A1", "GS0", "L22"]
    np.testing.assert_allclose(colours["L22"], [0.4, 0.5, 0.6])


def test_lab_serves_where_there_is_no_xyz() -> None:
    head = "IT8.7/1\nBEGIN_DATA_FORMAT\nSAMPLE_ID LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\n"
    text = head + "BEGIN_DATA\nB7 43.2 21.5 -38.4\nEND_DATA\n"
    got = target_colours(parse_cgats(text))["B7"]
    # colour-science, under the same white.
    white_xy = colour.XYZ_to_xy(np.array([0.9642, 1.0, 0.8249]))
    np.testing.assert_allclose(got, colour.Lab_to_XYZ([43.2, 21.5, -38.4], white_xy), atol=1e-6)


HEAD, TAIL = "IT8.7/1\nBEGIN_DATA_FORMAT\n", "\nEND_DATA\n"


@pytest.mark.parametrize(
    "text",
    [
        HEAD + "SAMPLE_ID XYZ_X XYZ_Y XYZ_Z\nEND_DATA_FORMAT\nBEGIN_DATA\nB7 12,5 14,25 9,0" + TAIL,
        HEAD + "SAMPLE_ID XYZ_X XYZ_Y XYZ_Z\nEND_DATA_FORMAT\nBEGIN_DATA\nB7 0.125 0.1425 0.09" + TAIL,
        HEAD + "SAMPLE_ID SAMPLE_NAME XYZ_X XYZ_Y XYZ_Z\nEND_DATA_FORMAT\nBEGIN_DATA\n29 B07 12.5 14.25 9" + TAIL,
        HEAD + "XYZ_Y\tXYZ_X\tSAMPLE_ID\tXYZ_Z\nEND_DATA_FORMAT\nBEGIN_DATA\n14.25\t12.5\tb7\t9.0" + TAIL,
    ],
    ids=["decimal commas", "light of one", "rows that are counted", "tabs and another order"],
)
def test_other_ways_to_write_it_mean_the_same(text: str) -> None:
    np.testing.assert_allclose(target_colours(parse_cgats(text))["B7"], [0.125, 0.1425, 0.09])


def test_dos_lines_and_a_byte_order_mark_do_no_harm() -> None:
    assert len(parse_cgats("\ufeff" + TEXT.replace("\n", "\r\n")).rows) == 3


@pytest.mark.parametrize(
    ("broken", "said"),
    [
        ("", "empty"),
        (TEXT.replace("END_DATA\n", "").rstrip() + "\n", "ends before END_DATA"),
        (TEXT.replace("NUMBER_OF_SETS 3", "NUMBER_OF_SETS 4"), "says NUMBER_OF_SETS 4 and has 3"),
        (TEXT.replace("NUMBER_OF_FIELDS 7", "NUMBER_OF_FIELDS 9"), "NUMBER_OF_FIELDS 9"),
        (TEXT.replace(" -22.0", ""), "not whole rows"),
        (TEXT.replace("2.05", "two"), "no number"),
        (TEXT.replace("XYZ_", "DENS_").replace("LAB_", "FILTER_"), "neither XYZ"),
        ('IT8.7/1\nBEGIN_DATA_FORMAT\nSAMPLE_ID "A\nEND_DATA_FORMAT\n', "quote"),
        ("just a letter to a friend", "no data format"),
    ],
)
def test_mistakes_are_told(broken: str, said: str) -> None:
    with pytest.raises(ProfileError, match="CGATS") as caught:
        target_colours(parse_cgats(broken))
    assert said in str(caught.value)


def test_linear_srgb_agrees_with_colour_science() -> None:
    xyz = np.array([[0.2, 0.18, 0.05], [0.9642, 1.0, 0.8249]])
    srgb = colour.RGB_COLOURSPACES["sRGB"]
    wanted = colour.XYZ_to_RGB(
        xyz, srgb, colour.XYZ_to_xy(np.array([0.9642, 1.0, 0.8249])), chromatic_adaptation_transform="Bradford"
    )
    np.testing.assert_allclose(linear_srgb_of(xyz), wanted, atol=2e-3)


def test_three_points_are_enough() -> None:
    three = outline_of(np.array([[100.0, 50.0], [1200.0, 60.0], [1195.0, 660.0]]))
    np.testing.assert_allclose(three.bottom_left, (95.0, 650.0))


def test_patches_fill_the_outline() -> None:
    places = patch_places(outline_of(np.array([[0.0, 0.0], [2200.0, 0.0], [2200.0, 1200.0], [0.0, 1200.0]])))
    assert len(places) == len(ROWS) * COLUMNS == 264
    np.testing.assert_allclose(places["A1"].corners.as_array().mean(axis=0), (50, 50), atol=0.01)
    np.testing.assert_allclose(places["L22"].corners.as_array().mean(axis=0), (2150, 1150), atol=0.01)
    np.testing.assert_allclose(places["C5"].corners.as_array().mean(axis=0), (450, 250), atol=0.01)


def test_greys_are_those_without_colour() -> None:
    white = np.array([0.9642, 1.0, 0.8249])
    xyz = np.array([white * 0.5, white * 0.02, [0.3, 0.2, 0.05]])
    assert greys_among(["A16", "GS20", "A1"], xyz).tolist() == [0, 1]
