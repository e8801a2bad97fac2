from __future__ import annotations

import numpy as np
import pytest
import zxingcpp

from mock_camera.edge_print import PRODUCT, dx_bits
from mock_camera.film_stock import FILM_135_WIDTH_MM
from mock_camera.strip_scene import Region, compose
from tests.unit.mock_camera.film_bench import clean_strip, plain_scene

# 79-7 and 127-15: printed in libzint's tests. 36-2/21: read on a real film by zxing-cpp.
VECTORS = [
    (79, 7, 1, False, "1010101001111001110000010010101"),
    (79, 7, 1, True, "1010101001111001110000011000101"),
    (79, 7, 0, False, "1010101001111001110000000000101"),
    (79, 7, 62, True, "1010101001111001111111101000101"),
    (79, 7, 63, False, "1010101001111001111111110000101"),
    (127, 15, 63, True, "1010101111111011111111111000101"),
    (36, 2, 21, False, "1010100100100000100101010000101"),
    (96, 0, 0, False, "1010101100000000000000000000101"),
]


@pytest.mark.parametrize(("part1", "part2", "frame", "half", "bits"), VECTORS)
def test_bits_as_published(part1: int, part2: int, frame: int, half: bool, bits: str) -> None:
    assert dx_bits(part1, part2, frame, half) == bits


@pytest.mark.parametrize("numbers", [(0, 1, 1), (128, 1, 1), (5, 16, 1), (5, 1, 64)])
def test_numbers_no_code_holds_are_refused(numbers: tuple[int, int, int]) -> None:
    with pytest.raises(ValueError, match="DX edge code"):
        dx_bits(*numbers, half=False)


def test_an_independent_reader_finds_the_codes_on_the_film() -> None:
    # zxing-cpp, DXFilmEdge: the code reads from left to right along the bottom edge, seen from the base side.
    strip = clean_strip()
    bottom = FILM_135_WIDTH_MM / 2
    region = Region(0.0, strip.length_mm, bottom - 6.0, bottom + 3.0, 40.0)
    canvas = compose(strip, region, lambda _frame: plain_scene(0.18))
    shown = (canvas.pixels[:, :, 1] / 257.0).astype(np.uint8)
    found = {code.text for code in zxingcpp.read_barcodes(shown, formats=zxingcpp.BarcodeFormat.DXFilmEdge)}
    name = f"{PRODUCT[0]}-{PRODUCT[1]}"
    assert {f"{name}/1", f"{name}/1A", f"{name}/2", f"{name}/2A"} <= found
