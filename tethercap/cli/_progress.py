"""Talk on stderr: sentences, and bars for commands that let one wait; bars only where stderr is a terminal."""

import contextlib
from collections.abc import Callable, Iterator
from pathlib import Path

from rich.console import Console
from rich.markup import escape
from rich.progress import BarColumn, DownloadColumn, Progress, TextColumn, TimeRemainingColumn

from tethercap.errors import TethercapError


def say(sentence: str) -> None:
    """Say something to the person; a path in it is never broken over two lines."""
    Console(stderr=True, highlight=False).print(escape(sentence), soft_wrap=True)


def of_file(path: Path, error: TethercapError) -> str:
    """What is wrong with a file, its name said once."""
    return str(error) if path.name in error.what else f"{path}: {error}"


@contextlib.contextmanager
def byte_bar(doing: str, total_bytes: int) -> Iterator[Callable[[int], None]]:
    """Show a bar of bytes while the block runs; yields the function to be told of each piece."""
    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), DownloadColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
        task = progress.add_task(doing, total=max(1, total_bytes))
        yield lambda size_bytes: progress.advance(task, size_bytes)


@contextlib.contextmanager
def count_bar(doing: str, total: int) -> Iterator[Callable[[], None]]:
    """Show a bar of things done while the block runs; yields the function to be called after each."""
    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.completed:.0f} of {task.total:.0f}"))
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
        task = progress.add_task(doing, total=max(1, total))
        yield lambda: progress.advance(task)
