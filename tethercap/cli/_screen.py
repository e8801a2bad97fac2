"""What the commands with a screen have in common."""

import sys
from collections.abc import Callable
from typing import Any

import click
import msgspec

from tethercap.tui.picture_way import Way
from tethercap.tui.preferences import Preferences, read_preferences
from tethercap.tui.web import in_browser


def picture_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the option that says how pictures are shown; it arrives as `picture`, None where not said."""
    return click.option(
        "--picture",
        type=click.Choice([way.value.replace(" ", "-") for way in Way]),
        help="How pictures are shown; as the terminal can if left out.",
    )(command)


def has_screen() -> bool:
    """Whether there is a terminal, or a browser, that a screen can be drawn in."""
    # It is drawn to stderr, keys come from stdin, and stdout is for data.
    return in_browser() or all(stream.isatty() for stream in (sys.stdin, sys.stdout, sys.stderr))


def require_screen() -> None:
    """Refuse to draw where nobody would see it.

    Raises
    ------
    click.UsageError
    """
    if not has_screen():
        raise click.UsageError("This needs a terminal to draw in; its input and output may not be redirected.")


def preferences_with(picture: str | None) -> Preferences:
    """Give the person's preferences, with what the command line says about pictures.

    Raises
    ------
    ProfileError
        If screen.toml is not usable.
    """
    preferences = read_preferences()
    return preferences if picture is None else msgspec.structs.replace(preferences, picture=picture.replace("-", " "))
