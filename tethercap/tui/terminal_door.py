"""The one place that writes to the terminal beside Textual: notices, and pictures taken away."""

from typing import Any

from textual.app import App


def write_to_terminal(app: App[Any], text: str) -> None:
    """Write escape text, in order with what Textual writes; nothing where there is no terminal.

    Textual has no public call for this; its own bell and clipboard go the same way.
    """
    driver = getattr(app, "_driver", None)
    if text and driver is not None and not app.is_headless:
        driver.write(text)
        driver.flush()
