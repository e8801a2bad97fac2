"""What is made of single files gets its name; a file of that name which is there already is kept."""

import filecmp
import os
import re
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from tethercap.batch.job import ConversionJob, ConversionResult
from tethercap.roll.store import Disk, disk_troubles, free_name, place_of

_SAFE = "The RAW is untouched, and so is what was there before."
_WAITING = re.compile(r"\.+(?P<place>[^.].*?)\.(?P<process>\d{1,9})\.part(\.\d+\.part)*")
"""A `waiting_path`, or what is written beside one until it is whole."""


def put_files(result: ConversionResult, *, keep: bool = True) -> ConversionResult:
    """Give the files of a result that wait under their `waiting_path` their names.

    Parameters
    ----------
    result : ConversionResult
    keep : bool
        Rename what is there already and has another content, to ``NAME_before.tif``: nobody knows here whether a person
        has worked on it. False replaces it.

    Returns
    -------
    ConversionResult
        With the final names, and a sentence for each file that was kept.

    Raises
    ------
    StorageError
    """
    kept = list[str]()

    def put(waiting: Path) -> Path:
        disk, place = Disk(), place_of(waiting)
        with disk_troubles(f"putting {place.name} in its place", safe=_SAFE):
            if keep and place.exists() and not filecmp.cmp(place, waiting, shallow=False):
                before = free_name(place.with_stem(f"{place.stem}_before"))
                disk.rename_new(place, before)
                kept.append(f"{place.name} was there already; it is kept as {before.name}.")
            disk.replace(waiting, place)
            disk.sync_folder(place.parent)
        return place

    return replace(
        result,
        positive=put(result.positive) if result.positive is not None else None,
        proof=put(result.proof) if result.proof is not None else None,
        further={what: put(waiting) for what, waiting in result.further.items()},
        kept=tuple(kept),
    )


def places_of(job: ConversionJob) -> tuple[Path, ...]:
    """Where the files that a job makes belong; it writes them under the `waiting_path` of each."""
    paths = (job.positive_path, job.proof_path, job.jpeg_path, job.archive_path, job.dust_path)
    return tuple(place_of(path) for path in paths if path is not None)


def sweep(places: Iterable[Path]) -> None:
    """Take away what waits for these places and will never get there: left by this process, or by one that is gone.

    Nothing of another process that is still at work is touched.

    Raises
    ------
    StorageError
    """
    wanted = set(places)
    with disk_troubles("taking unfinished files away", safe=_SAFE):
        for folder in {place.parent for place in wanted}:
            for path in list(folder.iterdir()) if folder.is_dir() else ():
                waiting = _WAITING.fullmatch(path.name)
                if waiting is None or folder / waiting["place"] not in wanted:
                    continue
                if not _is_at_work(int(waiting["process"])):
                    path.unlink(missing_ok=True)


def _is_at_work(process_id: int) -> bool:
    if process_id == os.getpid():
        return False
    try:
        os.kill(process_id, 0)
    except ProcessLookupError:
        return False
    except (PermissionError, OverflowError):
        return True
    return True
