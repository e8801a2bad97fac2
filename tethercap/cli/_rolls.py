"""What the commands for positives are given: files, folders of files, rolls."""

import contextlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import click

from tethercap.batch.job import ConversionJob
from tethercap.batch.put_files import places_of
from tethercap.batch.roll_jobs import RollJob, roll_jobs
from tethercap.convert.archive import ArchiveKind
from tethercap.convert.recipe import Recipe
from tethercap.errors import UnreadablePictureError
from tethercap.film.kinds import FilmKind
from tethercap.image_files.metadata import read_shot, xmp_packet
from tethercap.image_files.raw import RAW_SUFFIXES
from tethercap.roll.folder import Roll
from tethercap.roll.metadata import file_properties
from tethercap.roll.names import FrameId
from tethercap.roll.store import disk_troubles, waiting_path


@dataclass(frozen=True, slots=True, eq=False)
class Item:
    """One picture to convert."""

    job: ConversionJob
    roll_job: RollJob | None = None
    """Where it belongs, if that is in a roll."""

    parts: tuple[ConversionJob, ...] = ()
    """Parts of the frame to be put together, where it was photographed in several."""

    @property
    def name(self) -> str:
        """Stem of the files that are made of it."""
        return self.job.raw_path.stem

    def is_wanted(self, frames: Sequence[tuple[FrameId, FrameId]]) -> bool:
        """Whether it is no frame of a roll, or one of these; a second half frame is also meant by its shot's number."""
        if not frames or self.roll_job is None:
            return True
        numbers = {self.roll_job.frame_id, self.roll_job.number}
        return any(first <= number <= last for first, last in frames for number in numbers)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What is wanted of the sources, as far as it decides what they are."""

    recipe: Recipe
    """For files; for rolls where `instead_of_rolls` says so."""
    instead_of_rolls: bool = False
    """The recipe takes the place of what a roll's recipe.toml says about the whole roll."""
    kind: str | None = None
    out: Path | None = None
    format_id: str | None = None
    archive: ArchiveKind | None = None
    """Write such a picture of the film as well."""
    proofs: bool | None = None
    """None makes proofs for rolls only."""
    frames: tuple[tuple[FrameId, FrameId], ...] = ()
    """First and last of the frames of a roll that are wanted; empty means all."""


def expand_sources(stack: contextlib.ExitStack, sources: Iterable[Path], wanted: Wanted) -> list[Item]:
    """List the pictures in files, folders and rolls, in the film's order.

    Parameters
    ----------
    stack : ExitStack
        Holds the rolls open, so that nobody else writes to them meanwhile.
    sources : iterable of Path
    wanted : Wanted

    Raises
    ------
    click.UsageError
        If it cannot be told what film the files are, or where the results should go.
    TethercapError
        If a file or a roll cannot be read.
    """
    items: list[Item] = []
    rolls = set[Path]()
    for source in sources:
        if (source / "roll.toml").exists():
            if source.resolve() in rolls:
                continue
            rolls.add(source.resolve())
            roll = stack.enter_context(Roll.open(source, sidecar=xmp_packet))
            instead = wanted.recipe if wanted.instead_of_rolls else None
            jobs = roll_jobs(roll, instead=instead, proofs=wanted.proofs is not False)
            items += [Item(each.job, each) for each in (job.with_archive(wanted.archive) for job in jobs)]
            continue
        if wanted.kind is None:
            raise click.UsageError("Say what film it is: --kind colour-negative, bw-negative or slide.")
        film_kind = FilmKind(wanted.kind)
        items += [_file_item(path, film_kind, wanted) for path in _files_in(source)]
    refuse_shared_places(items)
    for folder in {
        path.parent for item in items for path in (item.job.positive_path, item.job.proof_path) if path is not None
    }:
        with disk_troubles(f"making the folder {folder}", safe="Nothing was changed."):
            folder.mkdir(parents=True, exist_ok=True)
    return items


def _file_item(path: Path, film_kind: FilmKind, wanted: Wanted) -> Item:
    folder = wanted.out or path.parent / "positive"

    def waiting(ending: str) -> Path:
        return waiting_path(folder / f"{path.stem}{ending}")

    return Item(
        ConversionJob(
            raw_path=path,
            film_kind=film_kind,
            positive_path=waiting(".tif"),
            proof_path=waiting(".jpg") if wanted.proofs else None,
            archive=wanted.archive,
            archive_path=None if wanted.archive is None else waiting(f"_{wanted.archive.value}.tif"),
            recipe=wanted.recipe,
            find_frame=True,
            format_id=wanted.format_id,
            properties=file_properties(path.name, read_shot(path), film_kind),
        )
    )


def refuse_shared_places(items: Sequence[Item]) -> None:
    """Refuse pictures of which something would be written under one name: the second would take the first one's place.

    Raises
    ------
    click.UsageError
    """
    taken: dict[Path, Path] = {}
    for item in items:
        for place in places_of(item.job):
            other = taken.setdefault(place.absolute(), item.job.raw_path)
            if other != item.job.raw_path:
                raise click.UsageError(
                    f"{other} and {item.job.raw_path} would both be written to {place}. Convert them into two folders."
                )


def _files_in(source: Path) -> list[Path]:
    if source.is_dir():
        found = sorted(path for path in source.iterdir() if path.suffix.lower() in RAW_SUFFIXES and not path.is_dir())
        if not found:
            raise UnreadablePictureError(f"There is no RAW file in {source}.")
        return found
    if not source.exists():
        raise UnreadablePictureError(f"{source} is not there.")
    return [source]
