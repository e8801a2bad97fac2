"""Pictures as escape text, read back by Rich's own decoder of terminal escapes."""

import numpy as np
import pytest
from rich.ansi import AnsiDecoder
from rich.console import Console
from rich.segment import Segment

from tethercap.pictures import U8Array
from tethercap.tui.cells import (
    CellEncoder,
    CellGrid,
    Depth,
    braille,
    half_blocks,
    row_segments,
    to_bits_15,
    to_palette,
)

Cell = tuple[str, tuple[int, int, int], tuple[int, int, int]]


def _cells(line: str) -> list[Cell]:
    """What a terminal would show, cell by cell, as Rich understands the line."""
    (text,) = AnsiDecoder().decode(line)
    cells: list[Cell] = []
    for segment in text.render(Console()):
        style = segment.style
        if not segment.text.strip("\n") or style is None or style.color is None or style.bgcolor is None:
            continue
        pair = (tuple(style.color.get_truecolor()), tuple(style.bgcolor.get_truecolor()))
        cells += [(character, *pair) for character in segment.text]  # type: ignore[misc]
    return cells


def _noise(rows: int = 5, columns: int = 23, seed: int = 4) -> U8Array:
    return np.random.default_rng(seed).integers(0, 256, (2 * rows, columns, 3), dtype=np.uint8)


def _flat_patches() -> U8Array:
    """Runs of equal colour, so that unchanged colours are dropped, with one half changing alone."""
    picture = np.zeros((4, 12, 3), dtype=np.uint8)
    picture[0, 3:] = (255, 0, 7)
    picture[1, 6:] = (9, 99, 199)
    picture[2:, 9:] = 255
    return picture


@pytest.mark.parametrize("pixels", [_noise(), _flat_patches()], ids=["noise", "patches"])
def test_every_pixel_comes_out_as_it_went_in(pixels: U8Array) -> None:
    grid = half_blocks(pixels)
    for row, line in enumerate(CellEncoder(*grid.shape, Depth.BITS_24).lines(grid)):
        expected = [
            ("▀", tuple(map(int, top)), tuple(map(int, bottom)))
            for top, bottom in zip(pixels[2 * row], pixels[2 * row + 1], strict=True)
        ]
        assert _cells(line) == expected


def test_fifteen_bits_keep_black_and_white_and_stay_within_seven() -> None:
    levels = np.arange(256, dtype=np.uint8).repeat(3).reshape(256, 3)
    quantised = to_bits_15(levels).astype(int)
    assert quantised[0].tolist() == [0, 0, 0]
    assert quantised[255].tolist() == [255, 255, 255]
    assert np.abs(quantised - levels).max() <= 7


def test_palette_picks_colours_that_the_terminal_really_has_and_near_ones() -> None:
    """Reference: Rich's table of the 256 xterm colours."""
    from rich._palettes import EIGHT_BIT_PALETTE
    from rich.palette import Palette

    palette: Palette = EIGHT_BIT_PALETTE
    colours = np.random.default_rng(8).integers(0, 256, (300, 3), dtype=np.uint8)
    table = np.array([palette[n] for n in range(16, 256)])
    for colour, index in zip(colours, to_palette(colours), strict=True):
        distances = ((table - colour.astype(int)) ** 2).sum(axis=1)
        mine = ((np.array(palette[int(index)]) - colour.astype(int)) ** 2).sum()
        # Looked up by five bits, so the nearest may be missed by that rounding, no more than 24 worse.
        assert np.sqrt(mine) <= np.sqrt(distances.min()) + 24


def test_palette_lines_are_shorter_and_carry_the_chosen_index() -> None:
    grid = half_blocks(_noise())
    fine, coarse = (CellEncoder(*grid.shape, depth).lines(grid) for depth in (Depth.BITS_24, Depth.PALETTE))
    assert sum(map(len, coarse)) < 0.7 * sum(map(len, fine))
    first = to_palette(grid.foreground[0, 0]), to_palette(grid.background[0, 0])
    assert coarse[0].startswith(f"\x1b[38;5;{first[0]};48;5;{first[1]}m▀")


def test_letters_of_one_two_and_three_bytes_stand_where_they_were_put() -> None:
    grid = half_blocks(_noise())
    grid.put(2, 3, "a°◀", (1, 2, 3), (4, 5, 6))
    cells = _cells(CellEncoder(*grid.shape, Depth.BITS_24).lines(grid)[2])
    assert "".join(cell[0] for cell in cells[2:7]) == "▀a°◀▀"
    assert cells[4][1:] == ((1, 2, 3), (4, 5, 6))


@pytest.mark.parametrize(("row", "column"), [(-1, 0), (5, 0), (0, 23), (0, -9)])
def test_text_outside_the_picture_is_cut_off_without_harm(row: int, column: int) -> None:
    grid = half_blocks(_noise())
    before = grid.glyphs.copy()
    grid.put(row, column, "outside", (0, 0, 0), (0, 0, 0))
    assert np.array_equal(grid.glyphs, before)


def test_an_encoder_used_again_keeps_nothing_of_the_picture_before() -> None:
    first, second = (
        half_blocks(_noise(seed=1)),
        half_blocks(_flat_patches().repeat(6, axis=0)[:10].repeat(2, axis=1)[:, :23]),
    )
    encoder = CellEncoder(5, 23, Depth.BITS_24)
    fresh = CellEncoder(5, 23, Depth.BITS_24).lines(second)
    encoder.lines(first)
    assert encoder.lines(second) == fresh


def test_an_encoder_refuses_another_size() -> None:
    with pytest.raises(ValueError, match="5 x 22"):
        CellEncoder(5, 22, Depth.BITS_24).lines(half_blocks(_noise()))


@pytest.mark.parametrize("depth", [Depth.BITS_24, Depth.BITS_15])
def test_segments_for_dialogs_show_the_same_as_the_escape_text(depth: Depth) -> None:
    grid = half_blocks(_noise())
    line = CellEncoder(*grid.shape, depth).lines(grid)[1]
    from_segments = [
        (character, tuple(s.style.color.get_truecolor()), tuple(s.style.bgcolor.get_truecolor()))
        for s in row_segments(grid, 1, depth)
        if s.style is not None and s.style.color is not None and s.style.bgcolor is not None
        for character in s.text
    ]
    assert from_segments == _cells(line)


def test_braille_raises_dots_in_proportion_to_light() -> None:
    ramp = np.tile(np.linspace(0, 255, 160).astype(np.uint8), (32, 1))
    grid = braille(ramp)
    dots = np.array([[(int(g) - 0x2800).bit_count() for g in row] for row in grid.glyphs]).mean(axis=0)
    assert dots[0] <= 0.2
    assert dots[-1] >= 7.8
    light = ramp.reshape(8, 4, 80, 2).mean(axis=(0, 1, 3)) / 255 * 8
    assert np.abs(np.convolve(dots, np.ones(8) / 8, "valid") - np.convolve(light, np.ones(8) / 8, "valid")).max() < 0.4


def test_braille_dots_sit_where_unicode_says() -> None:
    """Unicode Standard, Braille Patterns: dot 1 top left is bit 0, dot 8 bottom right bit 7, dot 7 under 3 bit 6."""
    for row, column, bit in ((0, 0, 0x01), (3, 1, 0x80), (3, 0, 0x40), (1, 1, 0x10)):
        grey = np.zeros((4, 2), dtype=np.uint8)
        grey[row, column] = 255
        assert braille(grey).glyphs[0, 0] == 0x2800 + bit


def test_without_colour_no_escape_goes_out() -> None:
    grid = braille(np.random.default_rng(2).integers(0, 256, (20, 40), dtype=np.uint8))
    lines = CellEncoder(*grid.shape, Depth.NONE).lines(grid)
    assert all("\x1b" not in line for line in lines)
    assert [len(line) for line in lines] == [20] * 5
    assert isinstance(row_segments(grid, 0, Depth.NONE)[0], Segment)


def test_a_grid_is_not_tied_to_the_picture_it_came_from() -> None:
    pixels = _noise()
    grid: CellGrid = half_blocks(pixels)
    pixels[:] = 0
    assert grid.foreground.any()
