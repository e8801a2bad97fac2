"""`tethercap convert` for frames that are more, or less, than one RAW: brackets, parts, two frames in one shot."""

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import replace
from pathlib import Path

import click

from tethercap.batch.find_pair import HALF_FRAME, FoundPair, find_pair_in_file
from tethercap.batch.job import ConversionJob
from tethercap.batch.roll_jobs import RollJob
from tethercap.cli._rolls import Item
from tethercap.errors import RollExistsError, TethercapError
from tethercap.roll.metadata import positive_properties


def refuse_rolls(items: Sequence[Item], option: str) -> None:
    """Say that an option is for files.

    Raises
    ------
    click.UsageError
    """
    if any(item.roll_job is not None for item in items):
        raise click.UsageError(f"{option} is for files; name the RAW files of one frame, and --out.")


def groups_of(items: Sequence[Item], each: int | None) -> list[list[Item]]:
    """Put items that follow each other into groups, one for each frame.

    Raises
    ------
    click.UsageError
        If they do not make whole groups of two or more.
    """
    size = each or len(items)
    if size < 2 or len(items) % size:
        raise click.UsageError(f"{len(items)} files do not make groups of {size}; a frame needs two or more of them.")
    return [list(items[first : first + size]) for first in range(0, len(items), size)]


def merged_items(items: Sequence[Item], each: int | None) -> list[Item]:
    """Make one item of each group of exposures, named by its first file."""
    refuse_rolls(items, "--merge")
    merged = []
    for group in groups_of(items, each):
        first, further = group[0].job, tuple(item.job.raw_path for item in group[1:])
        merged.append(Item(_renamed(replace(first, further_raws=further), "_merged")))
    return merged


def _renamed(job: ConversionJob, ending: str) -> ConversionJob:
    """Give the job with its files' stems ending so."""

    def renamed(path: Path | None) -> Path | None:
        if path is None:
            return None
        stem = job.raw_path.stem
        return path.with_name(path.name.replace(stem, stem + ending, 1))

    return replace(
        job,
        positive_path=renamed(job.positive_path),
        proof_path=renamed(job.proof_path),
        archive_path=renamed(job.archive_path),
        dust_path=renamed(job.dust_path),
    )


def paired_items(items: Sequence[Item], pool: Executor, *, is_right_first: bool) -> list[Item]:
    """Make two items of each, one for each of the two frames in it: 7 and 7A in a roll, NAME and NAMEA of files.

    Raises
    ------
    TethercapError
        If two frames are not found in one of them, or a roll has a frame of the second number already.
    """
    formats = [item.job.format_id or HALF_FRAME for item in items]
    if any(item.roll_job is not None for item in items):
        # A roll that was captured two frames at a time says the format of the camera's view, not of the frames.
        formats = [HALF_FRAME] * len(items)
    kinds = [item.job.film_kind for item in items]
    found = pool.map(find_pair_in_file, [item.job.raw_path for item in items], kinds, formats)
    paired: list[Item] = []
    for item, pair in zip(items, found, strict=True):
        paired += _two_of(item, pair, is_right_first=is_right_first)
    return paired


def _two_of(item: Item, pair: FoundPair, *, is_right_first: bool) -> list[Item]:
    first, second = (pair.second, pair.first) if is_right_first else (pair.first, pair.second)
    job = replace(item.job, find_frame=False, format_id=HALF_FRAME)
    one, other = replace(job, corners=first), replace(job, corners=second)
    if item.roll_job is None:
        return [Item(one), Item(_renamed(other, "A"))]
    return [Item(one, item.roll_job), _second_in_roll(item.roll_job, other)]


def _second_in_roll(roll_job: RollJob, job: ConversionJob) -> Item:
    roll, frame_id, take = roll_job.roll, roll_job.frame_id.next(1, by_halves=True), roll_job.take
    if frame_id in roll.frames:
        raise RollExistsError(
            f"The roll has a frame {frame_id} already, so the second frame of {roll_job.frame_id} has no number.",
            safe="Nothing was changed.",
            todo="Number the shots 1, 2, 3 ... (count_halves = false in roll.toml) to have room for 1A, 2A, 3A.",
        )
    record = roll.frames[roll_job.frame_id].take(take)
    if record is None:
        raise TethercapError(f"Frame {roll_job.frame_id} has no take {take}.")
    second = replace(
        job,
        positive_path=roll.waiting_path(roll.positive_path(frame_id, take)),
        proof_path=roll.waiting_path(roll.proof_path(frame_id, take)) if job.proof_path is not None else None,
        archive=None,
        archive_path=None,
        dust_path=None,
        properties=positive_properties(roll.setup, frame_id, record),
    )
    return Item(second, RollJob(roll, frame_id, take, second))
