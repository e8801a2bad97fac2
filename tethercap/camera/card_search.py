"""Finding a picture that was taken but never announced: the event was lost, or the link was, at the wrong moment.

The driver remembers what it listed once, so this is only of use right after a camera was opened anew.
"""

import re
from collections.abc import Callable, Iterable

from tethercap.camera.base import CameraFile
from tethercap.camera.gphoto import GPhotoCamera
from tethercap.camera.protocol import CardMemory
from tethercap.errors import CameraError, CameraGoneError, CameraSilentError

NEWEST_LOOKED_AT = 8
"""How many of the newest files of a folder are looked at; a shot leaves one or two."""
CLOCK_DOUBT_S = 120.0
"""How far the camera's clock may be off when there is no earlier picture to compare with."""
ONE_SHOT_S = 2.0
"""How far apart the files of one shot are; some cards keep even seconds only."""
NAMES = 9999
"""Numbers in file names go from 0001 to 9999 and begin again (DCF)."""


def find_missing(camera: GPhotoCamera, memory: CardMemory) -> list[CameraFile]:
    """Return pictures on the card that were never announced and are as young as the shot that is missing.

    Parameters
    ----------
    camera : GPhotoCamera
        Opened anew.
    memory : CardMemory

    Raises
    ------
    CameraError
        If the link fails.
    """
    if memory.awaited_since_s is None:
        return []
    found: list[CameraFile] = []
    for folder in _folders(camera, memory):
        newest = sorted(_listed(camera.list_files, folder), key=_age_order(memory.last))[-NEWEST_LOOKED_AT:]
        unknown = [name for name in newest if (folder, name) not in memory.known]
        files = (_described(camera, folder, name) for name in unknown)
        found.extend(file for file in files if file is not None and _is_young(file, memory, memory.awaited_since_s))
    return found if memory.last is not None else _newest_alone(found)


def _newest_alone(found: list[CameraFile]) -> list[CameraFile]:
    # Nothing is known of the pictures before: a program that ended may have left several that are young as well.
    newest_s = max((file.taken_at_s for file in found if file.taken_at_s is not None), default=0.0)
    return [file for file in found if file.taken_at_s is not None and newest_s - file.taken_at_s <= ONE_SHOT_S]


def _listed(list_folder: Callable[[str], Iterable[str]], folder: str) -> Iterable[str]:
    """What lies in a folder; nothing where there is none any more, as after the card was changed."""
    try:
        return list_folder(folder)
    except (CameraGoneError, CameraSilentError):
        raise
    except CameraError:
        return ()


def _described(camera: GPhotoCamera, folder: str, name: str) -> CameraFile | None:
    try:
        return camera.describe_file(folder, name)
    except (CameraGoneError, CameraSilentError):
        raise
    except CameraError:
        return None


def _folders(camera: GPhotoCamera, memory: CardMemory) -> list[str]:
    # Bodies begin a new folder now and then, always with a higher number.
    if memory.last is not None and "/" in memory.last.folder.strip("/"):
        parent, _, name = memory.last.folder.rpartition("/")
        later = [other for other in _listed(camera.list_folders, parent) if other > name]
        return [memory.last.folder, *(f"{parent}/{other}" for other in sorted(later))]
    found: list[str] = []
    for store in camera.list_folders("/"):
        pictures = sorted(_listed(camera.list_folders, f"/{store}/DCIM"))
        found.extend(f"/{store}/DCIM/{name}" for name in pictures[-1:])
    return found


def _number(name: str) -> int:
    digits = re.search(r"(\d{4})\D*$", name)
    return int(digits[1]) if digits else 0


def _age_order(last: CameraFile | None) -> Callable[[str], int]:
    # Names wrap from 9999 to 0001, so what counts is how far behind the last known picture a number lies.
    newest = _number(last.name) if last is not None else 9999
    return lambda name: (_number(name) - newest - 1) % NAMES if _is_after(name, newest) else _number(name) - NAMES


def _is_after(name: str, newest: int) -> bool:
    return (_number(name) - newest - 1) % NAMES < NAMES // 2


def _is_young(file: CameraFile, memory: CardMemory, since_s: float) -> bool:
    last = memory.last
    if last is not None and (file.taken_at_s is None or last.taken_at_s is None):
        return _is_after(file.name, _number(last.name))
    if last is not None and file.taken_at_s is not None and last.taken_at_s is not None:
        return file.taken_at_s >= last.taken_at_s
    return file.taken_at_s is not None and abs(file.taken_at_s - since_s) <= CLOCK_DOUBT_S
