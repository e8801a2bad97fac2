"""The screens in a browser: the server answers on this computer only, and trouble has a screen of its own."""

import os
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

from tethercap.errors import RollInUseError
from tethercap.tui.app import TerminalApp
from tethercap.tui.lines import text_of
from tethercap.tui.screens.trouble import TroubleScreen
from tethercap.tui.web import in_browser
from tethercap.tui.widgets.band import Band
from tethercap.tui.widgets.rows import Rows


def test_a_browser_is_known_by_the_driver_that_the_server_asks_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("TEXTUAL_DRIVER", raising=False)
    assert not in_browser()
    monkeypatch.setenv("TEXTUAL_DRIVER", "textual.drivers.web_driver:WebDriver")
    assert in_browser()


async def test_trouble_says_what_happened_what_is_safe_and_what_to_do() -> None:
    error = RollInUseError("The roll is in use by process 7.", safe="Nothing was changed.", todo="End that one first.")
    app = TerminalApp(lambda: TroubleScreen(error))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        text = "\n".join(text_of(line) for line in app.screen.query_one("#list", Rows).lines)
        assert all(part in text for part in ("process 7", "Nothing was changed.", "End that one first."))
        assert app.screen.query_one(Band).has_class("-tone-trouble")
        await pilot.press("enter")
    assert app.return_value == 0


def test_the_page_is_served_on_the_loopback_alone(tmp_path: Path) -> None:
    pytest.importorskip("textual_serve", reason="the server for browsers is an extra")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    code = f"from tethercap.tui.web import serve_again; serve_again(['look', {str(tmp_path)!r}], {port})"
    server = subprocess.Popen(
        [sys.executable, "-W", "ignore", "-c", code],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env=os.environ,
    )
    try:
        page = ""
        give_up_s = time.monotonic() + 30
        while not page and time.monotonic() < give_up_s and server.poll() is None:
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=2) as answer:
                    page = answer.read().decode()
            except OSError:
                time.sleep(0.1)
        assert f'data-session-websocket-url="ws://127.0.0.1:{port}' in page
        with socket.socket() as other:
            other.settimeout(1)
            assert other.connect_ex(("127.0.0.2", port)) != 0
    finally:
        server.terminate()
        server.wait(10)
