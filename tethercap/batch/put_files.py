"""What is made of single files gets its name; a file of that name which is there already is kept."""

from dataclasses import replace
from pathlib import Path

from tethercap.batch.job import ConversionResult
from tethercap.roll.fixity import file_sha256
from tethercap.roll.store import Disk, disk_troubles, free_name, place_of

_SAFE = "The RAW is untouched, and so is what was there before."


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

    def put(waiting: Path, sha256: str) -> Path:
        disk, place = Disk(), place_of(waiting)
        with disk_troubles(f"putting {place.name} in its place", safe=_SAFE):
            if keep and place.exists() and file_sha256(place) != sha256:
                before = free_name(place.with_stem(f"{place.stem}_before"))
                disk.rename_new(place, before)
                kept.append(f"{place.name} was there already; it is kept as {before.name}.")
            disk.replace(waiting, place)
            disk.sync_folder(place.parent)
        return place

    return replace(
        result,
        positive=put(result.positive, result.positive_sha256) if result.positive is not None else None,
        proof=put(result.proof, result.proof_sha256) if result.proof is not None else None,
        further={what: put(waiting, result.further_sha256[what]) for what, waiting in result.further.items()},
        kept=tuple(kept),
    )
