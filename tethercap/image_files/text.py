"""Text files that go with pictures, such as a page to look at them with."""

from pathlib import Path

from tethercap.image_files._whole import write_whole


def write_text(path: Path, text: str) -> None:
    """Write a text through a temporary file, UTF-8; a file of that name is replaced.

    Raises
    ------
    StorageError
        If the disk refuses.
    """
    write_whole(path, lambda temporary: _write(temporary, text))


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")
