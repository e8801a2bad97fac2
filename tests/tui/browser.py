"""A headless Chromium, spoken to by its DevTools protocol: opens pages, presses keys, takes pictures."""

import asyncio
import base64
import contextlib
import shutil
import subprocess
import tempfile
from collections.abc import AsyncIterator

import aiohttp
import cv2
import numpy as np

from tethercap.pictures import U8Array

_PROGRAMS = ("chromium", "chromium-browser", "google-chrome", "chrome")


def chromium() -> str | None:
    """Where Chromium is, if it is there."""
    return next((found for name in _PROGRAMS if (found := shutil.which(name))), None)


class Tab:
    """One page."""

    def __init__(self, socket: aiohttp.ClientWebSocketResponse) -> None:
        self._socket = socket
        self._number = 0

    async def _ask(self, method: str, **parameters: object) -> dict[str, object]:
        self._number += 1
        await self._socket.send_json({"id": self._number, "method": method, "params": parameters})
        while (answer := await self._socket.receive_json()).get("id") != self._number:
            pass
        result: dict[str, object] = answer.get("result", {})
        return result

    async def picture(self) -> U8Array:
        """What the page shows, BGR."""
        shot = await self._ask("Page.captureScreenshot", format="png")
        content = np.frombuffer(base64.b64decode(str(shot["data"])), np.uint8)
        return np.asarray(cv2.imdecode(content, cv2.IMREAD_COLOR), dtype=np.uint8)

    async def press(self, key: str) -> None:
        """Press a letter, after a click so that the page has the keyboard."""
        for kind in ("mousePressed", "mouseReleased"):
            await self._ask("Input.dispatchMouseEvent", type=kind, x=900, y=600, button="left", clickCount=1)
        for kind in ("keyDown", "keyUp"):
            text = {"text": key} if kind == "keyDown" else {}
            await self._ask("Input.dispatchKeyEvent", type=kind, key=key, **text)


@contextlib.asynccontextmanager
async def browser(program: str, port: int) -> AsyncIterator["Browser"]:
    """Run Chromium for a while."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        flags = ["--headless", "--no-sandbox", "--disable-gpu", "--window-size=1300,860", f"--user-data-dir={profile}"]
        process = subprocess.Popen(
            [program, *flags, f"--remote-debugging-port={port}", "about:blank"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        try:
            async with aiohttp.ClientSession() as session:
                yield Browser(session, port)
        finally:
            process.terminate()
            process.wait(20)


class Browser:
    """A running Chromium."""

    def __init__(self, session: aiohttp.ClientSession, port: int) -> None:
        self._session, self._address = session, f"http://127.0.0.1:{port}"

    async def open(self, url: str) -> Tab:
        """Open a page in a new tab."""
        for _ in range(150):
            with contextlib.suppress(aiohttp.ClientError):
                async with self._session.put(f"{self._address}/json/new?{url}") as answer:
                    socket = (await answer.json())["webSocketDebuggerUrl"]
                    return Tab(await self._session.ws_connect(socket, max_msg_size=0))
            await asyncio.sleep(0.2)
        raise TimeoutError("Chromium did not answer")
