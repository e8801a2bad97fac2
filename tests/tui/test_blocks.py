"""Finer blocks, looked at in a terminal emulator (pyte) and against the names Unicode gives them."""

import unicodedata

import numpy as np
import pyte
import pytest

from tethercap.tui.blocks import glyphs_of, two_tones
from tethercap.tui.cells import CellEncoder, Depth
from tethercap.tui.picture_way import SUBPIXELS, Way

FINER = [Way.QUADRANTS, Way.SEXTANTS, Way.OCTANTS]
DARK, LIGHT = (20, 30, 40), (200, 190, 180)


@pytest.mark.parametrize("way", FINER)
def test_all_patterns_are_there_once(way: Way) -> None:
    glyphs = glyphs_of(way).tolist()
    sub = SUBPIXELS[way]
    assert len(set(glyphs)) == len(glyphs) == 2 ** (sub.across * sub.down)


def test_sextants_are_those_that_unicode_names_by_their_pixels() -> None:
    for bits, glyph in enumerate(glyphs_of(Way.SEXTANTS).tolist()):
        name = unicodedata.name(chr(glyph))
        if name.startswith("BLOCK SEXTANT-"):
            assert sum(1 << int(digit) - 1 for digit in name.removeprefix("BLOCK SEXTANT-")) == bits
        else:
            expected = {0: "SPACE", 21: "LEFT HALF BLOCK", 42: "RIGHT HALF BLOCK", 63: "FULL BLOCK"}
            assert name == expected[bits]


def test_quadrants_are_those_that_unicode_names_by_their_places() -> None:
    names = {1: "UPPER LEFT", 2: "UPPER RIGHT", 4: "LOWER LEFT", 8: "LOWER RIGHT"}
    halves = {
        3: "UPPER HALF BLOCK",
        5: "LEFT HALF BLOCK",
        10: "RIGHT HALF BLOCK",
        12: "LOWER HALF BLOCK",
        15: "FULL BLOCK",
    }
    for bits, glyph in enumerate(glyphs_of(Way.QUADRANTS).tolist()):
        name = unicodedata.name(chr(glyph))
        if bits in halves or not bits:
            assert name == halves.get(bits, "SPACE")
        else:
            places = name.removeprefix("QUADRANT ").split(" AND ")
            assert sum(bit for bit, place in names.items() if place in places) == bits


def test_octants_fill_their_block_to_the_last_place() -> None:
    """Unicode 16.0: octants stand at U+1CD00 (pixel 3 alone) to U+1CDE5 (all but pixel 1), 230 of them."""
    glyphs = glyphs_of(Way.OCTANTS).tolist()
    own = [(bits, glyph) for bits, glyph in enumerate(glyphs) if 0x1CD00 <= glyph <= 0x1CDE5]
    assert own[0] == (0b100, 0x1CD00)
    assert own[-1] == (0b11111110, 0x1CDE5)
    assert [glyph for _, glyph in own] == list(range(0x1CD00, 0x1CDE6))


@pytest.mark.parametrize("way", [Way.QUADRANTS, Way.OCTANTS])
def test_a_two_tone_cell_keeps_its_pixels_and_its_colours(way: Way) -> None:
    rng = np.random.default_rng(5)
    sub = SUBPIXELS[way]
    for bits in rng.integers(1, 2 ** (sub.across * sub.down) - 1, 12).tolist():
        lit = np.array([bits >> n & 1 for n in range(sub.across * sub.down)]).reshape(sub.down, sub.across)
        square = lit.repeat(4 // sub.down, axis=0)
        canvas = np.where(square[..., None] == 1, LIGHT, DARK).astype(np.uint8)
        grid = two_tones(canvas, way)
        assert int(grid.glyphs[0, 0]) == glyphs_of(way)[bits]
        assert grid.foreground[0, 0].tolist() == list(LIGHT)
        assert grid.background[0, 0].tolist() == list(DARK)


@pytest.mark.parametrize("way", FINER)
def test_a_flat_cell_is_flat(way: Way) -> None:
    grid = two_tones(np.full((8, 6, 3), 90, np.uint8), way)
    assert grid.shape == (2, 3)
    assert set(grid.background.reshape(-1).tolist()) == {90}
    assert set(grid.glyphs.reshape(-1).tolist()) == {0x20}


@pytest.mark.parametrize("way", FINER)
def test_finer_blocks_are_nearer_to_the_picture_than_half_blocks(way: Way) -> None:
    """A slanting edge, drawn back from glyphs and colours: the error must fall with the number of pixels a cell."""
    y, x = np.mgrid[0:64, 0:64]
    picture = np.where((x * 2 + y < 90)[..., None], LIGHT, DARK).astype(np.uint8)
    half = picture.reshape(32, 2, 32, 2, 3).mean(axis=(1, 3)).repeat(2, 0).repeat(2, 1)
    grid, sub = two_tones(picture, way), SUBPIXELS[way]
    number_of = {glyph: bits for bits, glyph in enumerate(glyphs_of(way).tolist())}
    drawn = np.zeros((16 * sub.down, 32 * sub.across, 3))
    for row in range(16):
        for column in range(32):
            bits = number_of[int(grid.glyphs[row, column])]
            for n in range(sub.across * sub.down):
                source = grid.foreground if bits >> n & 1 else grid.background
                drawn[row * sub.down + n // 2, column * 2 + n % 2] = source[row, column]
    rows = (np.arange(64) * sub.down // 4).astype(int)
    error = np.abs(drawn[rows] - picture).mean()
    assert error < np.abs(half - picture).mean()


@pytest.mark.parametrize("way", FINER)
def test_a_terminal_shows_glyphs_and_colours_as_they_were_meant(way: Way) -> None:
    """Reference: pyte, a terminal emulator."""
    noise = np.random.default_rng(6).integers(0, 256, (4 * 3, 2 * 9, 3), dtype=np.uint8)
    grid = two_tones(noise, way)
    screen = pyte.Screen(9, 3)
    stream = pyte.Stream(screen)
    stream.feed("\r\n".join(CellEncoder(3, 9, Depth.BITS_24).lines(grid)))
    for row in range(3):
        for column in range(9):
            cell = screen.buffer[row][column]
            assert cell.data == chr(grid.glyphs[row, column])
            assert cell.fg == "".join(f"{level:02x}" for level in grid.foreground[row, column])
            assert cell.bg == "".join(f"{level:02x}" for level in grid.background[row, column])
