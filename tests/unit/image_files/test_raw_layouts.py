"""One mosaic as cameras lay it into a DNG: packed, compressed, in tiles, with margins; it is the same picture in each.

What is written is packed by tifffile and imagecodecs, by the layouts of the DNG specification.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
import pytest

from tests.unit.image_files.dng_writer import write_dng
from tethercap.errors import UnreadablePictureError
from tethercap.image_files.raw import read_raw
from tethercap.pictures import RawPicture, U16Array

HEIGHT, WIDTH, TILE = 128, 192, 64
LEFT, TOP, RIGHT, BOTTOM = 16, 8, 10, 6
"""Margins that a sensor has around its picture, px."""


def counts(bits: int) -> U16Array:
    return np.random.default_rng(bits).integers(512, 2**bits, (HEIGHT, WIDTH)).astype(np.uint16)


def read_back(path: Path, mosaic: U16Array, **layout: Any) -> RawPicture:
    return read_raw(write_dng(path / "laid.dng", mosaic, **layout))


@pytest.mark.parametrize("bits", [12, 14])
@pytest.mark.parametrize(
    "layout",
    [
        {},
        {"rowsperstrip": 50},
        {"tile": (TILE, TILE)},
    ],
)
def test_packed_counts_are_those_that_were_packed(bits: int, layout: dict[str, Any], tmp_path: Path) -> None:
    raw = read_back(tmp_path, counts(bits), white=2**bits - 1, bitspersample=bits, **layout)
    assert np.array_equal(raw.mosaic, counts(bits))
    assert raw.white == 2**bits - 1


@pytest.mark.parametrize("bits", [12, 14, 16])
def test_lossless_jpeg_gives_the_same_counts(bits: int, tmp_path: Path) -> None:
    mosaic, starts = counts(bits), range(0, WIDTH, TILE)
    tiles = [mosaic[top : top + TILE, left : left + TILE] for top in (0, TILE) for left in starts]
    packed = (bytes(imagecodecs.ljpeg_encode(np.ascontiguousarray(tile), bitspersample=bits)) for tile in tiles)
    layout: dict[str, Any] = {"compression": 7, "tile": (TILE, TILE), "shape": mosaic.shape, "dtype": np.uint16}
    raw = read_raw(write_dng(tmp_path / "jpeg.dng", packed, white=2**bits - 1, **layout))
    assert np.array_equal(raw.mosaic, mosaic)


@pytest.mark.parametrize("layout", [{"byteorder": ">"}, {"tile": (TILE, TILE)}, {"rowsperstrip": 33}])
def test_counts_that_are_not_packed_may_lie_in_any_order(layout: dict[str, Any], tmp_path: Path) -> None:
    assert np.array_equal(read_back(tmp_path, counts(14), **layout).mosaic, counts(14))


@pytest.mark.parametrize("pattern", [(2, 1, 1, 0), (1, 0, 2, 1), (1, 2, 0, 1)])
def test_each_place_has_its_own_black(pattern: Sequence[int], tmp_path: Path) -> None:
    black = (500, 530, 520, 480)
    raw = read_back(tmp_path, counts(14), pattern=pattern, black=black)
    assert raw.pattern.ravel().tolist() == list(pattern)
    assert raw.black.ravel().tolist() == list(black)


def test_a_black_of_nothing_stays_so(tmp_path: Path) -> None:
    assert not read_back(tmp_path, counts(14), black=(0, 0, 0, 0)).black.any()


@pytest.mark.parametrize(("top", "left"), [(TOP, LEFT), (TOP - 1, LEFT), (TOP, LEFT - 1), (TOP - 1, LEFT - 1)])
def test_margins_are_left_out_and_colours_stay_at_their_places(top: int, left: int, tmp_path: Path) -> None:
    around = np.full((top + HEIGHT + BOTTOM, left + WIDTH + RIGHT), 512, np.uint16)
    around[top : top + HEIGHT, left : left + WIDTH] = counts(14)
    raw = read_back(tmp_path, around, active_area=(top, left, top + HEIGHT, left + WIDTH))
    # LibRaw leaves a row or column out where a margin is odd.
    moved_y, moved_x = top % 2, left % 2
    assert np.array_equal(raw.mosaic, counts(14)[moved_y:, moved_x:])
    usual = np.array([[0, 1], [1, 2]])
    assert np.array_equal(raw.pattern, np.roll(usual, (moved_y, moved_x), (0, 1)))


def test_a_broken_table_of_tags_is_told_in_our_words_only(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    head = b"II*\0\x08\0\0\0\x01\0\x00\x01\x03\0\x01\0\0\0\x40\0\0\0\0\0\0\0"  # one tag: a width of 64
    (tmp_path / "head.dng").write_bytes(head)
    with pytest.raises(UnreadablePictureError, match=r"head\.dng"):
        read_raw(tmp_path / "head.dng")
    assert not caplog.records
