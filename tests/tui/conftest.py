"""What holds for every test of the screens: no thread is left behind, no setting of this computer leaks in."""

import threading
from collections.abc import Iterator

import pytest


@pytest.fixture(autouse=True)
def no_thread_left() -> Iterator[None]:
    before = set(threading.enumerate())
    yield
    for thread in threading.enumerate():
        if thread not in before and not thread.daemon:
            thread.join(timeout=5)
            assert not thread.is_alive(), f"{thread.name} still runs"


@pytest.fixture(autouse=True)
def plain_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    # Workers of pytest-xdist have a COLUMNS and LINES of their own; they would overrule a terminal's.
    for name in ("NO_COLOR", "COLUMNS", "LINES"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("COLORTERM", "truecolor")
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setenv("TEXTUAL_ANIMATIONS", "none")
