"""Files that are either there whole or not at all."""

import os
from collections.abc import Callable
from pathlib import Path

from tethercap.errors import StorageError


def write_whole(path: Path, write: Callable[[Path], None]) -> None:
    """Let `write` fill a temporary file beside `path`, flush it to the disk and give it its name.

    A file of that name is replaced: what is written here can be made again from the RAW.

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
        temporary.unlink(missing_ok=True)
        raise StorageError(
            f"{path} could not be written: {error.strerror or error}.",
            safe="The RAW is untouched.",
            todo="Make room or choose another folder, then convert again.",
        ) from error
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
