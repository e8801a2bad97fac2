"""What the commands for positives are given: files, folders of files, rolls."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import click

from tethercap.batch.job import ConversionResult
from tethercap.convert.crop import quad_or_none
from tethercap.errors import TethercapError, UnreadablePictureError
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx
from tethercap.image_files.metadata import xmp_packet
from tethercap.roll.folder import Roll
from tethercap.roll.metadata import positive_properties
from tethercap.roll.names import FrameId

RAW_SUFFIXES = frozenset(
    f".{ending}"
    for ending in (
        *("dng", "nef", "nrw", "cr2", "cr3", "crw", "arw", "sr2", "srf", "raf", "orf"),
        *("rw2", "pef", "srw", "3fr", "iiq", "erf", "kdc", "dcr", "mos", "mef"),
    )
)
"""Names that RAW files of any maker end in."""


@dataclass(frozen=True, slots=True)
class Item:
    """One picture to convert, and where its results go."""

    raw_path: Path
    film_kind: FilmKind
    positive: Path | None
    proof: Path | None
    corners: QuadPx | None = None
    mirrored: bool = False
    properties: Mapping[str, object] = field(default_factory=dict)
    roll: Path | None = None
    format_id: str | None = None
    frame_id: str = ""
    take: int = 0


def expand_sources(sources: Iterable[Path], out: Path | None, kind: str | None, *, proofs: bool | None) -> list[Item]:
    """List the pictures in files, folders and rolls, in the film's order.

    Raises
    ------
    click.UsageError
        If it cannot be told what film the files are, or where the results should go.
    TethercapError
        If a file or a roll cannot be read.
    """
    items: list[Item] = []
    for source in sources:
        if (source / "roll.toml").exists():
            items += _items_of_roll(source, kind, proofs=proofs is not False)
            continue
        if kind is None:
            raise click.UsageError("Say what film it is: --kind colour-negative, bw-negative or slide.")
        for path in _files_in(source):
            folder = out or path.parent / "positive"
            proof = folder / f"{path.stem}.jpg" if proofs else None
            items.append(Item(path, FilmKind(kind), folder / f"{path.stem}.tif", proof))
    _refuse_shared_targets(items)
    for folder in {path.parent for item in items for path in (item.positive, item.proof) if path is not None}:
        folder.mkdir(parents=True, exist_ok=True)
    return items


def _refuse_shared_targets(items: Sequence[Item]) -> None:
    """Two pictures of one name would overwrite each other's positive."""
    taken: dict[Path, Path] = {}
    for item in items:
        if item.positive is None:
            continue
        other = taken.setdefault(item.positive.absolute(), item.raw_path)
        if other != item.raw_path:
            raise click.UsageError(
                f"{other} and {item.raw_path} would both be written to {item.positive}. Convert them into two folders."
            )


def _files_in(source: Path) -> list[Path]:
    if source.is_dir():
        found = sorted(path for path in source.iterdir() if path.suffix.lower() in RAW_SUFFIXES)
        if not found:
            raise UnreadablePictureError(f"There is no RAW file in {source}.")
        return found
    if not source.exists():
        raise UnreadablePictureError(f"{source} is not there.")
    return [source]


def _items_of_roll(path: Path, kind: str | None, *, proofs: bool) -> list[Item]:
    items = []
    with Roll.open(path, sidecar=xmp_packet) as roll:
        for frame_id, frame in roll.frames.items():
            take = frame.chosen
            if take is None:
                continue
            items.append(
                Item(
                    path / take.filed.file,
                    FilmKind(kind) if kind else roll.setup.film_kind,
                    roll.positive_path(frame_id, take.number),
                    roll.proof_path(frame_id, take.number) if proofs else None,
                    quad_or_none(take.filed.corners_px),
                    take.filed.mirrored,
                    positive_properties(roll.setup, frame_id, take),
                    path,
                    roll.setup.film_format,
                    str(frame_id),
                    take.number,
                )
            )
    return items


def note_in_rolls(items: Sequence[Item], results: Sequence[ConversionResult | TethercapError]) -> None:
    """Write into the rolls' records what was made of their pictures.

    Raises
    ------
    RollError
        If a roll is in use or cannot be written.
    """
    for path in dict.fromkeys(item.roll for item in items if item.roll is not None):
        with Roll.open(path, sidecar=xmp_packet) as roll:
            for item, result in zip(items, results, strict=True):
                if item.roll != path or not isinstance(result, ConversionResult) or result.positive is None:
                    continue
                steps = [{"step": name, **parameters} for name, parameters in result.steps]
                base = {"counts_rgb": list(result.base.counts_rgb), "measured": result.base.measured}
                roll.note_positive(
                    FrameId.parse(item.frame_id),
                    item.take,
                    result.positive,
                    result.proof,
                    steps=steps,
                    base=base,
                    warnings=result.warnings,
                    recipe=result.recipe,
                    positive_sha256=result.positive_sha256,
                    proof_sha256=result.proof_sha256,
                )
