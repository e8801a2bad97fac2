"""Parts of one picture come together as the picture was."""

import cv2
import numpy as np
import pytest
from skimage import data

from tethercap.convert.tiles import blend_tiles, place_tiles
from tethercap.errors import ConversionError
from tethercap.geometry import SizePx
from tethercap.pictures import U8Array, U16Array


def picture() -> U16Array:
    """An open photograph (scikit-image's coffee cup), 16 bits, enlarged so that its detail is that of a real RAW."""
    large = cv2.resize(data.coffee(), (1800, 1200), interpolation=cv2.INTER_CUBIC)
    return np.asarray(large.astype(np.uint16) * 257, np.uint16)


def part(whole: U16Array, left: int, top: int, width: int, height: int, turn_deg: float = 0.0) -> U16Array:
    matrix = cv2.getRotationMatrix2D((left + width / 2, top + height / 2), turn_deg, 1.0)
    matrix[:, 2] -= (left, top)
    return np.asarray(cv2.warpAffine(whole, matrix, (width, height), flags=cv2.INTER_CUBIC), np.uint16)


def preview(tile: U16Array) -> U8Array:
    small = cv2.resize(tile, (tile.shape[1] // 2, tile.shape[0] // 2), interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.cvtColor(np.asarray(small / 257.0, np.uint8), cv2.COLOR_RGB2GRAY), np.uint8)


def joined(tiles: list[U16Array]) -> tuple[U16Array, float, float]:
    found = place_tiles([preview(tile) for tile in tiles], [SizePx(t.shape[1], t.shape[0]) for t in tiles])
    whole = np.zeros((found.size.height_px, found.size.width_px, 3), np.uint16)

    def put(first: int, rows: U16Array) -> None:
        whole[first : first + len(rows)] = rows

    difference = blend_tiles(found, tiles, put)
    return whole, found.mismatch_px, difference


def test_four_parts_give_the_whole_again() -> None:
    whole = picture()
    tiles = [part(whole, left, top, 1040, 720) for top in (40, 440) for left in (30, 720)]
    got, mismatch_px, difference = joined(tiles)
    assert mismatch_px < 0.5
    assert difference < 0.01
    wanted = whole[40:1160, 30:1760]
    assert abs(got.shape[0] - wanted.shape[0]) <= 2
    assert abs(got.shape[1] - wanted.shape[1]) <= 2
    # The whole's own corner may lie up to a pixel elsewhere.
    part_wanted, part_got = (each[..., 1].astype(np.float32) for each in (wanted[20:1080, 20:1680], got))
    assert cv2.matchTemplate(part_got, part_wanted, cv2.TM_CCOEFF_NORMED).max() > 0.997


def test_a_part_that_is_turned_a_little_is_turned_back() -> None:
    whole = picture()
    tiles = [part(whole, 100, 200, 900, 800), part(whole, 700, 220, 900, 800, turn_deg=0.7)]
    got, mismatch_px, _ = joined(tiles)
    assert mismatch_px < 0.7
    wanted = whole[230:960, 130:1500]
    found = cv2.matchTemplate(got[..., 1].astype(np.float32), wanted[..., 1].astype(np.float32), cv2.TM_CCOEFF_NORMED)
    assert found.max() > 0.995


def test_a_part_of_another_picture_is_refused() -> None:
    whole = picture()
    other = np.asarray(cv2.resize(data.rocket(), (900, 800)).astype(np.uint16) * 257, np.uint16)
    with pytest.raises(ConversionError, match="Part 3"):
        joined([part(whole, 100, 200, 900, 800), part(whole, 700, 220, 900, 800), other])
