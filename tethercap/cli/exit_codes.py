"""Exit codes, the same for every command."""

from enum import IntEnum


class ExitCode(IntEnum):
    """What the shell is told."""

    DONE = 0
    """Done as asked."""
    FOUND = 1
    """Done, and something was found that needs a person (a changed file, a frame that is not accepted)."""
    USAGE = 2
    """The command line was wrong."""
    CAMERA = 3
    """The camera could not be had or used."""
    STORAGE = 4
    """A file or folder could not be read or written."""
    INPUT = 5
    """A file was read and is not usable: damaged picture, profile with a mistake."""
    INTERRUPTED = 130
    """Stopped from the keyboard."""
