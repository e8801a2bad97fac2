"""Sixel text read back by a reader of our own, and by libsixel where that is installed."""

import shutil
import subprocess
from pathlib import Path

import cv2
import numpy as np
import pytest

from tests.tui.drawn_film import live_pixels
from tests.tui.sixel_reader import read_sixel
from tethercap.pictures import U8Array
from tethercap.tui.sixel import encode


def _film(width: int, height: int) -> U8Array:
    rgb = live_pixels(2.0, 2, tilt_deg=1.0)[..., ::-1]
    return np.asarray(cv2.resize(rgb, (width, height), interpolation=cv2.INTER_AREA), dtype=np.uint8)


@pytest.mark.parametrize(
    ("width", "height", "magnify"), [(120, 84, 1), (97, 61, 1), (60, 40, 2), (41, 29, 3), (1, 1, 1)]
)
def test_every_pixel_is_drawn_once_and_the_picture_has_its_size(width: int, height: int, magnify: int) -> None:
    _, drawn = read_sixel(encode(_film(width, height), magnify=magnify))
    assert drawn.shape == (height * magnify, width * magnify)
    assert (drawn == 1).all()


def test_colours_are_those_of_the_picture_once_dither_is_averaged_out() -> None:
    film = _film(160, 120)
    seen, _ = read_sixel(encode(film))
    blurred = [cv2.blur(picture.astype(np.float32), (8, 8))[8:-8, 8:-8] for picture in (film, seen)]
    assert float(np.abs(np.subtract(*blurred)).mean()) < 4.0


def test_a_coarse_picture_shows_each_pixel_as_a_square() -> None:
    film = _film(30, 20)
    fine, _ = read_sixel(encode(film))
    for magnify in (2, 3):
        coarse, _ = read_sixel(encode(film, magnify=magnify))
        assert np.array_equal(coarse, fine.repeat(magnify, axis=0).repeat(magnify, axis=1))


def test_lines_keep_their_exact_colours() -> None:
    film = _film(60, 42)
    film[10] = (255, 176, 58)
    film[20:22] = (1, 254, 3)
    seen, _ = read_sixel(encode(film, exact=[(255, 176, 58), (1, 254, 3)]))
    assert np.abs(seen[10].astype(int) - (255, 176, 58)).max() <= 1, "percent is as fine as the format can say"
    assert np.abs(seen[20:22].astype(int) - (1, 254, 3)).max() <= 1


def test_one_flat_colour_and_black_and_white_are_true() -> None:
    for level in (0, 97, 255):
        seen, _ = read_sixel(encode(np.full((12, 20, 3), level, np.uint8)))
        assert np.abs(seen.astype(int) - level).max() <= 6
    halves = np.zeros((12, 40, 3), np.uint8)
    halves[:, 20:] = 255
    seen, _ = read_sixel(encode(halves))
    assert seen[:, :20].max() <= 1
    assert seen[:, 20:].min() >= 254


def test_libsixel_reads_the_same(tmp_path: Path) -> None:
    """Reference: libsixel's own decoder, `sixel2png`."""
    program = shutil.which("sixel2png")
    if program is None:
        pytest.skip("sixel2png of libsixel is not installed")
    text = encode(_film(90, 66), magnify=2, exact=[(12, 10, 9)])
    (tmp_path / "film.six").write_text(text)
    subprocess.run([program, "-i", "film.six", "-o", "film.png"], cwd=tmp_path, check=True, timeout=20)
    theirs = np.asarray(cv2.imread(str(tmp_path / "film.png")), dtype=np.uint8)[..., ::-1]
    ours, _ = read_sixel(text)
    assert theirs.shape == ours.shape
    assert int(np.abs(theirs.astype(int) - ours).max()) <= 1
