"""Live pictures in pixels, from the real program to a terminal that takes them out of its line and its memory."""

import re
from collections.abc import Callable, Iterator

import cv2
import numpy as np
import pytest

from tests.tui.drawn_film import live_pixels
from tests.tui.pixel_terminal import SHARED, PixelTerminal
from tethercap.pictures import U8Array
from tethercap.tui.terminal_talents import DIRECT_ID, SHARED_ID

KITTY = f"\x1b_Gi={DIRECT_ID};OK\x1b\\\x1b_Gi={SHARED_ID};OK\x1b\\\x1b[6;20;10t\x1b[?62;c".encode()
SIXEL = b"\x1b[6;20;10t\x1b[?63;1;2;4;6c"
AMBER = (0xF3, 0xB1, 0x3F)

Start = Callable[[bytes], PixelTerminal]


@pytest.fixture
def start() -> Iterator[Start]:
    started: list[PixelTerminal] = []

    def begin(answers: bytes) -> PixelTerminal:
        started.append(PixelTerminal(["-m", "tests.tui.seated_in_pty"], answers))
        return started[-1]

    yield begin
    for terminal in started:
        terminal.close()


def _share(picture: U8Array, rgb: tuple[int, int, int]) -> float:
    return float((np.abs(picture.astype(int) - rgb).max(axis=-1) <= 4).mean())


def _is_the_film(picture: U8Array) -> None:
    """The middle of the frame, blurred over dither and compared with the picture that was handed over."""
    film = live_pixels(0.08, 2, tilt_deg=-0.05)[..., ::-1]
    height, width = picture.shape[:2]
    scale = min(width / film.shape[1], height / film.shape[0])
    size = (round(film.shape[1] * scale), round(film.shape[0] * scale))
    small = cv2.resize(film, size, interpolation=cv2.INTER_AREA)
    top, left = (height - size[1]) // 2, (width - size[0]) // 2
    shown = picture[top : top + size[1], left : left + size[0]]
    rows, columns = slice(size[1] // 4, 3 * size[1] // 4), slice(size[0] // 4, 3 * size[0] // 4)
    blurred = [cv2.blur(each[rows, columns].astype(np.float32), (15, 15)) for each in (shown, small)]
    assert float(np.abs(np.subtract(*blurred)).mean()) < 6


@pytest.mark.skipif(not SHARED.is_dir(), reason="no shared memory by name here")
def test_a_terminal_with_the_kitty_protocol_gets_pixels_in_memory(start: Start) -> None:
    before = {path.name for path in SHARED.glob("tethercap-*")}
    terminal = start(KITTY)
    terminal.work(lambda: terminal.shows_wide(500))
    picture = terminal.pictures[-1]
    assert _share(picture, AMBER) > 0.005, "the found frame is drawn in its colour"
    _is_the_film(picture)
    terminal.press("?")
    both_go = re.compile(rb"(?:\x1b_Ga=d,d=I[^\x1b]*\x1b\\){2}")
    terminal.work(lambda: bool(both_go.search(terminal.seen)))  # under help the picture is taken away
    before_it = len(terminal.pictures)
    terminal.press("\x1b")
    terminal.work(lambda: len(terminal.pictures) > before_it)  # and comes back
    terminal.press("q")
    terminal.work(lambda: terminal.program.poll() is not None)
    assert terminal.program.wait(10) == 0
    assert {path.name for path in SHARED.glob("tethercap-*")} <= before


def test_a_terminal_with_sixel_gets_pixels_down_the_line(start: Start) -> None:
    terminal = start(SIXEL)
    terminal.work(lambda: terminal.shows_wide(500))
    assert _share(terminal.pictures[-1], AMBER) > 0.005
    _is_the_film(terminal.pictures[-1])
    terminal.press("q")
    terminal.work(lambda: terminal.program.poll() is not None)
    assert terminal.program.wait(10) == 0
