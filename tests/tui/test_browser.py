"""The screens in a real browser: they are drawn there, obey keys, and a second visitor is told who has the roll."""

import asyncio
import contextlib
import os
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("textual_serve", reason="the server for browsers is an extra")

from tests.tui.browser import Tab, browser, chromium
from tests.tui.drawn_roll import make_roll
from tethercap.pictures import U8Array

pytestmark = [
    pytest.mark.skipif(chromium() is None, reason="no Chromium is installed"),
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
    pytest.mark.timeout(150),
]
ACCENT, TROUBLE = (0xF3, 0xB1, 0x3F), (0xFF, 0x7D, 0x6B)


def _free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
        return port


@pytest.fixture
def served(tmp_path: Path) -> Iterator[str]:
    """A roll looked at through `tethercap look`, served to browsers."""
    make_roll(tmp_path / "invented-07", frames=3).close()
    port = _free_port()
    look = ["look", str(tmp_path / "invented-07")]
    code = f"from tethercap.tui.web import serve_again; serve_again({look!r}, {port})"
    environment = {name: value for name, value in os.environ.items() if name != "NO_COLOR"}
    server = subprocess.Popen(
        [sys.executable, "-W", "ignore", "-c", code],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env=environment,
    )
    try:
        yield f"http://127.0.0.1:{port}/"
    finally:
        server.terminate()
        server.wait(20)


async def _wait_for_page(url: str) -> None:
    for _ in range(150):
        with contextlib.suppress(OSError):
            await asyncio.to_thread(lambda: urllib.request.urlopen(url, timeout=2).close())
            return
        await asyncio.sleep(0.2)
    raise TimeoutError(url)


def _count(picture: U8Array, rgb: tuple[int, int, int]) -> int:
    return int((np.abs(picture[..., ::-1].astype(int) - rgb).max(axis=-1) <= 6).sum())


async def _until(tab: Tab, holds: Callable[[U8Array], bool]) -> U8Array:
    for _ in range(120):
        picture = await tab.picture()
        if holds(picture):
            return picture
        await asyncio.sleep(0.3)
    raise AssertionError("the page never showed it")


async def test_a_roll_is_shown_in_a_browser_and_a_second_visitor_is_told_who_has_it(served: str) -> None:
    program = chromium()
    assert program is not None
    await _wait_for_page(served)
    async with browser(program, _free_port()) as visitors:
        first = await visitors.open(served)
        before = await _until(first, lambda seen: _count(seen, ACCENT) > 300 and len(np.unique(seen[::4, ::4])) > 40)
        await first.press("t")  # the next colours: light
        await _until(first, lambda seen: seen.mean() > before.mean() + 60)
        second = await visitors.open(served)
        await _until(second, lambda seen: _count(seen, TROUBLE) > 5000)
