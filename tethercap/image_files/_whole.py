"""Files that are either there whole or not at all."""

import contextlib
import os
import re
from collections.abc import Callable
from pathlib import Path

from tethercap.errors import StorageError

_PASSING = re.compile(r"^\.(.+)\.\d+\.part$")


def write_whole(path: Path, write: Callable[[Path], None]) -> None:
    """Let `write` fill a temporary file beside `path`, flush it to the disk and give it its name.

    A file of that name is replaced: what is written here can be made again from the RAW. `path` may itself be a passing
    name, ``.NAME.PID.part``.

    Raises
    ------
    StorageError
        If the disk refuses; the temporary file is gone then and `path` is as it was.
    """
    temporary = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        write(temporary)
        with temporary.open("rb+") as written:
            os.fsync(written.fileno())
        temporary.replace(path)
    except OSError as error:
        _take_away(temporary)
        shown = path.with_name(_PASSING.sub(r"\1", path.name))
        raise StorageError(
            f"{shown} could not be written: {error.strerror or error}.",
            safe="The RAW is untouched.",
            todo="Make room or choose another folder, then try again.",
        ) from error
    except BaseException:
        _take_away(temporary)
        raise


def _take_away(temporary: Path) -> None:
    with contextlib.suppress(OSError):  # a disk that takes nothing may not let anything go either
        temporary.unlink(missing_ok=True)
